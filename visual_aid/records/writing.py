"""Transactions on the records, and what every row that is written has in common."""

from __future__ import annotations

import datetime as dt
import errno
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from sqlalchemy import Connection, Engine, Table, insert, select
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.exc import DBAPIError

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
    """Give a connection whose writes are all on the disk at the end, or none of them.

    Raises
    ------
    OSError
        The disk is full or cannot be written; nothing was recorded, and what was recorded before stands.
    """
    try:
        with engine.connect() as connection, connection.execution_options(**WRITES).begin():
            yield connection
    except DBAPIError as error:
        code, say = _trouble(error.orig)
        if not code:
            raise
        raise OSError(code, f"{say}: nothing was recorded, make room there and do it again") from error


_FULL = (errno.ENOSPC, "the disk of the records is full")
_UNWRITABLE = (errno.EIO, "the disk of the records cannot be written")
# https://www.sqlite.org/rescode.html; PostgreSQL, appendix A: 53100 is disk_full, 58030 io_error.
_TROUBLES = {
    sqlite3.SQLITE_FULL: _FULL,
    sqlite3.SQLITE_IOERR: _UNWRITABLE,
    sqlite3.SQLITE_READONLY: _UNWRITABLE,
    "53100": _FULL,
    "58030": _UNWRITABLE,
}


def _trouble(error: BaseException | None) -> tuple[int, str]:
    """Give number and words of what is wrong with the disk; no number where it is something else."""
    if isinstance(error, sqlite3.Error):
        # The lowest byte is the kind, those above it tell more.
        return _TROUBLES.get(getattr(error, "sqlite_errorcode", 0) & 0xFF, (0, ""))
    return _TROUBLES.get(getattr(error, "sqlstate", ""), (0, ""))


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
