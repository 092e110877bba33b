"""Add decisions, within a transaction: one, many at once, and those that take back others."""

from __future__ import annotations

import secrets
from collections.abc import Sequence

from sqlalchemy import Connection, func, select

from visual_aid.records import leases, queries
from visual_aid.records import schema as t
from visual_aid.records.entries import Bulk, Decision, Outcome, OvertakenError
from visual_aid.records.standing import stand
from visual_aid.records.writing import added, now


def decide(
    connection: Connection,
    candidate: int,
    outcome: Outcome | None,
    by: str,
    note: str,
    undoes: int | None = None,
    bulk: str | None = None,
) -> Decision:
    """Add a decision that supersedes the last one; KeyError if there is no such candidate."""
    photo = _lock(connection, candidate)
    values = {
        "candidate": candidate,
        "outcome": outcome,
        "by": by,
        "note": note,
        "at": now(),
        "supersedes": _last(connection, candidate),
        "undoes": undoes,
        "bulk": bulk,
    }
    number = added(connection, t.decision, **values)
    stand(connection, [photo])
    return queries.to_decision({"id": number, **values})


def unless_overtaken(connection: Connection, candidate: int, holder: str, by: str, seen: int | None) -> None:
    """Raise OvertakenError if somebody else holds the photo or has decided since.

    Parameters
    ----------
    holder : str
        Who is going to decide; empty to take no heed of leases. The lease is renewed.
    seen : int or None
        The decision that the person saw standing, 0 for none; None to take no heed of others.
    """
    photo = _lock(connection, candidate)
    if holder and not leases.take(connection, photo, holder, by):
        lease = leases.of_another(connection, photo, holder)
        who = "Somebody else" if lease is None else lease.by or "Somebody else"
        raise OvertakenError(f"{who} is at work on this photo: take the next one.")
    last = _last(connection, candidate)
    if seen is not None and last is not None and last != seen:
        raise OvertakenError(
            f"{_read(connection, last).by} has decided on this meanwhile, and nothing was "
            "recorded now: look again before you decide."
        )


def rule_out(connection: Connection, photos: Sequence[str], holder: str, by: str, note: str) -> Bulk:
    """Rule out all that waits on these photos, except where somebody else is at work."""
    bulk = secrets.token_urlsafe(8)
    ruled_out = touched = held = 0
    for photo in sorted(photos):  # two who rule out at once must not wait for one another
        if leases.of_another(connection, photo, holder):
            held += 1
            continue
        stored = queries.read_candidates(connection, queries.read_photo(connection, photo))
        waiting = [c.id for c in stored if c.outcome is None and not c.is_weak]
        for candidate in waiting:
            decide(connection, candidate, "ruled_out", by, note, bulk=bulk)
        ruled_out += len(waiting)
        touched += bool(waiting)
    return Bulk(bulk, touched, ruled_out, held)


def undo_bulk(connection: Connection, bulk: str, by: str) -> int:
    """Take back what ``rule_out`` decided wherever nobody has decided since; give the number."""
    later = t.decision.alias()
    superseded = select(later.c.id).where(later.c.supersedes == t.decision.c.id).exists()
    standing = connection.scalars(select(t.decision.c.id).where(t.decision.c.bulk == bulk, ~superseded)).all()
    for number in standing:
        made = _read(connection, number)
        before = None if made.supersedes is None else _read(connection, made.supersedes).outcome
        decide(connection, made.candidate, before, by, "", undoes=number)
    return len(standing)


def _lock(connection: Connection, candidate: int) -> str:
    """Keep two people from superseding the same decision, and give the candidate's photo.

    SQLite has one writer anyway.
    """
    locked = select(t.candidate.c.photo).where(t.candidate.c.id == candidate).with_for_update()
    photo: str | None = connection.scalar(locked)
    if photo is None:
        raise KeyError(candidate)
    return photo


def _last(connection: Connection, candidate: int) -> int | None:
    last: int | None = connection.scalar(
        select(func.max(t.decision.c.id)).where(t.decision.c.candidate == candidate)
    )
    return last


def _read(connection: Connection, number: int) -> Decision:
    rows = connection.execute(select(t.decision).where(t.decision.c.id == number)).mappings()
    return queries.to_decision(rows.one())
