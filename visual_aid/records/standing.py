"""Work out where each photo stands: its stage, its priority, what is flagged on it and left to decide."""

from __future__ import annotations

import functools
import itertools
from collections.abc import Iterator, Sequence
from typing import Any

from sqlalchemy import Connection, Select, bindparam, select

from visual_aid.priority import priority as worth
from visual_aid.records import schema as t
from visual_aid.records.entries import Fitness, Stage, Tuning
from visual_aid.records.queries import (
    changed_now,
    is_flagged_now,
    is_last_decision,
    is_last_screening,
    read_tuning,
)
from visual_aid.records.writing import upsert

ROWS_AT_A_TIME = 1000


def stand(connection: Connection, photos: Sequence[str] | None = None) -> None:
    """Work out anew where these photos stand, or all of them, within the transaction at hand."""
    _lock(connection, photos)
    tuning = read_tuning(connection)
    rows = _flags() if photos is None else _flags_on_some()
    named = {} if photos is None else {"photos": photos}
    found = connection.execute(rows, named, execution_options={"yield_per": ROWS_AT_A_TIME})
    standings = (
        _standing(tuning, list(flags)) for _, flags in itertools.groupby(found, key=lambda row: row.photo)
    )
    for some in _batches(standings):
        _write(connection, some)


def _lock(connection: Connection, photos: Sequence[str] | None) -> None:
    """Have whoever else works out where these photos stand wait, and see afterwards what was written here.

    SQLite has one writer anyway.
    """
    rows = select(t.photo.c.id).order_by(t.photo.c.id).with_for_update(key_share=True)
    if photos is not None:
        rows = rows.where(t.photo.c.id.in_(photos))
    if connection.dialect.name != "sqlite":
        connection.execute(rows).all()


def stand_missing(connection: Connection) -> None:
    """Work out where photos stand of which it is not known."""
    known = select(t.standing.c.photo).where(t.standing.c.photo == t.photo.c.id)
    if connection.scalar(select(t.photo.c.id).where(~known.exists()).limit(1)) is not None:
        stand(connection)


@functools.cache
def _flags_on_some() -> Select[Any]:
    return _flags().where(t.photo.c.id.in_(bindparam("photos", expanding=True)))


@functools.cache
def _flags() -> Select[Any]:
    """Give one row for each thing flagged on each photo, or one without for a photo on which nothing is."""
    changed = changed_now()
    return (
        select(
            t.photo.c.id.label("photo"),
            t.photo.c.added_at,
            t.screening.c.id.label("screening"),
            t.screening.c.priority,
            t.screening.c.fasteners,
            t.screening.c.usable,
            t.screening.c.problems,
            t.candidate.c.cue,
            t.flagged.c.score,
            changed.c.score.label("changed"),
            t.decision.c.outcome,
        )
        .select_from(t.photo)
        .join(t.screening, is_last_screening())
        .outerjoin(t.candidate, t.candidate.c.photo == t.photo.c.id)
        .outerjoin(t.decision, is_last_decision())
        .outerjoin(t.flagged, is_flagged_now())
        .outerjoin(changed, changed.c.candidate == t.candidate.c.id)
        .order_by(t.photo.c.id)
    )


def _standing(tuning: Tuning, flags: Sequence[Any]) -> dict[str, Any]:
    photo = flags[0]
    best: dict[str, float] = {}
    changed = [flag.changed for flag in flags if flag.changed is not None]
    cues: set[str] = set()
    undecided = weak = decided = findings = 0
    for flag in flags:
        score = flag.changed if flag.score is None else tuning.score(flag.score)
        if flag.score is not None:
            best[flag.cue] = max(best.get(flag.cue, 0.0), score)
        if flag.outcome is not None:
            decided += 1
            findings += flag.outcome == "confirmed"
        elif score is not None and score >= tuning.threshold:
            undecided += 1
        elif score is not None:
            weak += 1
        if flag.outcome == "confirmed" or (score is not None and score >= tuning.threshold):
            cues.add(flag.cue)
    priority = photo.priority if tuning.calibration is None else worth(best.values(), photo.fasteners)
    return {
        "photo": photo.photo,
        "screening": photo.screening,
        "stage": _stage(photo.usable, undecided, weak, decided),
        "priority": either(priority, max(changed)) if changed else priority,
        "quality": _fitness(photo.usable, photo.problems),
        "cues": "".join(f" {cue} " for cue in sorted(cues)),
        "undecided": undecided,
        "weak": weak,
        "decided": decided,
        "findings": findings,
        "added_at": photo.added_at,
    }


def either(one: float, other: float) -> float:
    """Chance that one of two independent things stands, or both."""
    return one + other - one * other


def _stage(usable: bool, undecided: int, weak: int, decided: int) -> Stage:
    if undecided:
        return "to_decide"
    if decided:
        return "decided"
    if not usable:
        return "take_again"
    return "weak_only" if weak else "nothing_flagged"


def _fitness(usable: bool, problems: int) -> Fitness:
    return "unusable" if not usable else "hard" if problems else "good"


def _batches(rows: Iterator[dict[str, Any]]) -> Iterator[list[dict[str, Any]]]:
    while some := list(itertools.islice(rows, ROWS_AT_A_TIME)):
        yield some


def _write(connection: Connection, rows: list[dict[str, Any]]) -> None:
    new = upsert(connection, t.standing)
    connection.execute(
        new.on_conflict_do_update(
            index_elements=["photo"],
            set_={name: value for name, value in new.excluded.items() if name in rows[0] and name != "photo"},
        ),
        rows,
    )
