"""The photo viewer: a photo with what is flagged on it, to look at, pick from and draw on."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import streamlit as st

from visual_aid.measure.scale import CLICK, Point
from visual_aid.model import Box, Outline, Screening
from visual_aid.outputs.onefile import beside
from visual_aid.outputs.palette import SIGN_STYLE
from visual_aid.outputs.turns import dial
from visual_aid.outputs.wording import counted
from visual_aid.pages.components import component
from visual_aid.pages.words import OUTCOME_SIGN
from visual_aid.records.entries import StoredCandidate, StoredPhoto

KEY = "viewer"

Drawn = tuple[Box, Outline]
"""What a person drew: its box, and its outline or nothing."""


@dataclass(frozen=True, slots=True)
class Pointed:
    """Two ends that a person pointed out, in full pixels, and by how many of these either may miss."""

    a: Point
    b: Point
    miss: float


@dataclass(frozen=True, slots=True)
class Drawing:
    """What a box is drawn for: the words on the tool and what to do with it."""

    tool: str
    hint: str


MARK = Drawing("Mark a box", "Draw a box around what was missed.")
BLUR = Drawing("Blur a box", "Draw a box around what nobody outside may see.")


_mount = component("viewer", first=beside("photo_view.js"))


def show_viewer(
    photo: StoredPhoto,
    candidates: Sequence[StoredCandidate],
    *,
    chosen: int | None,
    drawn: Drawn | None,
    on_picked: Callable[[int], None],
    on_drawn: Callable[[Drawn], None] | None = None,
    on_fastener: Callable[[float, float, float | None], None] | None = None,
    length: Pointed | None = None,
    on_length: Callable[[Pointed], None] | None = None,
    blurred: Sequence[Box] = (),
    drawing_is: Drawing | None = MARK,
    before: str | None = None,
) -> None:
    """Show a photo and report what a person does on it.

    Parameters
    ----------
    chosen : int or None
        Store id of the candidate that stands out.
    drawn : Drawn or None
        What was drawn and is not yet a mark.
    on_picked, on_drawn, on_fastener : callable
        Called with a candidate's store id; what was drawn; a fastener's centre, and its radius where
        one was drawn. All in pixels of the full upright photo. Without ``on_fastener`` none can be
        pointed out.
    length : Pointed or None
        A known length that was pointed out.
    on_length : callable, optional
        Called with a known length's ends. Without it none can be pointed out.
    blurred : sequence of Box
        Shown as covered.
    drawing_is : Drawing or None
        What a box is drawn for. Without, nothing can be drawn, and the photo before is seen at once.
    before : str or None
        Address of the photo of the visit before, laid on this one.
    """

    def picked() -> None:
        on_picked(int(_event("picked")["id"]))

    def mark_drawn() -> None:
        event = _event("drawn")
        x, y, w, h = map(float, event["box"])
        if on_drawn is not None:
            on_drawn(((x, y, w, h), tuple((float(px), float(py)) for px, py in event["outline"])))

    def fastener() -> None:
        event = _event("fastener")
        if on_fastener is not None:
            on_fastener(float(event["cx"]), float(event["cy"]), event["radius"])

    def ends() -> None:
        event = _event("length")
        (ax, ay), (bx, by) = event["ends"]
        if on_length is not None:
            miss = max(CLICK, float(event["miss"]))
            on_length(Pointed((float(ax), float(ay)), (float(bx), float(by)), miss))

    _mount(
        key=KEY,
        data=drawing(photo.id, photo.screening, candidates, chosen, drawn)
        | {
            "blurred": [list(box) for box in blurred],
            "tool": drawing_is and drawing_is.tool,
            "hint": drawing_is and drawing_is.hint,
            "points": on_fastener is not None,
            "lengths": on_length is not None,
            "length": length and [length.a, length.b],
            "outlines": drawing_is is MARK,
            "before": before,
        },
        on_picked_change=picked,
        on_drawn_change=mark_drawn,
        on_fastener_change=fastener,
        on_length_change=ends,
    )


def drawing(
    photo: str,
    screening: Screening,
    candidates: Sequence[StoredCandidate],
    chosen: int | None,
    drawn: Drawn | None,
) -> dict[str, Any]:
    """Give what the viewer draws, as plain JSON."""
    count = len(candidates)
    return {
        "photo": {
            "url": f"/photo/{photo}",
            "width": screening.photo.width,
            "height": screening.photo.height,
        },
        "label": f"{screening.photo.name} with {counted(count, 'mark')} on it",
        "candidates": [
            {
                "id": stored.id,
                "badge": " ".join(filter(None, [str(number), _turn(stored), OUTCOME_SIGN[stored.outcome]])),
                "name": SIGN_STYLE[stored.candidate.cue].label,
                "colour": SIGN_STYLE[stored.candidate.cue].colour,
                "dash": list(SIGN_STYLE[stored.candidate.cue].dash),
                "box": list(stored.candidate.box),
                "outline": [list(point) for point in stored.candidate.outline],
                "state": stored.outcome or "undecided",
                "dial": dataclasses.asdict(dial(stored.candidate)) if _turn(stored) else None,
            }
            for number, stored in enumerate(candidates, 1)
        ],
        "fasteners": [{"cx": f.cx, "cy": f.cy, "radius": f.radius} for f in screening.fasteners],
        "chosen": chosen,
        "drawn": None if drawn is None else {"box": list(drawn[0]), "outline": [list(p) for p in drawn[1]]},
    }


def _turn(stored: StoredCandidate) -> str:
    """Say how far a nut turned; empty where something else is flagged."""
    measures = stored.candidate.measures
    if stored.candidate.cue != "turned" or "turn_deg" not in measures:
        return ""
    return f"· {measures['turn_deg']:+.1f}° ± {measures['uncertainty_deg']:.1f}°".replace("-", "−")


def _event(name: str) -> Any:  # noqa: ANN401
    return st.session_state[KEY][name]
