"""Read the tables and give what the store hands out."""

from __future__ import annotations

import dataclasses
import datetime as dt
import functools
import json
from collections.abc import Mapping
from typing import Any

from sqlalchemy import ColumnElement, Connection, Select, Subquery, and_, func, or_, select

from visual_aid.model import Candidate, Screening
from visual_aid.records import schema as t
from visual_aid.records.entries import (
    Calibration,
    Decision,
    Position,
    StoredCandidate,
    StoredPhoto,
    Tuning,
    Visit,
)

Row = Mapping[Any, Any]


def read_photo(connection: Connection, photo: str) -> StoredPhoto:
    """Read a photo with its last screening; KeyError if there is none of that id."""
    row = connection.execute(photos().where(t.photo.c.id == photo)).mappings().first()
    if row is None:
        raise KeyError(photo)
    return to_photo(row)


def read_photos(connection: Connection, which: ColumnElement[bool]) -> tuple[StoredPhoto, ...]:
    """Read the photos for which a condition holds, in the order in which they were taken.

    Photos without a camera time come last, by name.
    """
    rows = (
        photos()
        .where(which)
        .order_by(t.photo.c.taken.is_(None), t.photo.c.taken, t.photo.c.name, t.photo.c.id)
    )
    return tuple(to_photo(row) for row in connection.execute(rows).mappings())


def read_candidates(connection: Connection, photo: StoredPhoto) -> tuple[StoredCandidate, ...]:
    """Read what is flagged on a photo: the engine's by score, then earlier ones, then people's marks."""
    changed, paired = changed_now(), paired_with()
    rows = connection.execute(
        select(
            t.candidate,
            t.flagged.c.number.label("number"),
            changed.c.body.label("changed"),
            paired.c.before.label("before"),
            *(column.label(f"decision_{column.name}") for column in t.decision.c),
        )
        .select_from(t.candidate)
        .join(t.photo, t.photo.c.id == t.candidate.c.photo)
        .join(t.screening, is_last_screening())
        .outerjoin(t.decision, is_last_decision())
        .outerjoin(t.flagged, is_flagged_now())
        .outerjoin(changed, changed.c.candidate == t.candidate.c.id)
        .outerjoin(paired, paired.c.candidate == t.candidate.c.id)
        .where(t.photo.c.id == photo.id)
        .where(
            or_(
                t.flagged.c.number.is_not(None),
                changed.c.body.is_not(None),
                t.decision.c.outcome.is_not(None),
            )
        )
    ).mappings()
    tuning = read_tuning(connection)
    now = {c.id: tuning.candidate(c) for c in photo.screening.candidates}
    found = [_to_candidate(row, now, tuning) for row in rows]
    return tuple(sorted(found, key=lambda c: (c.source == "person", not c.current, -c.candidate.score, c.id)))


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


def read_tuning(connection: Connection) -> Tuning:
    """Read the working threshold and the calibration in use."""
    row = (
        connection.execute(
            select(t.tuning.c.threshold, t.tuning.c.calibration, t.calibration)
            .outerjoin(t.calibration, t.calibration.c.id == t.tuning.c.calibration)
            .order_by(t.tuning.c.id.desc())
            .limit(1)
        )
        .mappings()
        .first()
    )
    if row is None:
        return Tuning()
    return Tuning(row["threshold"], None if row["calibration"] is None else to_calibration(row))


def to_calibration(row: Row) -> Calibration:
    """Give a calibration from a row."""
    return Calibration(
        row["name"], row["slope"], row["intercept"], row["decided"], row["by"], aware(row["at"])
    )


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


@functools.cache
def photos() -> Select[Any]:
    """Give one row for each photo with its last screening, its visit and its position."""
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
        .join(t.screening, is_last_screening())
        .outerjoin(t.visit, t.visit.c.id == t.photo.c.visit)
        .outerjoin(visited, visited.c.id == t.visit.c.unit)
        .outerjoin(t.position, t.position.c.id == t.photo.c.position)
        .outerjoin(placed, placed.c.id == t.position.c.unit)
    )


def is_last_screening() -> ColumnElement[bool]:
    """Tell the last screening of a photo."""
    other = t.screening.alias()
    last = select(func.max(other.c.id)).where(other.c.photo == t.photo.c.id).correlate(t.photo)
    return t.screening.c.id == last.scalar_subquery()


def is_last_decision() -> ColumnElement[bool]:
    """Tell the decision on a candidate that stands: the last one."""
    other = t.decision.alias()
    last = select(func.max(other.c.id)).where(other.c.candidate == t.candidate.c.id).correlate(t.candidate)
    return t.decision.c.id == last.scalar_subquery()


def is_flagged_now() -> ColumnElement[bool]:
    """Tell the number that a candidate has in the screening at hand."""
    return and_(t.flagged.c.candidate == t.candidate.c.id, t.flagged.c.screening == t.screening.c.id)


def changed_now() -> Subquery:
    """Give what the last comparison of each pair of photos flags."""
    newer = t.comparison.alias()
    superseded = select(newer.c.id).where(
        newer.c.before == t.comparison.c.before,
        newer.c.after == t.comparison.c.after,
        newer.c.id > t.comparison.c.id,
    )
    joined = t.changed.join(t.comparison, t.comparison.c.id == t.changed.c.comparison)
    return select(t.changed).select_from(joined).where(~superseded.exists()).subquery()


def paired_with() -> Subquery:
    """Give the photo before of whatever a comparison, an earlier one too, has flagged."""
    joined = t.changed.join(t.comparison, t.comparison.c.id == t.changed.c.comparison)
    return select(t.changed.c.candidate, t.comparison.c.before).select_from(joined).distinct().subquery()


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


def to_photo(row: Row) -> StoredPhoto:
    """Give a photo from a row of ``photos``."""
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


def _to_candidate(row: Row, now: Mapping[int, Candidate], tuning: Tuning) -> StoredCandidate:
    number = row["number"]
    earlier = candidate_from_json(row["changed"] or row["body"])
    if row["source"] == "engine" and row["before"] is None:  # a calibration is learned from scores of cues
        earlier = tuning.candidate(earlier)
    return StoredCandidate(
        id=row["id"],
        photo=row["photo"],
        source=row["source"],
        candidate=earlier if number is None else now[number],
        current=row["source"] == "person" or number is not None or row["changed"] is not None,
        decision=None if row["decision_id"] is None else to_decision(row, "decision_"),
        threshold=tuning.threshold,
        before=row["before"],
    )


def aware(moment: dt.datetime) -> dt.datetime:
    """Give a moment in UTC, as all are written: SQLite keeps no zone, PostgreSQL gives its server's."""
    return moment.astimezone(dt.UTC) if moment.tzinfo else moment.replace(tzinfo=dt.UTC)
