"""Read the worklist: by priority, filtered, a page at a time."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from sqlalchemy import (
    ColumnElement,
    Connection,
    FromClause,
    String,
    and_,
    case,
    cast,
    func,
    literal,
    or_,
    select,
)

from visual_aid.records import schema as t
from visual_aid.records.entries import Filter, Stage, Tuning, WorklistEntry
from visual_aid.records.queries import photos, read_tuning, to_photo

WAITING: Stage = "to_decide"


def read_worklist(
    connection: Connection, stage: Stage | None, chosen: Filter, limit: int | None, offset: int
) -> tuple[WorklistEntry, ...]:
    """Read photos by priority, highest first, with what is left to do on each."""
    standing = t.standing.c
    # The page is cut from the narrow table before the records are looked up.
    page = (
        select(standing.photo)
        .select_from(_filtered(chosen))
        .where(_passes(stage, chosen))
        .order_by(standing.priority.desc(), standing.added_at, standing.photo)
        .limit(limit)
        .offset(offset)
        .subquery()
    )
    other = t.standing.alias()
    like = select(func.count()).where(other.c.best == standing.photo).scalar_subquery()
    rows = (
        photos()
        .join(t.standing, standing.photo == t.photo.c.id)
        .join(page, page.c.photo == standing.photo)
        .add_columns(
            *(getattr(standing, name) for name in ("stage", "undecided", "weak", "decided", "findings")),
            standing.priority.label("standing_priority"),
            like.label("like"),
        )
        .order_by(standing.priority.desc(), standing.added_at, standing.photo)
    )
    tuning = read_tuning(connection)
    return tuple(_to_entry(row, tuning) for row in connection.execute(rows).mappings())


def holds_photos(connection: Connection) -> bool:
    """Tell whether any photo stands in the list."""
    return connection.execute(select(t.standing.c.photo).limit(1)).first() is not None


def count_stages(connection: Connection, chosen: Filter) -> dict[Stage, int]:
    """Count the photos at each stage."""
    stage = t.standing.c.stage
    rows = select(stage, func.count()).select_from(_filtered(chosen)).where(_passes(None, chosen))
    return {row[0]: row[1] for row in connection.execute(rows.group_by(stage))}


def next_to_decide(
    connection: Connection, photo: str | None, free: ColumnElement[bool], chosen: Filter
) -> str | None:
    """Give the photo to decide on after this one, in the worklist's order and from its top again.

    Without a photo, or after one that restored records no longer hold, the first is given. ``free`` tells
    of a standing whether its photo may be taken.
    """
    standing = t.standing.c
    rows = (
        select(standing.photo).select_from(_filtered(chosen)).where(_passes(WAITING, chosen), free).limit(1)
    )
    order = (standing.priority.desc(), standing.added_at, standing.photo)
    found: str | None
    here = select(standing.priority, standing.added_at).where(standing.photo == photo)
    stands = connection.execute(here).first()
    if stands is None:
        found = connection.scalar(rows.order_by(*order))
        return found
    priority, added_at = stands
    after = or_(
        standing.priority < priority,
        and_(standing.priority == priority, standing.added_at > added_at),
        and_(standing.priority == priority, standing.added_at == added_at, standing.photo > photo),
    )
    found = connection.scalar(rows.where(standing.photo != photo).order_by(case((after, 0), else_=1), *order))
    return found


def waits(connection: Connection, photo: str) -> bool:
    """Tell whether a photo is still to be decided on."""
    standing = t.standing.c
    found = connection.scalar(
        select(standing.photo).where(standing.photo == photo, standing.stage == WAITING)
    )
    return found is not None


def read_places(connection: Connection) -> tuple[tuple[int, ...], tuple[str, ...]]:
    """Give the axles and the components that positions name."""
    position = t.position.c
    return tuple(connection.scalars(select(position.axle).distinct().order_by(position.axle))), tuple(
        connection.scalars(select(position.component).distinct().order_by(position.component))
    )


def _filtered(chosen: Filter) -> FromClause:
    """Give the tables that a filter looks at, and no more."""
    tables: FromClause = t.standing
    by_day = chosen.since is not None or chosen.until is not None
    by_place = chosen.axle is not None or chosen.side is not None or chosen.component is not None
    if chosen.units or chosen.visit is not None or by_day or by_place:
        tables = tables.join(t.photo, t.photo.c.id == t.standing.c.photo)
    if chosen.units or by_day:
        tables = tables.outerjoin(t.visit, t.visit.c.id == t.photo.c.visit)
    if chosen.units:
        tables = tables.join(t.unit, t.unit.c.id == t.visit.c.unit)
    if by_place:
        tables = tables.join(t.position, t.position.c.id == t.photo.c.position)
    return tables


def _passes(stage: Stage | None, chosen: Filter) -> ColumnElement[bool]:
    standing, position = t.standing.c, t.position.c
    # Camera time and dates as text are ISO 8601: they compare as they are.
    day = func.coalesce(cast(t.visit.c.date, String), func.substr(t.photo.c.taken, 1, 10))
    wanted: list[tuple[object, ColumnElement[bool]]] = [
        (stage is not None, standing.stage == stage),
        (not chosen.every_shot, standing.best.is_(None)),
        (chosen.units, t.unit.c.number.in_(chosen.units)),
        (chosen.visit is not None, t.photo.c.visit == chosen.visit),
        (chosen.axle is not None, position.axle == chosen.axle),
        (chosen.side is not None, position.side == chosen.side),
        (chosen.component is not None, position.component == chosen.component),
        (
            chosen.cues,
            or_(False, *(standing.cues.contains(f" {cue} ", autoescape=True) for cue in chosen.cues)),
        ),
        (chosen.since is not None, day >= str(chosen.since)),
        (chosen.until is not None, day <= str(chosen.until)),
        (chosen.fitness, standing.quality.in_(chosen.fitness)),
    ]
    return and_(literal(True), *(condition for asked, condition in wanted if asked))


def _to_entry(row: Mapping[Any, Any], tuning: Tuning) -> WorklistEntry:
    photo = to_photo(row)
    top = max(photo.screening.candidates, key=lambda c: c.score, default=None)
    return WorklistEntry(
        photo=photo,
        stage=row["stage"],
        undecided=row["undecided"],
        weak=row["weak"],
        decided=row["decided"],
        findings=row["findings"],
        priority=row["standing_priority"],
        top=None if top is None else tuning.candidate(top),
        like=row["like"],
    )
