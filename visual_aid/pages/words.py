"""The words of the page: chances, measures and states for a person who has no time to look them up."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping

from visual_aid.followup.handchecks import Verdict
from visual_aid.outputs.events import OUTCOME_LABEL
from visual_aid.outputs.wording import day, local
from visual_aid.records.entries import Decision, Outcome, Spot, Stage, StoredPhoto, Visit

STAGE_LABEL: Mapping[Stage, str] = {
    "to_decide": "To decide",
    "weak_only": "Weak marks only",
    "take_again": "Take again",
    "nothing_flagged": "Nothing flagged",
    "decided": "Decided",
}
OUTCOME_SIGN: Mapping[Outcome | None, str] = {
    "confirmed": "✓",
    "ruled_out": "✗",
    "cannot_tell": "?",
    None: "",
}
VERDICT_SIGN: Mapping[Verdict, str] = {"within_limit": "✓", "beyond_limit": "✗", "cannot_settle": "?"}

_CHANCES = (
    (0.90, "Very likely"),
    (0.66, "Likely"),
    (0.33, "About as likely as not"),
    (0.10, "Unlikely"),
    (0.00, "Very unlikely"),
)
_GAP = "\N{NO-BREAK SPACE}"
"""Between a figure and its sign, which stay on one line (SI Brochure, 9th ed., 5.4.7; from memory)."""
_UNITS = {
    "r": "nut radii",
    "deg": "°",
    "de": "colour difference (CIELAB)",
    "share": "%",
    "mm": "mm",
    "cm2": "cm²",
    "percent": "%",
    "px": "pixels",
}


def chance(score: float) -> str:
    """Say a probability in words and as a number.

    The words are those of the likelihood scale for authors of the IPCC (Mastrandrea and others,
    Guidance Note on Consistent Treatment of Uncertainties, 2010, table 1).
    """
    words = next(words for least, words in _CHANCES if score >= least)
    return f"{words}: {percent(score)}"


def percent(share: float) -> str:
    """Give a share as a whole percentage that is never rounded to none or to all."""
    if 0 < share < 0.01:
        return f"under 1{_GAP}%"
    if 0.99 < share < 1:
        return f"over 99{_GAP}%"
    return f"{round(100 * share)}{_GAP}%"


def measure(name: str, value: float) -> tuple[str, str]:
    """Give a measure's name in words, and its value with the unit that the name ends in.

    >>> measure("length_r", 3.21)
    ('Length', '3.2 nut radii')
    """
    stem, _, ending = name.rpartition("_")
    if ending not in _UNITS or not stem:
        return name.replace("_", " ").capitalize(), _figure(value)
    label = stem.replace("_", " ").capitalize()
    if ending == "share":
        return label, percent(value)
    if ending == "de":
        return f"{label}, {_UNITS[ending]}", _figure(value)
    gap = "" if ending == "deg" else " "
    return label, f"{_figure(value)}{gap}{_UNITS[ending]}"


def _figure(value: float) -> str:
    """Give a number with two or three figures that mean something."""
    if value == 0 or not math.isfinite(value):
        return f"{value:g}"
    return f"{value:.{max(0, 1 - math.floor(math.log10(abs(value))))}f}"


def sentence(text: str) -> str:
    r"""Start with a capital, end with a full stop, and keep a percentage and its sign on one line.

    >>> sentence("90 % is rust")
    '90\xa0% is rust.'
    """
    text = text.strip().replace(" %", f"{_GAP}%")
    return text[:1].upper() + text[1:] + ("" if text.endswith((".", "!", "?")) else ".") if text else ""


def plain(text: str) -> str:
    r"""Keep Streamlit from reading a text as Markdown, which is what messages and labels are written in.

    A backslash before a punctuation mark takes its meaning (CommonMark 0.31.2, section 2.4). Line breaks
    become spaces, since the start of a line means something, too.

    >>> print(plain("*IMG* 1.jpg"))
    \*IMG\* 1.jpg
    """
    return re.sub(r"([\\`*_\[\]<>~$&]|:(?=\S)|^[#+-])", r"\\\1", " ".join(text.split()))


def said(decision: Decision | None) -> str:
    """Say what a person decided, who and when."""
    if decision is None or decision.outcome is None:
        return OUTCOME_LABEL[None]
    return f"{OUTCOME_LABEL[decision.outcome]} by {decision.by}, {local(decision.at)}"


def where(spot: Spot) -> str:
    """Say where on a unit.

    >>> where((2, "left", "torque rod"))
    'Axle 2 left, torque rod'
    """
    axle, side, component = spot
    return f"Axle {axle} {side}, {component}"


def visit_name(visit: Visit) -> str:
    """Name a visit by unit and day."""
    return f"Unit {visit.unit}, {day(visit.date)}"


def place(photo: StoredPhoto) -> str:
    """Say which unit a photo belongs to and where on it; empty if nobody said."""
    parts = []
    if photo.visit is not None:
        parts.append(visit_name(photo.visit))
    if photo.position is not None:
        parts.append(where(photo.position.spot))
    return " · ".join(parts)
