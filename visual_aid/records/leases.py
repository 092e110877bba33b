"""Who works on which photo: several people take from one worklist without getting the same photo."""

from __future__ import annotations

import datetime as dt

from sqlalchemy import ColumnElement, Connection, Engine, delete, or_, select

from visual_aid.records import schema as t
from visual_aid.records import worklist
from visual_aid.records.entries import EVERYTHING, Filter, Lease
from visual_aid.records.queries import aware
from visual_aid.records.writing import now, upsert, writing

LASTS = dt.timedelta(minutes=10)
"""How long a photo is kept for a person who does nothing (common practice, no source)."""


class Leases:
    """The photos of a store that somebody is at work on.

    A ``holder`` is whoever takes, by a name that nobody else has: of a browser session, not of a person.
    ``by`` is the person's name, for others to read. A holder has one photo at a time.
    """

    def __init__(self, engine: Engine) -> None:
        self._engine = engine

    def take(self, photo: str, *, holder: str, by: str) -> Lease | None:
        """Take a photo, or keep it longer; the one held before is given back.

        Returns
        -------
        Lease or None
            None if the photo is now kept for the holder, else who has it.
        """
        with writing(self._engine) as connection:
            taken = take(connection, photo, holder, by, take_over=True)
            return None if taken else of_another(connection, photo, holder)

    def take_next(
        self, photo: str | None, *, holder: str, by: str, chosen: Filter = EVERYTHING
    ) -> str | None:
        """Take the photo to decide on after this one, or the first, that nobody else has.

        None if no other photo of those chosen waits, or all that wait are taken.
        """
        # Each try is a transaction of its own: a lease that turns out to be another's stays locked to the end
        # of it, and two people who hold what the other tries next would wait for each other.
        while True:
            with writing(self._engine) as connection:
                found = worklist.next_to_decide(connection, photo, _is_free(holder), chosen)
                if found is None:
                    return None
                if not take(connection, found, holder, by):
                    continue
                if worklist.waits(connection, found):
                    return found
                # Whoever had it decided and went on between the look and the take.
                connection.execute(delete(t.lease).where(t.lease.c.holder == holder))


def take(connection: Connection, photo: str, holder: str, by: str, *, take_over: bool = False) -> bool:
    """Take a photo or keep it longer, within a transaction; False if somebody else has it.

    Parameters
    ----------
    take_over : bool
        Whether another holder gives way who has the same person's name, as after the page was loaded again,
        or no name, since nobody can decide without one.
    """
    moment = now()
    values = {"holder": holder, "by": by, "until": moment + LASTS}
    mine = t.lease.c.holder == holder
    if take_over:
        mine |= t.lease.c.by.in_((by, ""))
    taken = connection.scalar(
        upsert(connection, t.lease)
        .values(photo=photo, **values)
        .on_conflict_do_update(
            index_elements=["photo"], set_=values, where=or_(mine, t.lease.c.until <= moment)
        )
        .returning(t.lease.c.photo)
    )
    if taken is None:
        return False
    connection.execute(delete(t.lease).where(t.lease.c.holder == holder, t.lease.c.photo != photo))
    return True


def of_another(connection: Connection, photo: str, holder: str) -> Lease | None:
    """Give the lease by which somebody else has a photo."""
    rows = select(t.lease).where(t.lease.c.photo == photo, t.lease.c.holder != holder)
    row = connection.execute(rows.where(t.lease.c.until > now())).first()
    return None if row is None else Lease(row.photo, row.by, aware(row.until))


def _is_free(holder: str) -> ColumnElement[bool]:
    """Tell of a standing that nobody else has its photo."""
    held = select(t.lease.c.photo).where(
        t.lease.c.photo == t.standing.c.photo, t.lease.c.holder != holder, t.lease.c.until > now()
    )
    return ~held.exists()
