"""A quiz as one HTML file that works without a network, and the answers that come back from it."""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from markupsafe import Markup
from PIL import Image

from visual_aid.gallery.quiz import reach
from visual_aid.model import CUES, SIGNS
from visual_aid.outputs.onefile import beside, jpeg_url, render
from visual_aid.outputs.palette import FASTENER_COLOUR, SIGN_STYLE
from visual_aid.outputs.publish import Pixels
from visual_aid.outputs.report_pictures import encode, shrunk
from visual_aid.outputs.wording import CAUTION, counted
from visual_aid.records.teaching import Answer, Item, Quiz, Region, Tap

ANSWERS_SCHEMA = "visual-aid/quiz-answers/1"
SIDE = 1600
"""Longest side of a photo in the file, in pixels: a trainee may look closer, as on the walkaround."""
PICTURE_BYTES = 450_000
MOST_BYTES = 12_000_000
"""All photos of a quiz together: as one file of 16 MB it still goes through a phone's mail."""


@dataclass(frozen=True, slots=True)
class BroughtBack:
    """Answers that came back in a file; ``sitting`` tells the same answers brought twice."""

    quiz: str
    sitting: str
    trainee: str
    group: str
    answers: tuple[Answer, ...]


def quiz_html(quiz: Quiz, pixels: Callable[[str], Pixels]) -> str:
    """Write a quiz as one HTML file with its photos inside.

    What is on the photos is in the file, too, for it is told after each answer: it can be looked up by
    anyone who reads the file's source.

    Parameters
    ----------
    pixels : callable
        Gives the publishable pixels of a photo by its id; raises as ``publishable``.
    """
    most = min(PICTURE_BYTES, MOST_BYTES // len(quiz.items))
    items = []
    for one in quiz.items:
        picture = encode(shrunk(Image.fromarray(pixels(one.photo)), SIDE), most)
        items.append(question(one, jpeg_url(picture)) | {"truth": truth(one)})
    data = {"token": quiz.token, "answers_schema": ANSWERS_SCHEMA, "cues": choices(quiz), "items": items}
    return render(
        "quiz.html",
        title=quiz.title,
        photos=counted(len(quiz.items), "photo"),
        caution=CAUTION,
        quiz=_script_safe(data),
        style=Markup(beside("asking.css")),
        widget=Markup(beside("asking.html")),
        script=Markup(beside("photo_view.js") + beside("asking.js")),
    )


def question(one: Item, url: str) -> dict[str, Any]:
    """Give what is shown of a photo before it is answered, as plain JSON."""
    return {"photo": {"url": url, "width": one.width, "height": one.height}}


def truth(one: Item) -> dict[str, Any]:
    """Give what is told of a photo once it is answered, as plain JSON."""
    return {
        "evidence": [_told(region, one, evidence=True) for region in one.evidence],
        "look_alikes": [_told(region, one, evidence=False) for region in one.look_alikes],
        "unsettled": [list(reach(box, one)) for box in one.unsettled],
    }


def choices(quiz: Quiz) -> list[dict[str, str]]:
    """Give what a tap can be called, as plain JSON: the cues, and all kinds of wear if the quiz has any."""
    regions = [region for one in quiz.items for region in (*one.evidence, *one.look_alikes)]
    signs = SIGNS if any(region.cue not in CUES for region in regions) else CUES
    return [{"cue": sign, "label": SIGN_STYLE[sign].label} for sign in signs]


def read_answers(data: bytes, name: str) -> BroughtBack:
    """Read the answers that a trainee saved.

    Raises
    ------
    ValueError
        The file holds no answers of this schema; the message names it and the mend.
    """
    try:
        read: Mapping[str, Any] = json.loads(data)
        if read["schema"] != ANSWERS_SCHEMA:
            raise ValueError(read["schema"])
        found = BroughtBack(
            quiz=str(read["quiz"]),
            sitting=str(read["sitting"]),
            trainee=str(read["trainee"]),
            group=str(read["group"]),
            answers=tuple(Answer(int(a["item"]), tuple(_tap(t) for t in a["taps"])) for a in read["answers"]),
        )
    except (KeyError, OverflowError, RecursionError, TypeError, ValueError) as wrong:
        raise ValueError(
            f"{name} holds no answers to a quiz: save them again from the quiz's last page"
        ) from wrong
    if not found.sitting or not found.trainee.strip():
        raise ValueError(f"{name} does not say whose answers it holds: save them again from the quiz")
    return found


def _tap(data: Mapping[str, Any]) -> Tap:
    x, y = float(data["x"]), float(data["y"])
    if data["cue"] not in SIGNS or not (math.isfinite(x) and math.isfinite(y)):
        raise ValueError(f"no tap: {data}")
    return Tap(x, y, data["cue"])


def _told(region: Region, one: Item, *, evidence: bool) -> dict[str, Any]:
    style = SIGN_STYLE[region.cue]
    return {
        "cue": region.cue,
        "label": style.label,
        "colour": style.colour if evidence else FASTENER_COLOUR,
        "dash": list(style.dash),
        "grade": region.grade,
        "say": region.say,
        "box": list(region.box),
        "outline": [list(point) for point in region.outline],
        "reach": list(reach(region.box, one)),
    }


def _script_safe(data: object) -> Markup:
    """Give JSON that cannot end the script element that holds it."""
    text = json.dumps(data, ensure_ascii=True)
    return Markup(text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026"))
