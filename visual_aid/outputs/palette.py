"""The look of each cue and kind of wear, the same on the page, on overlays and in reports."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from visual_aid.model import CUES, Cue, Sign

UNDER_STROKE = "#000000"
"""Drawn wider under every coloured line, so that it shows on paint, rust and snow alike."""

FASTENER_COLOUR = "#ffffff"
"""Outline of a fastener on which nothing was flagged."""


@dataclass(frozen=True, slots=True)
class CueStyle:
    """How one cue or kind of wear is named and drawn.

    Attributes
    ----------
    label : str
        It in plain words, as a heading or a caption.
    colour : str
        Colour as ``#rrggbb``, sRGB.
    dash : tuple of int
        Lengths of dashes and spaces in line widths; empty for an unbroken line. Tells them apart
        where colours cannot.
    """

    label: str
    colour: str
    dash: tuple[int, ...]


SIGN_STYLE: Mapping[Sign, CueStyle] = MappingProxyType(
    {
        "rust_trail": CueStyle("Rust trail", "#d55e00", ()),
        "dust_trail": CueStyle("Dust trail", "#f0e442", (1, 2)),
        "paint_break": CueStyle("Broken paint", "#56b4e9", (5, 2)),
        "clean_outlier": CueStyle("Cleaner than its neighbours", "#009e73", (8, 3)),
        "stripe_offset": CueStyle("Stripe out of line", "#cc79a7", (6, 2, 1, 2)),
        "gap": CueStyle("Gap under the nut", "#0072b2", (3, 2)),
        "missing_nut": CueStyle("Nut missing", "#e69f00", (10, 2, 2, 2)),
        "fluid_run": CueStyle("Fluid running down", "#56b4e9", (1, 3)),
        "rubber_crack": CueStyle("Cracked rubber", "#d55e00", (4, 4)),
        "chafe": CueStyle("Chafed", "#e69f00", (2, 2)),
        "bushing_offset": CueStyle("Bushing walked out", "#cc79a7", (12, 4)),
        "hole_elongation": CueStyle("Hole pulled long", "#009e73", (1, 2, 5, 2)),
        "height_difference": CueStyle("Uneven height", "#0072b2", (8, 2, 2, 2, 2, 2)),
        "movement": CueStyle("Moves by hand", "#f0e442", (6, 4, 2, 4)),
        "leaf_shift": CueStyle("Leaf out of its pack", "#009e73", (14, 3)),
        "broken_leaf": CueStyle("Leaf broken", "#d55e00", (10, 2, 1, 2, 1, 2)),
        "ride_height_hold": CueStyle("Ride height not held", "#0072b2", (2, 4)),
        "rust_grade": CueStyle("Rust of a surface", "#e69f00", (1, 1)),
        "turned": CueStyle("Turned between visits", "#cc79a7", (16, 3, 4, 3)),
    }
)
"""Style of whatever a mark can show. Colours are those of Okabe and Ito, Color Universal Design (2008),
which people with the common colour vision deficiencies tell apart; a kind of wear has the colour of a cue
and dashes of its own, and a nut that turned that of the stripe, the other sign of a turn."""

CUE_STYLE: Mapping[Cue, CueStyle] = MappingProxyType({cue: SIGN_STYLE[cue] for cue in CUES})
"""Style of every cue: no two share a colour."""
