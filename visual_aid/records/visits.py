"""Visits of units: which photos belong to one, and where on the unit they were taken."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping

from sqlalchemy import Connection, Engine, Select, func, select, update

from visual_aid.records import queries
from visual_aid.records import schema as t
from visual_aid.records.entries import OdometerUnit, Position, Side, Spot, StoredPhoto, Visit
from visual_aid.records.logbook import add_line
from visual_aid.records.writing import added, found_or_added, named, reading, the_unit, writing


class Visits:
    """The visits of a store. Every method that writes returns after its transaction is on the disk."""

    def __init__(self, engine: Engine) -> None:
        self._engine = engine

    def begin(
        self,
        unit: str,
        date: dt.date,
        *,
        inspector: str,
        odometer: float | None = None,
        odometer_unit: OdometerUnit | None = None,
    ) -> Visit:
        """Find or add one inspection of a unit; the unit is added with its first visit.

        What one person does at a unit on one day is one visit. An odometer reading that was not noted at
        first is noted then, with a line in the logbook; only another reading makes another visit.

        Raises
        ------
        ValueError
            No unit number or no inspector; an odometer reading without unit or below zero.
        """
        odometer_unit = _checked(odometer, odometer_unit)
        inspector = named(inspector)
        noted = {"odometer": odometer, "odometer_unit": odometer_unit}
        with writing(self._engine) as connection:
            whose = {"unit": the_unit(connection, unit), "date": date, "inspector": inspector}
            rows = _visits().where(*(t.visit.c[name] == value for name, value in whose.items()))
            rows = rows.order_by(t.visit.c.id.desc())
            that_day = [queries.to_visit(row) for row in connection.execute(rows).mappings()]
            for visit in that_day:
                if odometer is None or (visit.odometer, visit.odometer_unit) == (odometer, odometer_unit):
                    return visit
            for visit in that_day:
                if visit.odometer is None:
                    return _change(connection, visit, noted, inspector)
            return _read(connection, added(connection, t.visit, **whose, **noted))

    def get(self, visit: int) -> Visit:
        """Look a visit up.

        Raises
        ------
        KeyError
            No visit of that id.
        """
        with reading(self._engine) as connection:
            return _read(connection, visit)

    def all(self, unit: str | None = None) -> tuple[Visit, ...]:
        """List the visits, of one unit or of all, the last first."""
        rows = _visits().order_by(t.visit.c.date.desc(), t.visit.c.id.desc())
        if unit is not None:
            rows = rows.where(t.unit.c.number == unit)
        with reading(self._engine) as connection:
            return tuple(queries.to_visit(row) for row in connection.execute(rows).mappings())

    def units(self) -> tuple[str, ...]:
        """List the numbers of all units."""
        with reading(self._engine) as connection:
            return tuple(connection.scalars(select(t.unit.c.number).order_by(t.unit.c.number)))

    def amend(
        self,
        visit: int,
        *,
        by: str,
        date: dt.date,
        inspector: str,
        odometer: float | None,
        odometer_unit: OdometerUnit | None,
    ) -> Visit:
        """Put a visit's date, inspector or odometer right; the logbook keeps what stood before.

        Raises
        ------
        KeyError
            No visit of that id.
        ValueError
            Nobody's name, no inspector, or an odometer reading without unit or below zero.
        """
        after = {
            "date": date,
            "inspector": named(inspector),
            "odometer": odometer,
            "odometer_unit": _checked(odometer, odometer_unit),
        }
        with writing(self._engine) as connection:
            return _change(connection, _read(connection, visit), after, by)

    def photos(self, visit: int) -> tuple[StoredPhoto, ...]:
        """List the photos of a visit in the order in which they were taken."""
        with reading(self._engine) as connection:
            return queries.read_photos(connection, t.photo.c.visit == visit)

    def stood_for(self, visit: int) -> dict[str, str]:
        """Give the visit's shots of a burst that need no look of their own, each with the best shot's id."""
        rows = (
            select(t.standing.c.photo, t.standing.c.best)
            .join(t.photo, t.photo.c.id == t.standing.c.photo)
            .where(t.photo.c.visit == visit, t.standing.c.best.is_not(None))
        )
        with reading(self._engine) as connection:
            return {row.photo: row.best for row in connection.execute(rows)}

    def take_in(self, visit: int, sha256: str) -> StoredPhoto:
        """Make a stored photo of no visit one of this visit; a photo of another visit stays there.

        Parameters
        ----------
        visit : int
            The visit's id.
        sha256 : str
            The photo by its content.

        Returns
        -------
        StoredPhoto
            The photo with the visit that it belongs to now.

        Raises
        ------
        KeyError
            No visit of that id, or no photo of that content.
        """
        with writing(self._engine) as connection:
            number = _read(connection, visit).id
            stray = (t.photo.c.sha256 == sha256) & t.photo.c.visit.is_(None)
            connection.execute(update(t.photo).where(stray).values(visit=number))
            photo = connection.scalar(select(t.photo.c.id).where(t.photo.c.sha256 == sha256))
            if photo is None:
                raise KeyError(sha256)
            return queries.read_photo(connection, photo)

    # Positions

    def position(self, unit: str, axle: int, side: Side, component: str) -> Position:
        """Find or add a place on a unit.

        Raises
        ------
        ValueError
            No unit number, no component, or an axle below 1.
        """
        with writing(self._engine) as connection:
            return _position(connection, unit, axle, side, component)

    def positions(self, unit: str) -> tuple[Position, ...]:
        """List the places of a unit that were photographed before, in the order of their first mention."""
        rows = _positions().where(t.unit.c.number == unit).order_by(t.position.c.id)
        with reading(self._engine) as connection:
            return _read_positions(connection, rows)

    def seen_again(self) -> tuple[Position, ...]:
        """List the places photographed at visits on different days, by unit as ``positions`` lists them."""
        again = (
            select(t.photo.c.position)
            .join(t.visit, t.visit.c.id == t.photo.c.visit)
            .group_by(t.photo.c.position)
            .having(func.count(t.visit.c.date.distinct()) > 1)
        )
        rows = _positions().where(t.position.c.id.in_(again)).order_by(t.unit.c.number, t.position.c.id)
        with reading(self._engine) as connection:
            return _read_positions(connection, rows)

    def place(self, places: Mapping[str, Spot], *, by: str) -> None:
        """Say where on their unit photos were taken; the logbook keeps what was said before.

        Parameters
        ----------
        places : mapping
            Photo ids, each with axle, side and component.

        Raises
        ------
        KeyError
            No photo of that id.
        ValueError
            A photo that belongs to no visit; nobody's name; an impossible place.
        """
        with writing(self._engine) as connection:
            for photo, (axle, side, component) in places.items():
                stored = queries.read_photo(connection, photo)
                if stored.visit is None:
                    raise ValueError(f"{stored.name} belongs to no visit: add it again with its unit number")
                position = _position(connection, stored.visit.unit, axle, side, component)
                if position == stored.position:
                    continue
                connection.execute(update(t.photo).where(t.photo.c.id == photo).values(position=position.id))
                body: dict[str, object] = _where(position)
                if stored.position is not None:
                    body["before"] = _where(stored.position)
                unit = the_unit(connection, stored.visit.unit)
                add_line(connection, "placed", body, by, unit=unit, visit=stored.visit.id, photo=photo)

    def at(self, position: int) -> tuple[StoredPhoto, ...]:
        """List the photos of a place at all visits, those of the last visit first."""
        with reading(self._engine) as connection:
            photos = queries.read_photos(connection, t.photo.c.position == position)
        dated = [(photo.visit.date, photo) for photo in photos if photo.visit is not None]
        return tuple(photo for _, photo in sorted(dated, key=lambda one: one[0], reverse=True))

    def former(self, photo: StoredPhoto) -> StoredPhoto | None:
        """Give the last photo of the same place from a visit on an earlier day; None if there is none."""
        if photo.visit is None or photo.position is None:
            return None
        taken = t.photo.c.taken
        # Of several of that day one that can be judged, then the first taken: one record is read of them all.
        rows = (
            queries.photos()
            .where(t.photo.c.position == photo.position.id, t.visit.c.date < photo.visit.date)
            .order_by(t.visit.c.date.desc(), t.screening.c.usable.desc())
            .order_by(taken.is_(None), taken, t.photo.c.name, t.photo.c.id)
            .limit(1)
        )
        with reading(self._engine) as connection:
            row = connection.execute(rows).mappings().first()
        return None if row is None else queries.to_photo(row)


def _visits() -> Select[tuple[object, ...]]:
    columns = (column.label(f"visit_{column.name}") for column in t.visit.c)
    return select(*columns, t.unit.c.number.label("visit_number")).join(t.unit, t.unit.c.id == t.visit.c.unit)


def _read(connection: Connection, visit: int) -> Visit:
    row = connection.execute(_visits().where(t.visit.c.id == visit)).mappings().first()
    if row is None:
        raise KeyError(visit)
    return queries.to_visit(row)


def _change(connection: Connection, before: Visit, after: Mapping[str, object], by: str) -> Visit:
    """Put columns of a visit right, with a line in the logbook that keeps what stood before."""
    changed = {name: value for name, value in after.items() if getattr(before, name) != value}
    if changed:
        connection.execute(update(t.visit).where(t.visit.c.id == before.id).values(**changed))
        body = {name: [_plain(getattr(before, name)), _plain(value)] for name, value in changed.items()}
        unit = the_unit(connection, before.unit)
        add_line(connection, "visit_edit", body, by, unit=unit, visit=before.id)
    return _read(connection, before.id)


def _positions() -> Select[tuple[object, ...]]:
    return select(t.position, t.unit.c.number).join(t.unit, t.unit.c.id == t.position.c.unit)


def _read_positions(connection: Connection, rows: Select[tuple[object, ...]]) -> tuple[Position, ...]:
    return tuple(
        Position(r["id"], r["number"], r["axle"], r["side"], r["component"])
        for r in connection.execute(rows).mappings()
    )


def _position(connection: Connection, unit: str, axle: int, side: Side, component: str) -> Position:
    component = component.strip()
    if axle < 1 or not component:
        raise ValueError("a position needs an axle, counted from 1 at the front, and a component")
    number = found_or_added(
        connection,
        t.position,
        unit=the_unit(connection, unit),
        axle=axle,
        side=side,
        component=component,
    )
    return Position(number, unit.strip(), axle, side, component)


def _where(position: Position) -> dict[str, object]:
    return {"axle": position.axle, "side": position.side, "component": position.component}


def _checked(odometer: float | None, unit: OdometerUnit | None) -> OdometerUnit | None:
    """Give the unit of an odometer reading, None without a reading."""
    if odometer is None:
        return None
    if odometer < 0 or unit is None:
        raise ValueError("an odometer reading is zero or more, in km or mi")
    return unit


def _plain(value: object) -> object:
    return value.isoformat() if isinstance(value, dt.date) else value
