"""Read the tables and give what the store hands out."""

from __future__ import annotations

import dataclasses
import datetime as dt
import json
from collections.abc import Mapping
from typing import Any

from sqlalchemy import ColumnElement, Connection, Select, Subquery, and_, case, func, or_, select

from visual_aid.model import Candidate, Screening
from visual_aid.records import schema as t
from visual_aid.records.entries import (
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


def read_candidates(connection: Connection, photo: StoredPhoto) -> tuple[StoredCandidate, ...]:
    """Read what is flagged on a photo: the engine's by score, then earlier ones, then people's marks."""
    last = _last_decisions()
    latest = select(func.max(t.screening.c.id)).where(t.screening.c.photo == photo.id).scalar_subquery()
    rows = connection.execute(
        select(
            t.candidate,
            t.flagged.c.number.label("number"),
            *(column.label(f"decision_{column.name}") for column in last.c),
        )
        .outerjoin(last, last.c.candidate == t.candidate.c.id)
        .outerjoin(
            t.flagged, and_(t.flagged.c.candidate == t.candidate.c.id, t.flagged.c.screening == latest)
        )
        .where(t.candidate.c.photo == photo.id, _shows(last))
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
        .add_columns(work.c.stage, work.c.undecided, work.c.decided, work.c.findings)
        .join(work, work.c.photo == t.photo.c.id)
        .order_by(t.screening.c.priority.desc(), t.photo.c.added_at, t.photo.c.id)
        .limit(limit)
        .offset(offset)
    )
    if stage is not None:
        rows = rows.where(work.c.stage == stage)
    return tuple(
        WorklistEntry(_to_photo(row), row["stage"], row["undecided"], row["decided"], row["findings"])
        for row in connection.execute(rows).mappings()
    )


def next_to_decide(connection: Connection, photo: str) -> str | None:
    """Give the photo to decide on after this one, in the worklist's order and from its top again."""
    work = _work()
    columns = select(t.screening.c.priority, t.photo.c.added_at, t.photo.c.id).join(t.photo)
    here = connection.execute(
        columns.where(t.photo.c.id == photo).order_by(t.screening.c.id.desc()).limit(1)
    ).one()
    priority, added_at = t.screening.c.priority, t.photo.c.added_at
    after = or_(
        priority < here.priority,
        and_(priority == here.priority, added_at > here.added_at),
        and_(priority == here.priority, added_at == here.added_at, t.photo.c.id > photo),
    )
    rows = (
        _photos()
        .with_only_columns(t.photo.c.id, maintain_column_froms=True)
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
    last = _last_decisions()
    rows = (
        select(t.candidate.c.photo)
        .join(last, last.c.candidate == t.candidate.c.id)
        .where(last.c.outcome == "confirmed")
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
        at=_aware(row[f"{prefix}at"]),
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
    latest = _last_screenings()
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
        .join(t.screening, t.screening.c.photo == t.photo.c.id)
        .join(latest, latest.c.id == t.screening.c.id)
        .outerjoin(t.visit, t.visit.c.id == t.photo.c.visit)
        .outerjoin(visited, visited.c.id == t.visit.c.unit)
        .outerjoin(t.position, t.position.c.id == t.photo.c.position)
        .outerjoin(placed, placed.c.id == t.position.c.unit)
    )


def _work() -> Subquery:
    """Give one row for each photo: where it stands and what is left to do."""
    latest = _last_screenings()
    last = _last_decisions()
    on_photo = (
        select(t.candidate.c.photo, t.candidate.c.id, last.c.outcome)
        .outerjoin(last, last.c.candidate == t.candidate.c.id)
        .outerjoin(
            t.flagged,
            and_(t.flagged.c.candidate == t.candidate.c.id, t.flagged.c.screening.in_(select(latest.c.id))),
        )
        .where(_shows(last))
        .subquery()
    )
    undecided = func.count(on_photo.c.id).filter(on_photo.c.outcome.is_(None))
    decided = func.count(on_photo.c.outcome)
    stage = case(
        (undecided > 0, "to_decide"),
        (decided > 0, "decided"),
        (t.screening.c.usable, "nothing_flagged"),
        else_="take_again",
    )
    return (
        select(
            t.screening.c.photo,
            undecided.label("undecided"),
            decided.label("decided"),
            func.count().filter(on_photo.c.outcome == "confirmed").label("findings"),
            stage.label("stage"),
        )
        .join(latest, latest.c.id == t.screening.c.id)
        .outerjoin(on_photo, on_photo.c.photo == t.screening.c.photo)
        .group_by(t.screening.c.id)
        .subquery()
    )


def _last_screenings() -> Subquery:
    return select(func.max(t.screening.c.id).label("id")).group_by(t.screening.c.photo).subquery()


def _last_decisions() -> Subquery:
    ids = select(func.max(t.decision.c.id).label("id")).group_by(t.decision.c.candidate).subquery()
    return select(t.decision).join(ids, ids.c.id == t.decision.c.id).subquery()


def _shows(last: Subquery) -> ColumnElement[bool]:
    """Tell a candidate that the last screening flags, or on which a decision stands."""
    return or_(t.flagged.c.number.is_not(None), last.c.outcome.is_not(None))


def _to_photo(row: Row) -> StoredPhoto:
    visit = position = None
    if row["visit_id"] is not None:
        visit = Visit(
            id=row["visit_id"],
            unit=row["visit_number"],
            date=row["visit_date"],
            odometer=row["visit_odometer"],
            odometer_unit=row["visit_odometer_unit"],
            inspector=row["visit_inspector"],
        )
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
        added_at=_aware(row["added_at"]),
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


def _aware(moment: dt.datetime) -> dt.datetime:
    """Give a moment its zone back: SQLite keeps none, and all are written in UTC."""
    return moment if moment.tzinfo else moment.replace(tzinfo=dt.UTC)
