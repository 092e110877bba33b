"""What the gallery, lessons and quizzes are made of: frozen, plain, free of the database."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal, get_args

from visual_aid.model import Box, Candidate, Outline, Sign
from visual_aid.records.entries import Outcome, Source

Grade = Literal["faint", "moderate", "obvious"]
GRADES: tuple[Grade, ...] = get_args(Grade)

Role = Literal["evidence", "look_alike", "clean", "unsettled"]
"""What an example shows, by the decision that stands on its candidate.

``evidence``: confirmed. ``look_alike``: ruled out. ``unsettled``: neither, since the decision was taken back
or changed. ``clean``: a whole photo, kept because nothing is wrong on it.
"""


@dataclass(frozen=True, slots=True)
class Wording:
    """What a trainer says of an example; a later wording supersedes it.

    Attributes
    ----------
    caption : str
        In words for trainees; the engine's reason is the first draft.
    hand_check : str
        What the hand check showed.
    kept : bool
        False once the example was taken out of the gallery.
    """

    grade: Grade = "moderate"
    caption: str = ""
    hand_check: str = ""
    tags: tuple[str, ...] = ()
    kept: bool = True


@dataclass(frozen=True, slots=True)
class Example:
    """One entry of the gallery.

    Attributes
    ----------
    photo : str
        Id of the photo, ``width`` and ``height`` its upright size in pixels.
    candidate : Candidate or None
        What is shown; None for a clean photo.
    number : int or None
        The store's id of the candidate.
    """

    id: int
    photo: str
    width: int
    height: int
    number: int | None
    candidate: Candidate | None
    source: Source | None
    outcome: Outcome | None
    wording: Wording
    by: str
    at: dt.datetime

    @property
    def role(self) -> Role:
        """What the example shows."""
        if self.candidate is None:
            return "clean"
        if self.outcome == "confirmed":
            return "evidence"
        return "look_alike" if self.outcome == "ruled_out" else "unsettled"

    @property
    def cue(self) -> Sign | None:
        """The cue or kind of wear that it shows or resembles; None for a clean photo."""
        return None if self.candidate is None else self.candidate.cue


@dataclass(frozen=True, slots=True)
class Step:
    """One example within a lesson and what is said there."""

    example: int
    words: str = ""


@dataclass(frozen=True, slots=True)
class Lesson:
    """Examples in an order, with words."""

    id: int
    title: str
    opening: str
    steps: tuple[Step, ...]
    by: str
    at: dt.datetime


@dataclass(frozen=True, slots=True)
class Region:
    """Something on a photo of a quiz, in pixels of the full upright photo.

    ``say`` is what is told of it once the answer is in, ``grade`` how plain it is if somebody has said so;
    ``source`` says who saw it first.
    """

    cue: Sign
    box: Box
    outline: Outline
    say: str = ""
    grade: Grade | None = None
    source: Source = "engine"
    fastener: int | None = None


@dataclass(frozen=True, slots=True)
class Item:
    """One photo of a quiz and what is on it.

    Attributes
    ----------
    evidence : tuple of Region
        Every finding on the photo, not only those in the gallery.
    look_alikes : tuple of Region
        What was ruled out.
    unsettled : tuple of Box
        What nobody has settled: a tap there counts neither way.
    """

    photo: str
    width: int
    height: int
    evidence: tuple[Region, ...] = ()
    look_alikes: tuple[Region, ...] = ()
    unsettled: tuple[Box, ...] = ()


@dataclass(frozen=True, slots=True)
class Tap:
    """One thing that a trainee points out, in pixels of the full upright photo."""

    x: float
    y: float
    cue: Sign


@dataclass(frozen=True, slots=True)
class Answer:
    """What a trainee says of one photo; without taps it is 'nothing here'. ``item`` counts from 0."""

    item: int
    taps: tuple[Tap, ...] = ()


@dataclass(frozen=True, slots=True)
class Quiz:
    """Photos in an order, fixed once drawn: what is decided later does not change it.

    ``token`` names the quiz in files and addresses.
    """

    id: int
    token: str
    title: str
    seed: int
    items: tuple[Item, ...]
    by: str
    at: dt.datetime


@dataclass(frozen=True, slots=True)
class Sitting:
    """One trainee's way through one quiz; ``answers`` in the order in which they were given."""

    id: int
    token: str
    quiz: Quiz
    trainee: str
    group: str
    answers: tuple[Answer, ...]
    at: dt.datetime

    @property
    def is_complete(self) -> bool:
        """Whether every photo has its answer."""
        return len(self.answers) == len(self.quiz.items)


def item_from_dict(data: Mapping[str, Any]) -> Item:
    """Read an item back from what ``dataclasses.asdict`` and JSON made of it."""
    return Item(
        photo=data["photo"],
        width=data["width"],
        height=data["height"],
        evidence=tuple(_region(r) for r in data["evidence"]),
        look_alikes=tuple(_region(r) for r in data["look_alikes"]),
        unsettled=tuple(_box(b) for b in data["unsettled"]),
    )


def tap_from_dict(data: Mapping[str, Any]) -> Tap:
    """Read a tap back from what ``dataclasses.asdict`` and JSON made of it."""
    return Tap(float(data["x"]), float(data["y"]), data["cue"])


def _region(data: Mapping[str, Any]) -> Region:
    outline = tuple((x, y) for x, y in data["outline"])
    return Region(**{**data, "box": _box(data["box"]), "outline": outline})


def _box(data: Any) -> Box:  # noqa: ANN401
    x, y, w, h = data
    return (x, y, w, h)
