import hashlib
import io
import json
import os
import sqlite3
import threading
import zipfile
from contextlib import closing

import pytest
from click.testing import CliRunner
from PIL import Image

from visual_aid.cli import main
from visual_aid.model import Candidate, PhotoInfo, Quality, Screening
from visual_aid.records.backup import BackupError, back_up, restore
from visual_aid.records.store import Store

BUFFER = io.BytesIO()
Image.new("L", (8, 6)).save(BUFFER, "PNG")
PNG = BUFFER.getvalue()


def add(store, number, kept=True):
    """Add a photo with one candidate; its file is kept, or lies elsewhere."""
    data = PNG + bytes([number])
    candidate = Candidate(1, "gap", None, (1.0, 1.0, 2.0, 2.0), (), 0.9)
    info = PhotoInfo(f"{number}.png", f"/yard/{number}.png", hashlib.sha256(data).hexdigest(), 8, 6)
    record = Screening("0.1.0", info, Quality(True), candidates=(candidate,), priority=0.9)
    photo = store.add_photo(record, data=data if kept else None)
    store.decide(store.candidates(photo.id)[0].id, "confirmed", by="J. Doe")
    return photo


@pytest.fixture
def yard(tmp_path):
    store = Store.open(tmp_path / "yard.sqlite")
    yield store
    store.close()


def test_a_backup_brings_everything_back_elsewhere(yard, tmp_path):
    kept = add(yard, 1)
    add(yard, 2, kept=False)
    made = back_up(tmp_path / "yard.sqlite", tmp_path / "out" / "b.zip")
    assert (made.photos, made.elsewhere) == (1, 1)
    restore(tmp_path / "out" / "b.zip", tmp_path / "new" / "other.sqlite")
    with closing(Store.open(tmp_path / "new" / "other.sqlite")) as other:
        assert len(other.findings()) == 2
        assert other.file(other.photo(kept.id)).read_bytes() == yard.file(kept).read_bytes()
        assert other.file(other.photo(kept.id)) != yard.file(kept)
    assert [p.name for p in (tmp_path / "out").iterdir()] == ["b.zip"]


def test_a_backup_taken_while_others_write_is_one_sound_state(yard, tmp_path):
    add(yard, 0)
    stop = threading.Event()

    def write():
        number = 1
        while not stop.is_set() and number < 250:
            add(yard, number)
            number += 1

    writer = threading.Thread(target=write)
    writer.start()
    try:
        for count in range(3):
            back_up(tmp_path / "yard.sqlite", tmp_path / f"{count}.zip")
    finally:
        stop.set()
        writer.join()
    restore(tmp_path / "2.zip", tmp_path / "other.sqlite")
    with closing(Store.open(tmp_path / "other.sqlite")) as other:
        assert len(other.findings()) >= 1
        for finding in other.findings():
            assert other.file(other.photo(finding.photo)).exists()


def test_restoring_under_a_running_store_puts_the_old_records_aside(yard, tmp_path):
    first = add(yard, 1)
    back_up(tmp_path / "yard.sqlite", tmp_path / "b.zip")
    add(yard, 2)
    with pytest.raises(BackupError, match="holds records"):
        restore(tmp_path / "b.zip", tmp_path / "yard.sqlite")
    assert len(yard.findings()) == 2
    made = restore(tmp_path / "b.zip", tmp_path / "yard.sqlite", replace=True)
    # The store that was open goes on with the backup's records, and takes new ones.
    assert [f.photo for f in yard.findings()] == [first.id]
    add(yard, 3)
    assert len(yard.findings()) == 2
    restore(made.saved, tmp_path / "before.sqlite")
    with closing(Store.open(tmp_path / "before.sqlite")) as before:
        assert len(before.findings()) == 2


def rewritten(path, change):
    """Write a backup anew with its parts changed: name -> bytes, None for left out."""
    with zipfile.ZipFile(path) as old:
        parts = {name: old.read(name) for name in old.namelist()}
    change(parts)
    with zipfile.ZipFile(path, "w") as new:
        for name, data in parts.items():
            new.writestr(name, data)


def photo_in(parts):
    return next(name for name in parts if name.startswith("photos/"))


@pytest.mark.parametrize(
    "change",
    [
        lambda parts: parts.pop("records.sqlite"),
        lambda parts: parts.pop("backup.json"),
        lambda parts: parts.pop(photo_in(parts)),
        lambda parts: parts.update({photo_in(parts): b"another photo"}),
        lambda parts: parts.update({"records.sqlite": parts["records.sqlite"][:-4096]}),
        lambda parts: parts.update({"backup.json": b"[]"}),
        lambda parts: parts.update({"backup.json": json.dumps({"schema": "other"}).encode()}),
    ],
)
def test_a_backup_that_is_not_sound_changes_nothing(yard, tmp_path, change):
    add(yard, 1)
    back_up(tmp_path / "yard.sqlite", tmp_path / "b.zip")
    add(yard, 2)
    rewritten(tmp_path / "b.zip", change)
    with pytest.raises(BackupError, match=r"b\.zip is no sound backup"):
        restore(tmp_path / "b.zip", tmp_path / "yard.sqlite", replace=True)
    assert len(yard.findings()) == 2


def test_names_in_a_backup_lead_nowhere_else(yard, tmp_path):
    add(yard, 1)
    back_up(tmp_path / "yard.sqlite", tmp_path / "b.zip")
    rewritten(tmp_path / "b.zip", lambda parts: parts.update({"../evil": b"x", "photos/../../evil": b"x"}))
    restore(tmp_path / "b.zip", tmp_path / "new" / "yard.sqlite")
    assert not list(tmp_path.rglob("*evil*"))


def damage(path):
    with closing(sqlite3.connect(path)) as raw:
        raw.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    size = path.stat().st_size
    with path.open("r+b") as file:
        for at in range(4096, size, 4096):
            file.seek(at)
            file.write(b"\xa5" * 200)


def test_damaged_records_are_refused_with_the_mend_and_can_be_restored(yard, tmp_path):
    add(yard, 1)
    back_up(tmp_path / "yard.sqlite", tmp_path / "b.zip")
    yard.close()
    damage(tmp_path / "yard.sqlite")
    with pytest.raises(ValueError, match=r"yard\.sqlite is damaged .*visual-aid restore FILE") as caught:
        Store.open(tmp_path / "yard.sqlite")
    assert "\n" not in str(caught.value)
    made = restore(tmp_path / "b.zip", tmp_path / "yard.sqlite", replace=True)
    assert ".damaged-" in made.saved.name
    with closing(Store.open(tmp_path / "yard.sqlite")) as store:
        assert len(store.findings()) == 1


def test_the_commands_say_what_they_did(yard, tmp_path):
    add(yard, 1)
    add(yard, 2, kept=False)

    def run(*arguments):
        return CliRunner().invoke(main, [str(a) for a in arguments])

    said = run("backup", tmp_path / "b.zip", "--store", tmp_path / "yard.sqlite")
    assert said.exit_code == 0
    assert "records and 1 photo files, read again and sound" in said.stdout
    assert "1 photos lie outside" in said.stdout
    assert run("restore", tmp_path / "b.zip", "--store", tmp_path / "yard.sqlite").exit_code == 2
    said = run("restore", tmp_path / "b.zip", "--store", tmp_path / "yard.sqlite", "--replace")
    assert (said.exit_code, "what was there before is in" in said.stdout) == (0, True)
    assert run("backup", tmp_path / "b.zip", "--store", tmp_path / "none.sqlite").exit_code == 2
    assert run("restore", tmp_path / "yard.sqlite", "--store", tmp_path / "x.sqlite").exit_code == 2
    for url in ("postgresql+psycopg://y@db/r", "mysql://y@db/r"):
        assert run("backup", tmp_path / "b.zip", "--store", url).exit_code == 2


def test_any_damage_to_a_backup_is_told_in_one_line(yard, tmp_path):
    add(yard, 1)
    made = tmp_path / "b.zip"
    back_up(tmp_path / "yard.sqlite", made)
    sound = made.read_bytes()
    # The archive's directory comes last: 46 bytes an entry before the name (APPNOTE 4.3.12).
    entry = sound.rindex(b"records.sqlite") - 46
    start = int.from_bytes(sound[entry + 42 : entry + 46], "little")
    for at, value in ((start + 100, 0xFF), (entry + 10, 99), (entry + 8, 1)):  # data, compression, encryption
        damaged = bytearray(sound)
        damaged[at] ^= value
        made.write_bytes(damaged)
        with pytest.raises(BackupError, match="no sound backup"):
            restore(made, tmp_path / "new" / "other.sqlite")
    assert not (tmp_path / "new" / "other.sqlite").exists()


def test_a_photo_from_before_the_time_that_archives_know_is_backed_up(yard, tmp_path):
    photo = add(yard, 1)
    os.utime(yard.file(photo), (0, 0))  # a camera or a clock without its battery
    assert back_up(tmp_path / "yard.sqlite", tmp_path / "b.zip").photos == 1
