"""The records of teaching: looks of fasteners, examples, what is blurred, and lessons."""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property, partial
from typing import Any

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import ColumnElement, Connection, Engine, Select, func, insert, select

from visual_aid.model import Box, Fastener
from visual_aid.records import queries
from visual_aid.records import schema as t
from visual_aid.records.teaching import Example, Lesson, Step, Wording
from visual_aid.records.writing import added, named, now, reading, writing


@dataclass(frozen=True, eq=False)
class Looks:
    """The looks of all fasteners on record, photo by photo in the order of their last screening.

    Attributes
    ----------
    photos : tuple of str
        Ids of the photos.
    owner : ndarray of shape (N,), intp
        Index into ``photos`` of each fastener.
    places : ndarray of shape (N, 3), float32
        Centre and radius in pixels of the full upright photo.
    vectors : ndarray of shape (N, LENGTH), uint8
        As ``evidence.look.describe`` gives them.
    """

    photos: tuple[str, ...]
    owner: NDArray[np.intp]
    places: NDArray[np.float32]
    vectors: NDArray[np.uint8]

    def __len__(self) -> int:
        return len(self.owner)

    @cached_property
    def numbers(self) -> Mapping[str, int]:
        """The index of each photo in ``photos``."""
        return {photo: number for number, photo in enumerate(self.photos)}

    def of(self, photo: str) -> range:
        """Give the indices of a photo's fasteners."""
        number = self.numbers.get(photo)
        if number is None:
            return range(0)
        return range(*(int(i) for i in np.searchsorted(self.owner, [number, number + 1])))


def keep_looks(connection: Connection, photo: str, fasteners: Sequence[Fastener], version: int) -> None:
    """Put the looks of a photo's fasteners in the place of those before; nothing if they have none."""
    seen = [f for f in fasteners if f.look]
    if fasteners and not seen:
        return
    connection.execute(t.look.delete().where(t.look.c.photo == photo))
    places = np.array([(f.cx, f.cy, f.radius) for f in seen], "<f4")
    connection.execute(
        insert(t.look).values(
            photo=photo,
            version=version,
            places=places.tobytes(),
            vectors=b"".join(f.look for f in seen),
        )
    )


class Gallery:
    """Examples, lessons and what they need. What is said of them is only ever added to."""

    def __init__(self, engine: Engine) -> None:
        self._reading = partial(reading, engine)
        self._writing = partial(writing, engine)

    # Looks

    def looks(self, version: int) -> Looks:
        """Give the looks of all fasteners on record that are of this version."""
        with self._reading() as connection:
            rows = connection.execute(
                select(t.look.c.photo, t.look.c.places, t.look.c.vectors)
                .where(t.look.c.version == version)
                .order_by(t.look.c.photo)
            ).all()
        places = np.frombuffer(b"".join(row.places for row in rows), "<f4").reshape(-1, 3)
        data = np.frombuffer(b"".join(row.vectors for row in rows), np.uint8)
        vectors = data.reshape(len(places), -1) if len(places) else data.reshape(0, 0)
        counts = [len(row.places) // 12 for row in rows]
        owner = np.repeat(np.arange(len(rows)), counts)
        return Looks(tuple(row.photo for row in rows), owner, places, vectors)

    def without_looks(self, version: int) -> tuple[str, ...]:
        """List the photos whose fasteners nobody has looked at in this version."""
        known = select(t.look.c.photo).where(t.look.c.version == version)
        with self._reading() as connection:
            rows = select(t.photo.c.id).where(t.photo.c.id.not_in(known)).order_by(t.photo.c.id)
            return tuple(connection.scalars(rows))

    def keep_looks(self, photo: str, fasteners: Sequence[Fastener], version: int) -> None:
        """Put the looks of a photo's fasteners in the place of those before."""
        with self._writing() as connection:
            keep_looks(connection, photo, fasteners, version)

    # Blurred boxes

    def blurred(self, photo: str) -> tuple[Box, ...]:
        """Give the boxes of a photo that are blurred wherever it leaves the tool."""
        rows = select(t.blur.c.boxes).where(t.blur.c.photo == photo).order_by(t.blur.c.id.desc()).limit(1)
        with self._reading() as connection:
            boxes = connection.scalar(rows)
        return () if boxes is None else tuple((x, y, w, h) for x, y, w, h in json.loads(boxes))

    def blur(self, photo: str, boxes: Sequence[Box], *, by: str) -> None:
        """Say which boxes of a photo are blurred wherever it leaves the tool; the last word stands.

        Raises
        ------
        ValueError
            Nobody's name, or a box without area.
        """
        if not all(w > 0 and h > 0 for _, _, w, h in boxes):
            raise ValueError("a box to blur needs a width and a height")
        with self._writing() as connection:
            kept = json.dumps([list(box) for box in boxes])
            added(connection, t.blur, photo=photo, boxes=kept, by=named(by), at=now())

    # Examples

    def keep(self, photo: str, candidate: int | None, wording: Wording, *, by: str) -> Example:
        """Put a candidate, or a photo as one with nothing wrong, into the gallery.

        What is there already is handed back as it stands, and is kept again if it had been taken out.

        Raises
        ------
        KeyError
            No such photo, or no such candidate on it.
        ValueError
            Nobody's name.
        """
        by = named(by)
        with self._writing() as connection:
            queries.read_photo(connection, photo)
            if candidate is not None:
                owner = select(t.candidate.c.photo).where(t.candidate.c.id == candidate)
                if connection.scalar(owner) != photo:
                    raise KeyError(candidate)
            same = select(t.example.c.id).where(
                t.example.c.photo == photo,
                t.example.c.candidate.is_(None) if candidate is None else t.example.c.candidate == candidate,
            )
            number = connection.scalar(same)
            if number is None:
                number = added(connection, t.example, photo=photo, candidate=candidate)
                _say(connection, number, wording, by)
            elif not (before := _read(connection, t.example.c.id == number)[0].wording).kept:
                _say(connection, number, dataclasses.replace(before, kept=True), by)
            return _read(connection, t.example.c.id == number)[0]

    def say(self, example: int, wording: Wording, *, by: str) -> Example:
        """Record what a trainer says of an example; it supersedes what was said before.

        Raises
        ------
        KeyError
            No example of that id.
        ValueError
            Nobody's name.
        """
        by = named(by)
        with self._writing() as connection:
            if not _read(connection, t.example.c.id == example):
                raise KeyError(example)
            _say(connection, example, wording, by)
            return _read(connection, t.example.c.id == example)[0]

    def examples(self) -> tuple[Example, ...]:
        """List what is kept in the gallery, in the order in which it came in."""
        with self._reading() as connection:
            return tuple(_read(connection, t.wording.c.kept.is_(True)))

    def of_photo(self, photo: str) -> tuple[Example, ...]:
        """List what is kept of one photo."""
        with self._reading() as connection:
            return tuple(_read(connection, (t.example.c.photo == photo) & t.wording.c.kept.is_(True)))

    def example(self, example: int) -> Example:
        """Give one example, kept or not; KeyError if there is none of that id."""
        with self._reading() as connection:
            found = _read(connection, t.example.c.id == example)
        if not found:
            raise KeyError(example)
        return found[0]

    # Lessons

    def save_lesson(
        self, title: str, opening: str, steps: Sequence[Step], *, by: str, lesson: int | None = None
    ) -> Lesson:
        """Save a lesson, as a new one or as the next edition of one.

        Raises
        ------
        KeyError
            No lesson of that id.
        ValueError
            No title, or nobody's name.
        """
        title, by = title.strip(), named(by)
        if not title:
            raise ValueError("a lesson needs a title")
        with self._writing() as connection:
            if lesson is None:
                lesson = connection.execute(insert(t.lesson).returning(t.lesson.c.id)).scalar_one()
            elif connection.scalar(select(t.lesson.c.id).where(t.lesson.c.id == lesson)) is None:
                raise KeyError(lesson)
            at = now()
            added(
                connection,
                t.edition,
                lesson=lesson,
                title=title,
                opening=opening,
                steps=json.dumps([dataclasses.asdict(step) for step in steps]),
                by=by,
                at=at,
            )
        return Lesson(lesson, title, opening, tuple(steps), by, at)

    def lessons(self) -> tuple[Lesson, ...]:
        """List the lessons as last saved, the last one first."""
        other = t.edition.alias()
        last = select(func.max(other.c.id)).where(other.c.lesson == t.edition.c.lesson).correlate(t.edition)
        rows = (
            select(t.edition).where(t.edition.c.id == last.scalar_subquery()).order_by(t.edition.c.id.desc())
        )
        with self._reading() as connection:
            return tuple(
                Lesson(
                    id=row["lesson"],
                    title=row["title"],
                    opening=row["opening"],
                    steps=tuple(Step(**step) for step in json.loads(row["steps"])),
                    by=row["by"],
                    at=queries.aware(row["at"]),
                )
                for row in connection.execute(rows).mappings()
            )


def _say(connection: Connection, example: int, wording: Wording, by: str) -> None:
    values = dataclasses.asdict(wording) | {"tags": json.dumps(wording.tags)}
    added(connection, t.wording, example=example, by=by, at=now(), **values)


def _read(connection: Connection, condition: ColumnElement[bool]) -> list[Example]:
    return [_example(row) for row in connection.execute(_examples().where(condition)).mappings()]


def _examples() -> Select[Any]:
    return (
        select(
            t.wording,
            t.example.c.id.label("number"),
            t.example.c.photo,
            t.example.c.candidate,
            t.photo.c.width,
            t.photo.c.height,
            t.candidate.c.body,
            t.candidate.c.source,
            t.decision.c.outcome,
        )
        .select_from(t.example)
        .join(t.photo, t.photo.c.id == t.example.c.photo)
        .join(t.wording, _is_last_wording())
        .outerjoin(t.candidate, t.candidate.c.id == t.example.c.candidate)
        .outerjoin(t.decision, queries.is_last_decision())
        .order_by(t.example.c.id)
    )


def _is_last_wording() -> ColumnElement[bool]:
    other = t.wording.alias()
    last = select(func.max(other.c.id)).where(other.c.example == t.example.c.id).correlate(t.example)
    return t.wording.c.id == last.scalar_subquery()


def _wording(row: queries.Row) -> Wording:
    return Wording(
        grade=row["grade"],
        caption=row["caption"],
        hand_check=row["hand_check"],
        tags=tuple(json.loads(row["tags"])),
        kept=row["kept"],
    )


def _example(row: queries.Row) -> Example:
    return Example(
        id=row["number"],
        photo=row["photo"],
        width=row["width"],
        height=row["height"],
        number=row["candidate"],
        candidate=None if row["body"] is None else queries.candidate_from_json(row["body"]),
        source=row["source"],
        outcome=row["outcome"],
        wording=_wording(row),
        by=row["by"],
        at=queries.aware(row["at"]),
    )
