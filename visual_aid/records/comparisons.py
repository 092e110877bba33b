"""Comparisons of two photos of one place, and what they flag on the later one. They are only ever added."""

from __future__ import annotations

import json

from sqlalchemy import Connection, Engine, insert, select

from visual_aid import __version__
from visual_aid.measure.visits import Comparison
from visual_aid.records import schema as t
from visual_aid.records.matching import match_candidates
from visual_aid.records.queries import candidate_from_json, candidate_to_json, read_photo
from visual_aid.records.screenings import add_candidate
from visual_aid.records.standing import stand
from visual_aid.records.writing import added, now, reading, writing


class Comparisons:
    """The comparisons of a store. Every method that writes returns after its transaction is on the disk."""

    def __init__(self, engine: Engine) -> None:
        self._engine = engine

    def keep(self, before: str, after: str, comparison: Comparison) -> None:
        """Add a comparison of two photos; it takes the place of an earlier one, which is kept.

        Nuts that turned become candidates on the photo after. One that an earlier comparison of the same
        photos flagged keeps its identity and with it the decision that stands.

        Raises
        ------
        KeyError
            No photo of such an id.
        ValueError
            One photo twice.
        """
        if before == after:
            raise ValueError("a photo cannot be compared with itself: choose one of another visit")
        with writing(self._engine) as connection:
            read_photo(connection, before), read_photo(connection, after)
            _add(connection, before, after, comparison)
            stand(connection, [after])

    def between(self, before: str, after: str) -> Comparison | None:
        """Give the comparison of two photos that stands; None if they have not been compared."""
        rows = (
            select(t.comparison.c.record)
            .where(t.comparison.c.before == before, t.comparison.c.after == after)
            .order_by(t.comparison.c.id.desc())
            .limit(1)
        )
        with reading(self._engine) as connection:
            record = connection.scalar(rows)
        return None if record is None else Comparison.from_dict(json.loads(record))


def _add(connection: Connection, before: str, after: str, comparison: Comparison) -> None:
    rows = (
        select(t.candidate.c.id, t.candidate.c.body)
        .join(t.changed, t.changed.c.candidate == t.candidate.c.id)
        .join(t.comparison, t.comparison.c.id == t.changed.c.comparison)
        .where(t.comparison.c.before == before, t.comparison.c.after == after)
        .distinct()
        .order_by(t.candidate.c.id)
    )
    known = [(row.id, candidate_from_json(row.body)) for row in connection.execute(rows)]
    number = added(
        connection,
        t.comparison,
        before=before,
        after=after,
        engine=__version__,
        record=comparison.to_json(),
        at=now(),
    )
    flagged = comparison.candidates()
    same = match_candidates([body for _, body in known], flagged)
    for body in flagged:
        old = same.get(body.id)
        row = add_candidate(connection, after, body, "engine", None) if old is None else known[old][0]
        values = {
            "comparison": number,
            "number": body.id,
            "candidate": row,
            "score": body.score,
            "body": candidate_to_json(body),
        }
        connection.execute(insert(t.changed).values(**values))
