"""What the buttons of gallery, lessons and quiz do, without the page."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import TypeVar

from visual_aid.evidence.frame import build_frames
from visual_aid.evidence.look import VERSION, describe
from visual_aid.followup.logged import check_record
from visual_aid.gallery.alike import Alike, fastener_at, more_like
from visual_aid.gallery.detection import Skill, skill
from visual_aid.gallery.order import draft_grade
from visual_aid.gallery.progress import Result, engine_marked, group_skill, marked, result, summed, weights
from visual_aid.gallery.quiz import Marked, draw, item
from visual_aid.model import CHANGES, Box, Screening
from visual_aid.outputs.cases import cases_zip
from visual_aid.outputs.lesson import LessonSheet, draw_lesson
from visual_aid.outputs.publish import publishable
from visual_aid.outputs.quiz_html import quiz_html, read_answers
from visual_aid.outputs.report import check_lines
from visual_aid.outputs.wording import counted
from visual_aid.pages.words import sentence
from visual_aid.photo import PhotoError
from visual_aid.records.entries import StoredCandidate, StoredPhoto
from visual_aid.records.gallery import Looks
from visual_aid.records.store import Store
from visual_aid.records.teaching import Example, Item, Lesson, Quiz, Sitting, Wording

T = TypeVar("T")

MORE = 12
"""Like fasteners shown at once."""


def can_keep(stored: StoredCandidate) -> bool:
    """Tell whether a candidate teaches something: settled either way, and to be seen in its one photo."""
    return stored.outcome in ("confirmed", "ruled_out") and stored.candidate.cue not in CHANGES


def keep(store: Store, photo: str, stored: StoredCandidate | None, *, by: str) -> Example:
    """Put a finding or look-alike, or a photo with nothing wrong, into the gallery with a first draft."""
    return store.gallery.keep(photo, None if stored is None else stored.id, draft(store, stored), by=by)


def draft(store: Store, stored: StoredCandidate | None) -> Wording:
    """Give the first draft of what is said of an example: the engine's reason, and what hands found."""
    if stored is None:
        return Wording()
    checks = store.logbook.lines("hand_check", candidate=stored.id)
    return Wording(
        grade=draft_grade(stored.candidate.score, by_person=stored.source == "person"),
        caption=sentence(stored.candidate.reason),
        hand_check="\n".join(check_lines(check_record(line))[0] for line in checks),
    )


def nothing_wrong(candidates: Sequence[StoredCandidate]) -> bool:
    """Tell whether a photo can be kept as one with nothing wrong: nothing likely waits, nothing stands."""
    return all(c.outcome == "ruled_out" or c.is_weak for c in candidates)


def tags(text: str) -> tuple[str, ...]:
    """Give the tags of a line in which commas stand between them, each once."""
    return tuple(dict.fromkeys(tag.strip() for tag in text.split(",") if tag.strip()))


# More like this


def like(store: Store, example: Example, looks: Looks) -> tuple[Alike, ...] | None:
    """Give fasteners that look like the one of an example; None where its fastener is not known."""
    if example.candidate is None:
        return None
    at = fastener_at(looks, example.photo, example.candidate.box)
    return None if at is None else more_like(looks, at, MORE)


def like_at_visit(store: Store, photo: StoredPhoto, box: Box) -> tuple[Alike, ...]:
    """Give the fasteners on a visit's other photos that look most like the one that a box is about.

    None are given where no visit or no fastener is known.
    """
    looks = store.gallery.looks(VERSION)
    at = fastener_at(looks, photo.id, box)
    if at is None or photo.visit is None:
        return ()
    here = {other.id for other in store.visits.photos(photo.visit.id)}
    return more_like(looks, at, MORE, leave_out=[p for p in looks.photos if p not in here])


def look_at(store: Store, photo: str) -> None:
    """Take the looks of a photo's fasteners that were not taken when it was screened.

    Raises
    ------
    FileNotFoundError, PhotoError
        The photo file is gone, changed or damaged.
    """
    stored = store.photo(photo)
    fasteners = stored.screening.fasteners
    frames = build_frames(store.read(stored), fasteners) if fasteners else ()
    seen = [replace(f, look=describe(frame)) for f, frame in zip(fasteners, frames, strict=True)]
    store.gallery.keep_looks(photo, seen, VERSION)


def without_box(boxes: Sequence[Box], number: int) -> tuple[Box, ...]:
    """Give the boxes without one of them."""
    return tuple(box for i, box in enumerate(boxes) if i != number)


# Lessons


def sheet(store: Store, lesson: Lesson) -> LessonSheet:
    """Make a lesson ready to be written."""
    examples = {e.id: e for e in store.gallery.examples()}
    return draw_lesson(lesson, examples, last_photo(partial(publishable, store)))


def last_photo(read: Callable[[str], T]) -> Callable[[str], T]:
    """Read a photo once for all that is asked of it in a row, and hold no other."""
    held: dict[str, T] = {}

    def get(photo: str) -> T:
        if photo not in held:
            held.clear()
            held[photo] = read(photo)
        return held[photo]

    return get


# Quizzes


def pool(store: Store) -> tuple[Item, ...]:
    """Give every photo of which the gallery holds something that is settled."""
    examples = store.gallery.examples()
    photos = dict.fromkeys(e.photo for e in examples if e.role != "unsettled")
    return tuple(item(store.photo(p), store.candidates(p), examples) for p in photos)


def new_quiz(store: Store, title: str, seed: int, count: int, *, trainee: str, by: str) -> Quiz:
    """Draw and keep a quiz, weighted to the weak cues of a trainee if one is named.

    Raises
    ------
    ValueError
        No title, nobody's name, or nothing in the gallery to ask.
    """
    done = people(store).get(trainee)
    more = None if done is None else weights(done.result.by_cue)
    items = draw(pool(store), seed, count, weights=more)
    if not items:
        raise ValueError(
            "the gallery has nothing to ask yet: keep findings, look-alikes and clean photos first"
        )
    return store.quizzes.add(title, seed, items, by=by)


def unfinished(store: Store, quiz: Quiz, trainee: str, group: str) -> Sitting | None:
    """Give the sitting that a trainee broke off, to go on with; None where there is none."""
    own = (quiz.id, trainee, group)
    begun = (s for s in store.quizzes.sittings() if (s.quiz.id, s.trainee, s.group) == own)
    return next((s for s in begun if not s.is_complete), None)


def quiz_file(store: Store, quiz: Quiz) -> str:
    """Write a quiz as one HTML file."""
    return quiz_html(quiz, partial(publishable, store))


def bring_back(store: Store, data: bytes, name: str) -> str:
    """Keep the answers that a trainee saved, and say in one line what became of them.

    Raises
    ------
    ValueError
        The file holds no answers, or those of a quiz that is not on record.
    """
    found = read_answers(data, name)
    try:
        quiz = store.quizzes.quiz(found.quiz)
    except KeyError:
        raise ValueError(
            f"{name} answers a quiz that is not in these records: open those it was made from"
        ) from None
    sitting = store.quizzes.begin(quiz, found.trainee, found.group, token=found.sitting)
    before = len(sitting.answers)
    after = len(store.quizzes.answer(sitting, found.answers).answers)
    if after == before:
        return f"{name}: these answers are in the records already."
    return f"{name}: {counted(after - before, 'answer')} of {found.trainee} to {quiz.title}."


@dataclass(frozen=True, slots=True)
class Person:
    """A trainee with all sittings, oldest first, and what they come to together."""

    name: str
    group: str
    sittings: tuple[Sitting, ...]
    result: Result


def people(store: Store) -> dict[str, Person]:
    """Give every trainee who has answered something, by name; the group is that of the last sitting."""
    by_name: dict[str, list[Sitting]] = {}
    for sitting in store.quizzes.sittings():
        if sitting.answers:
            by_name.setdefault(sitting.trainee, []).append(sitting)
    return {
        name: Person(
            name,
            sittings[-1].group,
            tuple(sittings),
            summed([result(marked(s)) for s in sittings]),
        )
        for name, sittings in sorted(by_name.items())
    }


def over_time(members: Iterable[Person]) -> list[tuple[dt.date, int, Skill]]:
    """Give a group's mean skill day by day, with the number of people that it is the mean of."""
    days: dict[dt.date, list[Result]] = {}
    for person in members:
        own: dict[dt.date, list[Result]] = {}
        for sitting in person.sittings:
            own.setdefault(sitting.at.astimezone().date(), []).append(result(marked(sitting)))
        for day, results in own.items():
            days.setdefault(day, []).append(summed(results))
    lines = []
    for day, people_then in sorted(days.items()):
        counted = [r for r in people_then if skill(r.overall) is not None]
        found = group_skill(counted)
        if found is not None:
            lines.append((day, len(counted), found))
    return lines


def cases(store: Store, items: Sequence[Item]) -> bytes:
    """Write photos of a quiz as labelled cases; raises as ``publishable``."""
    return cases_zip(items, lambda photo: store.photo(photo).screening, partial(publishable, store))


def readable(make: Callable[[], bytes]) -> bytes:
    """Give a file to download, or one line why there is none, for a browser that waits for a file."""
    try:
        return make()
    except (KeyError, OSError, PhotoError) as error:
        return f"This file could not be made: {error}\n".encode()


def engine_marks(store: Store, quiz: Quiz) -> list[Marked]:
    """Mark the engine on a quiz, by the last records of its photos."""
    records: Mapping[str, Screening] = {one.photo: store.photo(one.photo).screening for one in quiz.items}
    return engine_marked(quiz, records)
