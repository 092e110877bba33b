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
        The disk is full or cannot be written, or somebody keeps the records to themselves; nothing was
        recorded, and what was recorded before stands.
    """
    try:
        with engine.connect() as connection, connection.execution_options(**WRITES).begin():
            yield connection
    except DBAPIError as error:
        trouble = _trouble(error.orig)
        if trouble is None:
            raise
        code, what, mend = trouble
        raise OSError(code, f"{what}: nothing was recorded, {mend} and do it again") from error


_FULL = (errno.ENOSPC, "the disk of the records is full", "make room there")
_UNWRITABLE = (
    errno.EIO,
    "the records cannot be written",
    "see that their disk is in order and they are not read-only",
)
_BUSY = (errno.EBUSY, "another program keeps the records to itself", "wait until it is done")
# https://www.sqlite.org/rescode.html; PostgreSQL, appendix A: disk_full, io_error, read_only_sql_transaction,
# lock_not_available, deadlock_detected.
_TROUBLES = {
    sqlite3.SQLITE_FULL: _FULL,
    sqlite3.SQLITE_IOERR: _UNWRITABLE,
    sqlite3.SQLITE_READONLY: _UNWRITABLE,
    sqlite3.SQLITE_CANTOPEN: _UNWRITABLE,
    sqlite3.SQLITE_BUSY: _BUSY,
    "53100": _FULL,
    "58030": _UNWRITABLE,
    "25006": _UNWRITABLE,
    "55P03": _BUSY,
    "40P01": _BUSY,
}


def _trouble(error: BaseException | None) -> tuple[int, str, str] | None:
    """Give number, words and mend of what keeps the records from being written; None for other faults."""
    if isinstance(error, sqlite3.Error):
        # The lowest byte is the kind, those above it tell more.
        return _TROUBLES.get(getattr(error, "sqlite_errorcode", 0) & 0xFF)
    return _TROUBLES.get(getattr(error, "sqlstate", ""))


def keepable(text: str) -> str:
    r"""Give a text as every database keeps it: without NUL and halves of a surrogate pair.

    PostgreSQL refuses both (manual, 8.3 Character Types: NUL cannot be stored), SQLite the second alone.

    >>> keepable("a\0b\udcffc")
    'a\\x00b\\udcffc'
    """
    if text.isascii() and "\0" not in text:
        return text
    return text.replace("\0", "\\x00").encode("utf-8", "backslashreplace").decode("utf-8")


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
    """Give the row of a unit, adding it if there is none; ValueError without a unit number.

    Nobody else gets the row before the transaction is over, so that what is looked up on the unit and added
    to it is added once.
    """
    number = number.strip()
    if not number:
        raise ValueError("a visit or a position needs a unit number")
    row = select(t.unit.c.id).where(t.unit.c.number == number).with_for_update(key_share=True)
    unit: int | None = connection.scalar(row)
    if unit is None:
        connection.execute(
            upsert(connection, t.unit).values(number=number).on_conflict_do_nothing(index_elements=["number"])
        )
        unit = connection.execute(row).scalar_one()
    return unit


def one_at_a_time(connection: Connection, table: Table) -> None:
    """Have whoever else asks for the same wait for the transaction's end; SQLite has one writer anyway."""
    if connection.dialect.name == "postgresql":
        connection.exec_driver_sql(f"LOCK TABLE {table.name} IN SHARE ROW EXCLUSIVE MODE")


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
