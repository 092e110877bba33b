"""Open the database: SQLite by default, a server by URL, its tables brought up to date."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path
from sqlite3 import Connection as SqliteConnection
from typing import Any

from alembic import command
from alembic.config import Config
from alembic.util.exc import CommandError
from sqlalchemy import URL, Connection, Engine, create_engine, event
from sqlalchemy.exc import ArgumentError, DatabaseError

from visual_aid.records.standing import stand_missing
from visual_aid.records.writing import keepable, writing


def locate(target: str | Path) -> URL:
    """Give the database URL that a path or a URL names.

    Raises
    ------
    ValueError
        A URL that is none, of another kind of database, or whose driver is not installed.
    """
    text = str(target)
    if "://" not in text:
        return URL.create("sqlite", database=str(Path(text).expanduser()))
    try:
        url = create_engine(text).url  # made for the driver, which is looked for here
        known = url.get_backend_name() in ("sqlite", "postgresql")
    except (ArgumentError, ImportError, ValueError):
        known = False
    if not known:
        # The URL itself is not repeated: it may carry a password.
        raise ValueError(
            f"records cannot be kept in {text.partition('://')[0]}://: name an SQLite file or a "
            "postgresql+psycopg URL, which needs pip install 'visual-aid[postgresql]'"
        )
    return url


def connect(url: URL) -> Engine:
    """Open a database, making its folder and tables where there are none.

    Raises
    ------
    ValueError
        No records can be opened there, they are damaged, or a newer version wrote them.
    OSError
        The folder cannot be made.
    """
    where = url.render_as_string(hide_password=True) if url.host else url.database
    if url.get_backend_name() == "sqlite" and url.database:
        if Path(url.database).is_dir():
            raise ValueError(f"{where} is a folder: name a file in it")
        Path(url.database).parent.mkdir(parents=True, exist_ok=True)
        if trouble := trouble_in(Path(url.database)):
            raise ValueError(
                f"{url.database} is damaged ({trouble}): put the last backup in its place with "
                "visual-aid restore FILE --replace"
            )
    engine = create_engine(url)
    event.listen(engine, "before_cursor_execute", _with_texts_that_can_be_kept, retval=True)
    if engine.dialect.name == "sqlite":
        event.listen(engine, "connect", _set_up_sqlite)
        event.listen(engine, "begin", _begin_sqlite)
    try:
        with writing(engine) as connection:
            migrate(connection, "head")
            stand_missing(connection)
    except OSError as error:
        raise ValueError(f"{where} cannot be opened: {error.strerror}") from error
    except DatabaseError as error:
        server = engine.dialect.name != "sqlite"
        mend = "see that the server runs and lets you in" if server else "name another file"
        why = " ".join(str(error.orig).split())
        raise ValueError(f"{where} cannot be opened as records ({why}): {mend}") from error
    return engine


def trouble_in(database: Path) -> str:
    """Say in one line what is wrong with the pages of an SQLite file; empty where nothing is, or no file.

    https://www.sqlite.org/pragma.html#pragma_quick_check: every page, without comparing indexes with tables.
    """
    try:
        if not database.is_file() or not database.stat().st_size or not _is_sqlite(database):
            return ""  # new records, or a file of another kind, which the database itself refuses
        with closing(sqlite3.connect(database)) as connection:
            said = connection.execute("PRAGMA quick_check(1)").fetchone()[0]
    except sqlite3.OperationalError:
        return ""  # locked, or out of reach, which is told when it is opened
    except sqlite3.DatabaseError as error:
        said = str(error)
    return "" if said == "ok" else " ".join(str(said).split())


def _is_sqlite(file: Path) -> bool:
    with file.open("rb") as opened:
        return opened.read(16) == b"SQLite format 3\0"  # https://www.sqlite.org/fileformat.html, 1.3.1


def _set_up_sqlite(connection: SqliteConnection, _record: object) -> None:
    connection.isolation_level = None  # transactions are begun by _begin_sqlite, not by the driver
    for pragma in ("busy_timeout=30000", "journal_mode=WAL", "synchronous=FULL", "foreign_keys=ON"):
        connection.execute(f"PRAGMA {pragma}")


def _begin_sqlite(connection: Connection) -> None:
    # A writer takes the lock before it reads: two writers then queue instead of failing half way.
    writes = connection.get_execution_options().get("writes", False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


def _with_texts_that_can_be_kept(
    _connection: Connection,
    _cursor: object,
    statement: str,
    parameters: Any,  # noqa: ANN401
    *_: object,
) -> tuple[str, Any]:
    """Have each text of a statement as every database keeps it, the same where it is looked up."""
    return statement, _kept(parameters)


def _kept(value: Any) -> Any:  # noqa: ANN401
    if isinstance(value, str):
        return keepable(value)
    if isinstance(value, dict):
        return {name: _kept(one) for name, one in value.items()}
    if isinstance(value, (list, tuple)):
        return type(value)(map(_kept, value))
    return value


def migrate(connection: Connection, to: str) -> None:
    """Bring the tables to a version, up or down, within the transaction at hand."""
    config = Config()
    config.set_main_option("script_location", str(Path(__file__).with_name("migrations")).replace("%", "%%"))
    config.set_main_option("path_separator", "os")
    config.attributes["connection"] = connection
    if connection.dialect.name == "postgresql":
        # Two programs that open new records at once make the tables one after the other.
        connection.exec_driver_sql("SELECT pg_advisory_xact_lock(hashtext('visual-aid'))")
    try:
        (command.upgrade if to == "head" else command.downgrade)(config, to)
    except CommandError as error:
        raise ValueError(
            "the records were written by a newer visual-aid: update the tool before opening them"
        ) from error
