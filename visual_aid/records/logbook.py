"""The logbook: what people write down beside their decisions. Lines are only ever added."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any, Literal

from sqlalchemy import Connection, Engine, RowMapping, select

from visual_aid.records import schema as t
from visual_aid.records.entries import Event, Line, LineKind, OvertakenError
from visual_aid.records.queries import aware
from visual_aid.records.writing import added, named, now, reading, the_unit, writing


class Logbook:
    """The lines of a store's logbook. Every method that writes returns after the line is on the disk."""

    def __init__(self, engine: Engine) -> None:
        self._engine = engine

    def write(
        self,
        kind: LineKind,
        body: Mapping[str, Any],
        *,
        by: str,
        unit: str | None = None,
        visit: int | None = None,
        photo: str | None = None,
        candidate: int | None = None,
        supersedes: int | None = None,
    ) -> int:
        """Add a line and give its number.

        Parameters
        ----------
        body : mapping
            What is written down: plain JSON, not empty.
        by : str
            Who writes it.
        unit, visit, photo, candidate : optional
            What it is about.
        supersedes : int, optional
            The line that this one takes the place of.

        Raises
        ------
        KeyError
            No line of that number to supersede.
        OvertakenError
            Somebody has changed or taken back the line meanwhile.
        ValueError
            Nobody's name, or nothing written.
        """
        if not body:
            raise ValueError("an empty line says nothing")
        with writing(self._engine) as connection:
            if supersedes is not None:
                _standing(connection, supersedes)
            return add_line(
                connection,
                kind,
                body,
                by,
                unit=None if unit is None else the_unit(connection, unit),
                visit=visit,
                photo=photo,
                candidate=candidate,
                supersedes=supersedes,
            )

    def take_back(self, line: int, *, by: str) -> None:
        """Take a line back: it is kept, and no longer stands.

        Raises
        ------
        KeyError
            No line of that number.
        OvertakenError
            Somebody has changed it or taken it back meanwhile.
        ValueError
            Nobody's name.
        """
        with writing(self._engine) as connection:
            row = _standing(connection, line)
            about = {name: row[name] for name in ("unit", "visit", "photo", "candidate")}
            add_line(connection, row["kind"], None, by, supersedes=line, **about)

    def lines(
        self,
        kind: LineKind | None = None,
        *,
        unit: str | None = None,
        visit: int | None = None,
        photo: str | None = None,
        candidate: int | None = None,
    ) -> tuple[Line, ...]:
        """List the lines that stand, oldest first; of those about something, where it is named."""
        later = select(t.logbook.c.supersedes).where(t.logbook.c.supersedes.is_not(None))
        rows = (
            select(t.logbook, t.unit.c.number)
            .select_from(t.logbook)
            .outerjoin(t.unit, t.unit.c.id == t.logbook.c.unit)
            .where(t.logbook.c.body.is_not(None), t.logbook.c.id.not_in(later))
            .order_by(t.logbook.c.id)
        )
        wanted = (
            (t.logbook.c.kind, kind),
            (t.unit.c.number, unit),
            (t.logbook.c.visit, visit),
            (t.logbook.c.photo, photo),
            (t.logbook.c.candidate, candidate),
        )
        for column, value in wanted:
            if value is not None:
                rows = rows.where(column == value)
        with reading(self._engine) as connection:
            return tuple(
                Line(
                    id=row["id"],
                    kind=row["kind"],
                    unit=row["number"],
                    visit=row["visit"],
                    photo=row["photo"],
                    candidate=row["candidate"],
                    body=json.loads(row["body"]),
                    by=row["by"],
                    at=aware(row["at"]),
                    supersedes=row["supersedes"],
                )
                for row in connection.execute(rows).mappings()
            )

    def events(self, *, unit: str | None = None, limit: int | None = None) -> tuple[Event, ...]:
        """List everything that people did, the last first: decisions and lines, also those taken back."""
        with reading(self._engine) as connection:
            found = [
                *_decisions(connection, unit=unit, limit=limit),
                *_lines(connection, unit=unit, limit=limit),
            ]
        return tuple(sorted(found, key=lambda event: event.at, reverse=True)[:limit])


def add_line(
    connection: Connection,
    kind: LineKind,
    body: Mapping[str, Any] | None,
    by: str,
    **about: Any,  # noqa: ANN401
) -> int:
    """Add a line within a transaction; ``about`` are columns of the logbook."""
    text = None if body is None else json.dumps(body, ensure_ascii=False)
    return added(connection, t.logbook, kind=kind, body=text, by=named(by), at=now(), **about)


def _standing(connection: Connection, line: int) -> RowMapping:
    """Give a line that is going to be superseded, and keep others from doing so until that is done."""
    locked = select(t.logbook).where(t.logbook.c.id == line).with_for_update()
    row = connection.execute(locked).mappings().first()
    if row is None:
        raise KeyError(line)
    later = connection.execute(select(t.logbook).where(t.logbook.c.supersedes == line)).mappings().first()
    if later is not None:
        done = "taken this back" if later["body"] is None else "changed this"
        raise OvertakenError(
            f"{later['by']} has {done} meanwhile, and nothing was recorded now: look again before you write."
        )
    return row


def _decisions(connection: Connection, *, unit: str | None, limit: int | None) -> list[Event]:
    rows = (
        select(t.decision, t.candidate.c.cue, t.photo.c.name, t.unit.c.number)
        .select_from(t.decision)
        .join(t.candidate, t.candidate.c.id == t.decision.c.candidate)
        .join(t.photo, t.photo.c.id == t.candidate.c.photo)
        .outerjoin(t.visit, t.visit.c.id == t.photo.c.visit)
        .outerjoin(t.unit, t.unit.c.id == t.visit.c.unit)
        .order_by(t.decision.c.id.desc())
        .limit(limit)
    )
    if unit is not None:
        rows = rows.where(t.unit.c.number == unit)
    return [
        _event(
            row,
            kind="decision",
            body={"outcome": row["outcome"], "note": row["note"]},
            takes_back=row["undoes"] is not None,
        )
        for row in connection.execute(rows).mappings()
    ]


def _lines(connection: Connection, *, unit: str | None, limit: int | None) -> list[Event]:
    before = t.logbook.alias()
    rows = (
        select(t.logbook, t.unit.c.number, t.photo.c.name, t.candidate.c.cue, before.c.body.label("before"))
        .select_from(t.logbook)
        .outerjoin(t.unit, t.unit.c.id == t.logbook.c.unit)
        .outerjoin(t.photo, t.photo.c.id == t.logbook.c.photo)
        .outerjoin(t.candidate, t.candidate.c.id == t.logbook.c.candidate)
        .outerjoin(before, before.c.id == t.logbook.c.supersedes)
        .order_by(t.logbook.c.id.desc())
        .limit(limit)
    )
    if unit is not None:
        rows = rows.where(t.unit.c.number == unit)
    return [
        _event(
            row,
            kind=row["kind"],
            body=json.loads(row["body"] or row["before"]),
            takes_back=row["body"] is None,
        )
        for row in connection.execute(rows).mappings()
    ]


def _event(
    row: RowMapping, *, kind: Literal["decision"] | LineKind, body: Mapping[str, Any], takes_back: bool
) -> Event:
    return Event(
        at=aware(row["at"]),
        by=row["by"],
        kind=kind,
        unit=row["number"],
        about=row["name"] or "",
        sign=row["cue"],
        body=body,
        takes_back=takes_back,
    )
