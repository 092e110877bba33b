"""Transactions on the records, and what every row that is written has in common."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from sqlalchemy import Connection, Engine, Table, insert, select
from sqlalchemy.dialects import postgresql, sqlite

from visual_aid.records import schema as t

WRITES = {"writes": True}
"""Execution options of a connection that is going to write."""


@contextmanager
def reading(engine: Engine) -> Iterator[Connection]:
    """Give a connection that sees one state of the records."""
    with engine.begin() as connection:
        yield connection


@contextmanager
def writing(engine: Engine) -> Iterator[Connection]:
    """Give a connection whose writes are all on the disk at the end, or none of them."""
    with engine.connect() as connection, connection.execution_options(**WRITES).begin():
        yield connection


def added(connection: Connection, table: Table, **values: Any) -> int:  # noqa: ANN401
    """Add a row and give its number."""
    number: int = connection.execute(insert(table).values(**values).returning(table.c.id)).scalar_one()
    return number


def found_or_added(connection: Connection, table: Table, **values: Any) -> int:  # noqa: ANN401
    """Give the number of the row with these values, adding it if there is none."""
    same = select(table.c.id).where(*(table.c[name] == value for name, value in values.items()))
    found: int | None = connection.scalar(same)
    return added(connection, table, **values) if found is None else found


def the_unit(connection: Connection, number: str) -> int:
    """Give the row of a unit, adding it if there is none; ValueError without a unit number."""
    if not number.strip():
        raise ValueError("a visit or a position needs a unit number")
    return found_or_added(connection, t.unit, number=number.strip())


def named(by: str) -> str:
    """Give the name of the person who makes a record; ValueError if it is empty."""
    if not by.strip():
        raise ValueError("a record needs the name of the person who makes it")
    return by.strip()


def now() -> dt.datetime:
    """Give the moment, with its zone."""
    return dt.datetime.now(dt.UTC)


def upsert(connection: Connection, table: Table) -> Any:  # noqa: ANN401
    """Give an insertion that can say what to do about a row that is there (``on_conflict_...``)."""
    return postgresql.insert(table) if connection.dialect.name == "postgresql" else sqlite.insert(table)
