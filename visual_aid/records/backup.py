"""Records and kept photos in one file, taken and put back while people are at work."""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import os
import re
import shutil
import sqlite3
import tempfile
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import IO

from visual_aid import __version__
from visual_aid.files import write_atomically
from visual_aid.records.connect import connect, locate, trouble_in
from visual_aid.records.photofolder import photo_folder

SCHEMA = "visual-aid/backup/1"
_ABOUT, _RECORDS = "backup.json", "records.sqlite"
# Photos are named by their content (PhotoFolder.keep): the name is the check, and no other is put back.
_PHOTO = re.compile(r"photos/([0-9a-f]{2})/(\1[0-9a-f]{62})(\.[a-z]{3,4})")
_CHUNK = 1 << 20


class BackupError(Exception):
    """A backup that cannot be made or put back; the message names the file and the mend."""


@dataclass(frozen=True, slots=True)
class Backup:
    """What a backup holds.

    Attributes
    ----------
    photos : int
        Photo files in it.
    elsewhere : int
        Photos of which it holds the records alone: their files lie outside the store.
    saved : Path or None
        Where ``restore`` has put what was there before.
    """

    photos: int
    elsewhere: int
    saved: Path | None = None


def back_up(target: str | Path, file: Path, *, photos: str | Path | None = None) -> Backup:
    """Write records and kept photos into one ZIP file and read it again; the store may be in use.

    The records are taken first, in one state. A photo is kept before its record is written and never taken
    away, so every photo that these records name is there to be taken after them.

    Raises
    ------
    BackupError
        There are no records, they lie on a database server or are damaged, or the file read again is not
        what was written; then there is no new file.
    OSError
        The file cannot be written.
    """
    database, root = _places(target, photos)
    if not database.is_file():
        raise BackupError(f"{database}: no records there, name them with --store")
    file.parent.mkdir(parents=True, exist_ok=True)
    unfinished = file.with_name(f".{file.name}.{os.getpid()}")
    try:
        with tempfile.TemporaryDirectory(dir=file.parent, prefix=".visual-aid-") as folder:
            copy = Path(folder, _RECORDS)
            try:
                _copy(database, copy)
            except sqlite3.DatabaseError as error:
                raise BackupError(f"{database} cannot be read ({error}): restore the last backup") from error
            kept = sorted(p for p in root.glob("??/*") if _PHOTO.fullmatch(_name(p)))
            about = {"schema": SCHEMA, "engine": __version__, "records": _sum(copy), "photos": len(kept)}
            with zipfile.ZipFile(unfinished, "w", zipfile.ZIP_STORED, strict_timestamps=False) as archive:
                archive.writestr(_ABOUT, json.dumps(about))
                archive.write(copy, _RECORDS, zipfile.ZIP_DEFLATED)
                for path in kept:
                    archive.write(path, _name(path))
        with unfinished.open("rb") as written:
            os.fsync(written.fileno())
        with _verified(unfinished, file.name) as (_, backup):
            pass
        unfinished.replace(file)
        return backup
    finally:
        unfinished.unlink(missing_ok=True)


def restore(
    file: Path, target: str | Path, *, replace: bool = False, photos: str | Path | None = None
) -> Backup:
    """Put a backup in the place of a store, which may be in use; nothing changes unless all of it is sound.

    What was there is backed up beside it first; damaged records are moved aside as they are. Photos that
    were there stay.

    Raises
    ------
    BackupError
        The file is no backup or a damaged one, a newer version made it, or there are records already and
        they are not to be replaced.
    OSError
        The store cannot be written.
    """
    database, root = _places(target, photos)
    if database.exists() and not replace:
        raise BackupError(f"{database} holds records: name another place, or add --replace to put them aside")
    with _verified(file, str(file)) as (folder, backup):
        copy = folder / _RECORDS
        try:
            connect(locate(copy)).dispose()
        except ValueError as error:
            raise BackupError(f"{file}: {error}") from error
        saved = _put_aside(database, photos) if database.exists() else None
        with zipfile.ZipFile(file) as archive:
            for name in archive.namelist():
                if match := _PHOTO.fullmatch(name):
                    path = root / match[1] / (match[2] + match[3])
                    if not path.exists():
                        write_atomically(path, archive.read(name))
        database.parent.mkdir(parents=True, exist_ok=True)
        _copy(copy, database)
    return Backup(backup.photos, backup.elsewhere, saved)


def _put_aside(database: Path, photos: str | Path | None) -> Path:
    stamp = dt.datetime.now(dt.UTC).strftime("%Y%m%dT%H%M%S%f")
    saved = database.with_name(f"{database.stem}-before-{stamp}.zip")
    try:
        back_up(database, saved, photos=photos)
    except BackupError:
        saved = database.with_name(f"{database.name}.damaged-{stamp}")
        for end in ("-shm", "-wal", ""):
            if (part := database.with_name(database.name + end)).exists():
                part.rename(saved.with_name(saved.name + end))
    return saved


def _places(target: str | Path, photos: str | Path | None) -> tuple[Path, Path]:
    url = locate(target)
    if url.get_backend_name() != "sqlite" or not url.database:
        raise BackupError(
            "records on a database server are backed up by the server's own tools: "
            "take a copy of the folder of photo files after them"
        )
    return Path(url.database), photo_folder(url, photos)


_UNSOUND = (
    zipfile.BadZipFile,
    zlib.error,
    NotImplementedError,
    RuntimeError,
    KeyError,
    TypeError,
    ValueError,
    EOFError,
    sqlite3.Error,
)
"""What a damaged archive makes its readers raise: one bit makes a part compressed otherwise, or encrypted."""


@contextmanager
def _verified(file: Path, called: str) -> Iterator[tuple[Path, Backup]]:
    """Check every part of a backup; give a folder with its records, and what it holds."""
    with tempfile.TemporaryDirectory() as folder:
        try:
            backup = _checked(file, Path(folder, _RECORDS))
        except _UNSOUND as error:
            raise BackupError(f"{called} is no sound backup: take another one") from error
        yield Path(folder), backup


def _checked(file: Path, records: Path) -> Backup:
    """Take the records out of a backup; ValueError, or what reading it raises, where a part is not sound."""
    with zipfile.ZipFile(file) as archive:
        about = json.loads(archive.read(_ABOUT))
        with archive.open(_RECORDS) as stored, records.open("wb") as out:
            shutil.copyfileobj(stored, out)
        found = [match for name in archive.namelist() if (match := _PHOTO.fullmatch(name))]
        sound = about["schema"] == SCHEMA and about["photos"] == len(found)
        sound = sound and about["records"] == _sum(records) and not trouble_in(records)
        for match in found:
            with archive.open(match[0]) as stored:
                sound = sound and _sum_of(stored) == match[2]
    with closing(sqlite3.connect(records)) as connection:
        paths = [path for (path,) in connection.execute("SELECT path FROM photo")]
    inside = {f"{m[1]}/{m[2]}{m[3]}" for m in found}
    if not sound or any(_PHOTO.fullmatch(f"photos/{path}") and path not in inside for path in paths):
        raise ValueError("a part is missing, or is not what was written")
    return Backup(len(found), sum(path not in inside for path in paths))


def _copy(source: Path, to: Path) -> None:
    """Copy records by SQLite's online backup: one state, whoever writes meanwhile."""
    with closing(sqlite3.connect(source)) as old, closing(sqlite3.connect(to)) as new:
        new.execute("PRAGMA synchronous=FULL")
        old.backup(new)


def _name(path: Path) -> str:
    return f"photos/{path.parent.name}/{path.name}"


def _sum(path: Path) -> str:
    with path.open("rb") as file:
        return _sum_of(file)


def _sum_of(file: IO[bytes]) -> str:
    sum_ = hashlib.sha256()
    while chunk := file.read(_CHUNK):
        sum_.update(chunk)
    return sum_.hexdigest()
