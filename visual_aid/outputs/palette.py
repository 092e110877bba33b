"""The look of each cue, the same on the page, on overlays and in reports."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from visual_aid.model import Cue

UNDER_STROKE = "#000000"
"""Drawn wider under every coloured line, so that it shows on paint, rust and snow alike."""

FASTENER_COLOUR = "#ffffff"
"""Outline of a fastener on which nothing was flagged."""


@dataclass(frozen=True, slots=True)
class CueStyle:
    """How one cue is named and drawn.

    Attributes
    ----------
    label : str
        The cue in plain words, as a heading or a caption.
    colour : str
        Colour as ``#rrggbb``, sRGB.
    dash : tuple of int
        Lengths of dashes and spaces in line widths; empty for an unbroken line. Tells cues apart
        where colours cannot.
    """

    label: str
    colour: str
    dash: tuple[int, ...]


CUE_STYLE: Mapping[Cue, CueStyle] = MappingProxyType(
    {
        "rust_trail": CueStyle("Rust trail", "#d55e00", ()),
        "dust_trail": CueStyle("Dust trail", "#f0e442", (1, 2)),
        "paint_break": CueStyle("Broken paint", "#56b4e9", (5, 2)),
        "clean_outlier": CueStyle("Cleaner than its neighbours", "#009e73", (8, 3)),
        "stripe_offset": CueStyle("Stripe out of line", "#cc79a7", (6, 2, 1, 2)),
        "gap": CueStyle("Gap under the nut", "#0072b2", (3, 2)),
        "missing_nut": CueStyle("Nut missing", "#e69f00", (10, 2, 2, 2)),
    }
)
"""Style of every cue. Colours are those of Okabe and Ito, Color Universal Design (2008), which people
with the common colour vision deficiencies tell apart."""
