"""What is said of a measured part, and what a kind of wear is given to measure on."""

from __future__ import annotations

import dataclasses
import json
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Literal

from visual_aid.measure.scale import Scale
from visual_aid.model import Box, Outline, Wear
from visual_aid.photo import Photo

SCHEMA = "visual-aid/measurement/1"

CLEAR_OF_DOUBT = 2.0
"""How many times its uncertainty a figure has to lie off its limit, or off nothing, to count: 19 of 20."""

Outcome = Literal["beyond_limit", "within_limit", "unclear", "no_limit", "cannot_measure"]
OUTCOME_WORDS: dict[Outcome, str] = {
    "beyond_limit": "Evidence to check by hand: beyond the limit",
    "within_limit": "Within the limit as far as the photo shows; the hand check settles it",
    "unclear": "Too near the limit for a photo: check by hand",
    "no_limit": "A figure without a limit: a person judges it",
    "cannot_measure": "Cannot measure",
}


@dataclass(frozen=True, slots=True)
class Figure:
    """One figure.

    Attributes
    ----------
    name : str
        For programs; its end is the unit: ``_mm``, ``_cm2``, ``_px``, ``_deg``, ``_percent``, ``_share`` and
        ``_ratio`` (of 1), ``_grade`` and ``_degree`` of a published scale. Without one it is a count or the
        number of a thing, or what only the kind itself can read.
    uncertainty : float or None
        Two of three such figures are wrong by no more than this; None where it is not known.
    """

    name: str
    value: float
    uncertainty: float | None = None


@dataclass(frozen=True, slots=True)
class Limit:
    """The limit that a figure is held against, in that figure's unit, and where it comes from."""

    figure: str
    at_most: float
    say: str
    source: str


@dataclass(frozen=True, slots=True)
class Mark:
    """A line to draw on a photo: full pixels, closed or open, and what it shows.

    ``photo`` counts from 0.
    """

    label: str
    outline: Outline
    closed: bool = True
    photo: int = 0


@dataclass(frozen=True, slots=True)
class Measurement:
    """What one measurement of wear says.

    Attributes
    ----------
    reason : str
        What was found, in words with figures; for ``cannot_measure`` why, and the mend.
    score : float or None
        A probability where the kind is a matter of likeness rather than of length.
    hand_check : str
        Id of the hand check that settles it.
    cautions : tuple of str
        What to mind before hands go near the part.
    """

    wear: Wear
    photos: tuple[str, ...]
    boxes: tuple[Box, ...]
    outcome: Outcome
    reason: str
    figures: tuple[Figure, ...] = ()
    limit: Limit | None = None
    marks: tuple[Mark, ...] = ()
    score: float | None = None
    scale: str | None = None
    hand_check: str = ""
    cautions: tuple[str, ...] = ()

    def figure(self, name: str) -> float:
        """Give the value of a figure.

        Raises
        ------
        KeyError
            It was not measured.
        """
        for figure in self.figures:
            if figure.name == name:
                return figure.value
        raise KeyError(name)

    def to_dict(self) -> dict[str, Any]:
        """Give the measurement as plain lists and dicts, rounded to what it supports."""
        return {
            "schema": SCHEMA,
            **dataclasses.asdict(self),
            "boxes": [[round(v, 1) for v in box] for box in self.boxes],
            "figures": [
                {"name": f.name, "value": _rounded(f.value), "uncertainty": _rounded(f.uncertainty)}
                for f in self.figures
            ],
            "marks": [
                {
                    "label": m.label,
                    "photo": m.photo,
                    "closed": m.closed,
                    "outline": [[round(x, 1), round(y, 1)] for x, y in m.outline],
                }
                for m in self.marks
            ],
            "score": _rounded(self.score),
        }

    def to_json(self) -> str:
        """Give the measurement as one line of JSON."""
        return json.dumps(self.to_dict(), ensure_ascii=False, separators=(",", ":"))


@dataclass(frozen=True, eq=False, slots=True)
class View:
    """A boxed part of a photo, and the millimetres there if they are known.

    Attributes
    ----------
    box : tuple of 4 floats
        Left, top, width, height in full pixels.
    scale : Scale or None
    why_no_scale : str
        Why there is no scale, in words.
    """

    photo: Photo
    box: Box
    scale: Scale | None = None
    why_no_scale: str = ""

    @property
    def middle(self) -> tuple[float, float]:
        """Middle of the box in full pixels."""
        x, y, w, h = self.box
        return x + w / 2, y + h / 2


@dataclass(frozen=True, slots=True)
class Found:
    """What a kind's own measurement comes to, before it is laid beside its limit.

    ``limit`` names the figure that is judged; None leaves the judgement to ``outcome``.
    """

    reason: str
    figures: tuple[Figure, ...] = ()
    marks: tuple[Mark, ...] = ()
    limit: Limit | None = None
    score: float | None = None
    outcome: Outcome = "no_limit"


class CannotMeasure(Exception):  # noqa: N818  it is an answer, not a fault
    """Raised by a kind where the photo does not show what it needs; the text says why and names the mend."""


Measure = Callable[[Sequence[View]], Found]


def judge(found: Found) -> Outcome:
    """Lay a figure beside its limit: told only where the uncertainty leaves no doubt."""
    if found.limit is None:
        return found.outcome
    for figure in found.figures:
        if figure.name == found.limit.figure:
            doubt = CLEAR_OF_DOUBT * (figure.uncertainty or 0.0)
            if figure.value - doubt > found.limit.at_most:
                return "beyond_limit"
            return "within_limit" if figure.value + doubt <= found.limit.at_most else "unclear"
    return found.outcome


def _rounded(value: float | None) -> float | None:
    if value is None or not math.isfinite(value):
        return None
    return float(f"{value:.4g}")
