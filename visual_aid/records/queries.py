"""Read the tables and give what the store hands out."""

from __future__ import annotations

import dataclasses
import datetime as dt
import json
from collections.abc import Mapping
from typing import Any

from sqlalchemy import ColumnElement, Connection, Select, Subquery, and_, case, func, not_, or_, select

from visual_aid.model import Candidate, Screening
from visual_aid.records import schema as t
from visual_aid.records.entries import (
    WEAK_SCORE,
    Decision,
    Position,
    Stage,
    StoredCandidate,
    StoredPhoto,
    Visit,
    WorklistEntry,
)

Row = Mapping[Any, Any]


def read_photo(connection: Connection, photo: str) -> StoredPhoto:
    """Read a photo with its last screening; KeyError if there is none of that id."""
    row = connection.execute(_photos().where(t.photo.c.id == photo)).mappings().first()
    if row is None:
        raise KeyError(photo)
    return _to_photo(row)


def read_photos(connection: Connection, which: ColumnElement[bool]) -> tuple[StoredPhoto, ...]:
    """Read the photos for which a condition holds, in the order in which they were taken.

    Photos without a camera time come last, by name.
    """
    rows = (
        _photos()
        .where(which)
        .order_by(t.photo.c.taken.is_(None), t.photo.c.taken, t.photo.c.name, t.photo.c.id)
    )
    return tuple(_to_photo(row) for row in connection.execute(rows).mappings())


def read_candidates(connection: Connection, photo: StoredPhoto) -> tuple[StoredCandidate, ...]:
    """Read what is flagged on a photo: the engine's by score, then earlier ones, then people's marks."""
    rows = connection.execute(
        select(
            t.candidate,
            t.flagged.c.number.label("number"),
            *(column.label(f"decision_{column.name}") for column in t.decision.c),
        )
        .select_from(t.candidate)
        .join(t.photo, t.photo.c.id == t.candidate.c.photo)
        .join(t.screening, _is_last_screening())
        .outerjoin(t.decision, is_last_decision())
        .outerjoin(t.flagged, _is_flagged_now())
        .where(t.photo.c.id == photo.id)
        .where(or_(t.flagged.c.number.is_not(None), t.decision.c.outcome.is_not(None)))
    ).mappings()
    now = {c.id: c for c in photo.screening.candidates}
    found = [_to_candidate(row, now) for row in rows]
    return tuple(sorted(found, key=lambda c: (c.source == "person", not c.current, -c.candidate.score, c.id)))


def read_worklist(
    connection: Connection, stage: Stage | None, limit: int | None, offset: int
) -> tuple[WorklistEntry, ...]:
    """Read photos by priority, highest first, with what is left to do on each."""
    work = _work()
    rows = (
        _photos()
        .add_columns(work.c.stage, work.c.undecided, work.c.weak, work.c.decided, work.c.findings)
        .join(work, work.c.photo == t.photo.c.id)
        .order_by(t.screening.c.priority.desc(), t.photo.c.added_at, t.photo.c.id)
        .limit(limit)
        .offset(offset)
    )
    if stage is not None:
        rows = rows.where(work.c.stage == stage)
    return tuple(
        WorklistEntry(
            photo=_to_photo(row),
            stage=row["stage"],
            undecided=row["undecided"],
            weak=row["weak"],
            decided=row["decided"],
            findings=row["findings"],
        )
        for row in connection.execute(rows).mappings()
    )


def next_to_decide(connection: Connection, photo: str) -> str | None:
    """Give the photo to decide on after this one, in the worklist's order and from its top again."""
    work = _work()
    here = connection.execute(
        select(t.screening.c.priority, t.photo.c.added_at)
        .select_from(t.photo)
        .join(t.screening, _is_last_screening())
        .where(t.photo.c.id == photo)
    ).one()
    priority, added_at = t.screening.c.priority, t.photo.c.added_at
    after = or_(
        priority < here.priority,
        and_(priority == here.priority, added_at > here.added_at),
        and_(priority == here.priority, added_at == here.added_at, t.photo.c.id > photo),
    )
    rows = (
        select(t.photo.c.id)
        .select_from(t.photo)
        .join(t.screening, _is_last_screening())
        .join(work, work.c.photo == t.photo.c.id)
        .where(work.c.stage == "to_decide", t.photo.c.id != photo)
        .order_by(case((after, 0), else_=1), priority.desc(), added_at, t.photo.c.id)
        .limit(1)
    )
    found: str | None = connection.scalar(rows)
    return found


def count_stages(connection: Connection) -> dict[Stage, int]:
    """Count the photos at each stage."""
    work = _work()
    rows = connection.execute(select(work.c.stage, func.count()).group_by(work.c.stage))
    return {row[0]: row[1] for row in rows}


def photos_with_findings(connection: Connection) -> list[str]:
    """Give the ids of the photos on which a confirmed candidate or a mark stands."""
    rows = (
        select(t.candidate.c.photo)
        .select_from(t.candidate)
        .join(t.decision, is_last_decision())
        .where(t.decision.c.outcome == "confirmed")
        .distinct()
        .order_by(t.candidate.c.photo)
    )
    return list(connection.scalars(rows))


def read_decisions(
    connection: Connection, *, photo: str | None = None, candidate: int | None = None
) -> list[Decision]:
    """Read every decision on a photo or on one candidate, oldest first."""
    rows = select(t.decision).join(t.candidate).order_by(t.decision.c.id)
    if photo is not None:
        rows = rows.where(t.candidate.c.photo == photo)
    if candidate is not None:
        rows = rows.where(t.candidate.c.id == candidate)
    return [to_decision(row) for row in connection.execute(rows).mappings()]


def to_decision(row: Row, prefix: str = "") -> Decision:
    """Give a decision from a row whose columns may carry a prefix."""
    return Decision(
        id=row[f"{prefix}id"],
        candidate=row[f"{prefix}candidate"],
        outcome=row[f"{prefix}outcome"],
        by=row[f"{prefix}by"],
        note=row[f"{prefix}note"],
        at=aware(row[f"{prefix}at"]),
        supersedes=row[f"{prefix}supersedes"],
        undoes=row[f"{prefix}undoes"],
    )


def candidate_to_json(candidate: Candidate) -> str:
    """Give a candidate as JSON; ``candidate_from_json`` reads it back."""
    return json.dumps(dataclasses.asdict(candidate), ensure_ascii=False)


def candidate_from_json(text: str) -> Candidate:
    """Read back what ``candidate_to_json`` gave."""
    data = json.loads(text)
    outline = tuple((x, y) for x, y in data["outline"])
    return Candidate(**{**data, "box": tuple(data["box"]), "outline": outline})


def _photos() -> Select[Any]:
    visited, placed = t.unit.alias(), t.unit.alias()
    return (
        select(
            t.photo,
            t.screening.c.record,
            *(column.label(f"visit_{column.name}") for column in t.visit.c),
            visited.c.number.label("visit_number"),
            *(column.label(f"position_{column.name}") for column in t.position.c),
            placed.c.number.label("position_number"),
        )
        .select_from(t.photo)
        .join(t.screening, _is_last_screening())
        .outerjoin(t.visit, t.visit.c.id == t.photo.c.visit)
        .outerjoin(visited, visited.c.id == t.visit.c.unit)
        .outerjoin(t.position, t.position.c.id == t.photo.c.position)
        .outerjoin(placed, placed.c.id == t.position.c.unit)
    )


def _work() -> Subquery:
    """Give one row for each photo: where it stands and what is left to do."""
    outcome = t.decision.c.outcome
    undecided = func.count().filter(t.flagged.c.score >= WEAK_SCORE, outcome.is_(None))
    weak = func.count().filter(t.flagged.c.score < WEAK_SCORE, outcome.is_(None))
    decided = func.count(outcome)
    stage = case(
        (undecided > 0, "to_decide"),
        (decided > 0, "decided"),
        (not_(t.screening.c.usable), "take_again"),
        (weak > 0, "weak_only"),
        else_="nothing_flagged",
    )
    return (
        select(
            t.photo.c.id.label("photo"),
            undecided.label("undecided"),
            weak.label("weak"),
            decided.label("decided"),
            func.count().filter(outcome == "confirmed").label("findings"),
            stage.label("stage"),
        )
        .select_from(t.photo)
        .join(t.screening, _is_last_screening())
        .outerjoin(t.candidate, t.candidate.c.photo == t.photo.c.id)
        .outerjoin(t.decision, is_last_decision())
        .outerjoin(t.flagged, _is_flagged_now())
        .group_by(t.photo.c.id, t.screening.c.id)
        .subquery()
    )


def _is_last_screening() -> ColumnElement[bool]:
    """Tell the last screening of a photo."""
    other = t.screening.alias()
    last = select(func.max(other.c.id)).where(other.c.photo == t.photo.c.id).correlate(t.photo)
    return t.screening.c.id == last.scalar_subquery()


def is_last_decision() -> ColumnElement[bool]:
    """Tell the decision on a candidate that stands: the last one."""
    other = t.decision.alias()
    last = select(func.max(other.c.id)).where(other.c.candidate == t.candidate.c.id).correlate(t.candidate)
    return t.decision.c.id == last.scalar_subquery()


def _is_flagged_now() -> ColumnElement[bool]:
    """Tell the number that a candidate has in the screening at hand."""
    return and_(t.flagged.c.candidate == t.candidate.c.id, t.flagged.c.screening == t.screening.c.id)


def to_visit(row: Row) -> Visit:
    """Give a visit from a row whose columns begin with ``visit_``."""
    return Visit(
        id=row["visit_id"],
        unit=row["visit_number"],
        date=row["visit_date"],
        odometer=row["visit_odometer"],
        odometer_unit=row["visit_odometer_unit"],
        inspector=row["visit_inspector"],
    )


def _to_photo(row: Row) -> StoredPhoto:
    visit = None if row["visit_id"] is None else to_visit(row)
    position = None
    if row["position_id"] is not None:
        position = Position(
            id=row["position_id"],
            unit=row["position_number"],
            axle=row["position_axle"],
            side=row["position_side"],
            component=row["position_component"],
        )
    return StoredPhoto(
        id=row["id"],
        name=row["name"],
        path=row["path"],
        screening=Screening.from_dict(json.loads(row["record"])),
        visit=visit,
        position=position,
        added_at=aware(row["added_at"]),
    )


def _to_candidate(row: Row, now: Mapping[int, Candidate]) -> StoredCandidate:
    number = row["number"]
    return StoredCandidate(
        id=row["id"],
        photo=row["photo"],
        source=row["source"],
        candidate=candidate_from_json(row["body"]) if number is None else now[number],
        current=row["source"] == "person" or number is not None,
        decision=None if row["decision_id"] is None else to_decision(row, "decision_"),
    )


def aware(moment: dt.datetime) -> dt.datetime:
    """Give a moment its zone back: SQLite keeps none, and all are written in UTC."""
    return moment if moment.tzinfo else moment.replace(tzinfo=dt.UTC)
