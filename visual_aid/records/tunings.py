"""The working threshold and the calibrations of a store. What was in use before is kept and can be again."""

from __future__ import annotations

from sqlalchemy import Connection, Engine, insert, select

from visual_aid.records import schema as t
from visual_aid.records.bursts import group_bursts
from visual_aid.records.entries import Calibration, Tuning
from visual_aid.records.queries import (
    is_flagged_now,
    is_last_decision,
    is_last_screening,
    read_tuning,
    to_calibration,
)
from visual_aid.records.standing import stand
from visual_aid.records.writing import named, now, one_at_a_time, reading, writing


class Tunings:
    """What scores count for in a store. Every change works out anew where all photos stand."""

    def __init__(self, engine: Engine) -> None:
        self._engine = engine

    def current(self) -> Tuning:
        """Give the working threshold and the calibration in use."""
        with reading(self._engine) as connection:
            return read_tuning(connection)

    def flags(self) -> list[tuple[str, float, str | None]]:
        """List what the engine flags now: photo, score as the engine gave it, and the outcome that stands."""
        rows = (
            select(t.photo.c.id, t.flagged.c.score, t.decision.c.outcome)
            .select_from(t.photo)
            .join(t.screening, is_last_screening())
            .join(t.candidate, t.candidate.c.photo == t.photo.c.id)
            .join(t.flagged, is_flagged_now())
            .outerjoin(t.decision, is_last_decision())
            .order_by(t.photo.c.id, t.flagged.c.number)
        )
        with reading(self._engine) as connection:
            return [(row[0], row[1], row[2]) for row in connection.execute(rows)]

    def set_threshold(self, threshold: float, *, by: str) -> None:
        """Let candidates under this score wait behind the others.

        Raises
        ------
        ValueError
            A threshold outside 0 to 1, or nobody's name.
        """
        if not 0 <= threshold <= 1:
            raise ValueError("a threshold lies between 0 and 1")
        with writing(self._engine) as connection:
            one_at_a_time(connection, t.tuning)
            _use(connection, threshold, _in_use(connection), named(by))

    def calibrations(self) -> tuple[Calibration, ...]:
        """List all calibrations, the oldest first."""
        with reading(self._engine) as connection:
            rows = connection.execute(select(t.calibration).order_by(t.calibration.c.id)).mappings()
            return tuple(to_calibration(row) for row in rows)

    def keep(self, name: str, slope: float, intercept: float, decided: int, *, by: str) -> None:
        """Keep a calibration under a name of its own, without using it yet.

        Raises
        ------
        ValueError
            No name, one that is taken, or nobody's name; a slope that does not rise.
        """
        if not slope > 0:
            raise ValueError("a calibration keeps the order of the scores: its slope is above 0")
        name = name.strip()
        if not name:
            raise ValueError("a calibration needs a name")
        with writing(self._engine) as connection:
            if connection.scalar(select(t.calibration.c.id).where(t.calibration.c.name == name)) is not None:
                raise ValueError(f"there is a calibration {name!r}: take another name")
            connection.execute(
                insert(t.calibration).values(
                    name=name, slope=slope, intercept=intercept, decided=decided, by=named(by), at=now()
                )
            )

    def use(self, name: str | None, *, by: str) -> None:
        """Use a calibration, or with None the engine's own scores.

        Raises
        ------
        KeyError
            No calibration of that name.
        ValueError
            Nobody's name.
        """
        with writing(self._engine) as connection:
            one_at_a_time(connection, t.tuning)
            number = None
            if name is not None:
                number = connection.scalar(select(t.calibration.c.id).where(t.calibration.c.name == name))
                if number is None:
                    raise KeyError(name)
            _use(connection, read_tuning(connection).threshold, number, named(by))


def _in_use(connection: Connection) -> int | None:
    number: int | None = connection.scalar(
        select(t.tuning.c.calibration).order_by(t.tuning.c.id.desc()).limit(1)
    )
    return number


def _use(connection: Connection, threshold: float, calibration: int | None, by: str) -> None:
    connection.execute(insert(t.tuning).values(threshold=threshold, calibration=calibration, by=by, at=now()))
    stand(connection)
    group_bursts(connection)
