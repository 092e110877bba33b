"""A full disk costs what was being written and no more."""

import errno
import sqlite3
import subprocess
import sys
import textwrap
from contextlib import closing

import pytest
from sqlalchemy import event

from visual_aid.records.store import Store

RUST = ("rust_trail", 0.9, (10.0, 10.0, 40.0, 40.0))


@pytest.fixture
def disk(tmp_path):
    """Give a store and a way to set how many more pages of 4 KiB its disk has room for."""
    store = Store.open(tmp_path / "yard.sqlite")
    room = [1 << 30]
    # https://www.sqlite.org/pragma.html#pragma_max_page_count: beyond it SQLite says what a full disk says.
    event.listen(store._engine, "begin", lambda c: c.exec_driver_sql(f"PRAGMA max_page_count={room[0]}"))

    def set_room(pages):
        with store._engine.connect() as connection:
            room[0] = connection.exec_driver_sql("PRAGMA page_count").scalar() + pages

    yield store, set_room
    store.close()


def test_what_was_acknowledged_before_a_full_disk_stands_and_work_goes_on(disk, picture, screened, tmp_path):
    store, set_room = disk
    photo = store.add_photo(screened(picture(), RUST), data=picture())
    (candidate,) = store.candidates(photo.id)
    set_room(12)
    acknowledged = []

    def decide_until_full():
        for n in range(1000):
            note = f"{n} " + "mud " * 500
            acknowledged.append(store.decide(candidate.id, "confirmed", by="J. Doe", note=note).id)

    with pytest.raises(
        OSError, match="disk of the records is full: nothing was recorded, make room"
    ) as caught:
        decide_until_full()
    assert caught.value.errno == errno.ENOSPC
    assert "\n" not in str(caught.value)
    assert len(acknowledged) > 1
    assert [d.id for d in store.history(candidate.id)] == acknowledged
    with closing(sqlite3.connect(tmp_path / "yard.sqlite")) as raw:
        assert raw.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
    set_room(100)
    made = store.decide(candidate.id, "ruled_out", by="J. Doe")
    assert [d.id for d in store.history(candidate.id)] == [*acknowledged, made.id]
    assert store.worklist()[0].stage == "decided"


def test_a_photo_for_which_there_is_no_room_leaves_nothing_and_the_next_is_kept(tmp_path, picture):
    # setrlimit(2), RLIMIT_FSIZE: a file that would grow beyond it fails as on a full disk, with EFBIG.
    small, large = picture(1), picture(2, size=(1600, 1200), quality=98)
    assert len(small) < 60_000 < len(large)
    (tmp_path / "small").write_bytes(small)
    (tmp_path / "large").write_bytes(large)
    script = """
        import resource, sys
        from pathlib import Path
        from visual_aid.records.photofolder import PhotoFolder
        folder = PhotoFolder(Path("photos"))
        resource.setrlimit(resource.RLIMIT_FSIZE, (60_000, 60_000))
        for name in ("large", "small"):
            try:
                print(folder.keep(Path(name).read_bytes()))
            except OSError as error:
                print(error.strerror)
    """
    said = subprocess.run(
        [sys.executable, "-c", textwrap.dedent(script)],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=True,
    )
    refused, kept = said.stdout.splitlines()
    assert refused == "File too large"
    assert [p.relative_to(tmp_path / "photos").as_posix() for p in (tmp_path / "photos").rglob("*.*")] == [
        kept
    ]
    assert (tmp_path / "photos" / kept).read_bytes() == small


def test_the_write_ahead_log_is_bounded_and_gone_when_the_records_are_closed(tmp_path, picture, screened):
    store = Store.open(tmp_path / "yard.sqlite")
    photo = store.add_photo(screened(picture(), RUST), data=picture())
    (candidate,) = store.candidates(photo.id)
    log, largest = tmp_path / "yard.sqlite-wal", 0
    for n in range(60):
        store.decide(candidate.id, "confirmed", by="J. Doe", note=str(n) + "x" * 200_000)
        largest = max(largest, log.stat().st_size)
    # 60 notes of 50 pages are three times the 1000 pages after which SQLite folds the log into the records.
    assert (tmp_path / "yard.sqlite").stat().st_size > 10_000_000
    assert 0 < largest < 5_500_000
    store.close()
    assert not log.exists()


def test_the_command_says_that_there_is_no_room_and_keeps_what_is_done(tmp_path, picture):
    for n in range(8):
        # Long names fill the pages that the empty tables have already.
        (tmp_path / f"{str(n) * 240}.jpg").write_bytes(picture(n, size=(640, 480)))
    store = str(tmp_path / "yard.sqlite")
    Store.open(store).close()
    script = """
        import sys
        from sqlalchemy import event
        from visual_aid.cli import main
        from visual_aid.records.store import Store
        opened = Store.open.__func__
        def small(cls, *about, **more):
            store = opened(cls, *about, **more)
            event.listen(store._engine, "begin", lambda c: c.exec_driver_sql("PRAGMA max_page_count=1"))
            return store
        Store.open = classmethod(small)
        main(sys.argv[1:])
    """
    program = [sys.executable, "-c", textwrap.dedent(script)]
    for command in (["screen", str(tmp_path), "--jobs", "1"], ["backlog", str(tmp_path), "--jobs", "1"]):
        said = subprocess.run(
            [*program, *command, "--store", store], capture_output=True, text=True, check=False
        )
        assert said.returncode == 1, said  # 130 is that of Ctrl-C
        assert "the disk of the records is full: nothing was recorded" in " ".join(said.stderr.split())
        assert "Traceback" not in said.stderr


def test_records_that_are_read_only_or_kept_by_another_are_said(store, picture, screened):
    photo = store.add_photo(screened(picture(), RUST), data=picture())
    (rust,) = store.candidates(photo.id)
    refuse = {
        # https://www.postgresql.org/docs/current/runtime-config-client.html: transaction_read_only.
        "postgresql": ("SET transaction_read_only = on", "begin"),
        "sqlite": ("PRAGMA query_only=on", "engine_connect"),
    }
    statement, moment = refuse[store._engine.dialect.name]

    def forbid(connection):
        connection.connection.cursor().execute(statement)

    event.listen(store._engine, moment, forbid)
    with pytest.raises(OSError, match="cannot be written: nothing was recorded, see that"):
        store.decide(rust.id, "confirmed", by="J. Doe")
    event.remove(store._engine, moment, forbid)
    assert store.history(rust.id) == ()


def test_records_that_another_program_locks_are_said(tmp_path, picture, screened):
    store = Store.open(tmp_path / "yard.sqlite")
    photo = store.add_photo(screened(picture(), RUST), data=picture())
    (rust,) = store.candidates(photo.id)
    event.listen(store._engine, "engine_connect", lambda c: c.connection.execute("PRAGMA busy_timeout=10"))
    with closing(sqlite3.connect(tmp_path / "yard.sqlite", isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(OSError, match="another program keeps the records to itself: nothing") as caught:
            store.decide(rust.id, "confirmed", by="J. Doe")
    assert caught.value.errno == errno.EBUSY
    store.decide(rust.id, "confirmed", by="J. Doe")
    assert len(store.history(rust.id)) == 1
    store.close()
