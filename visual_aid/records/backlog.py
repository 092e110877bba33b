"""What is known of the files of a backlog, and what a run finds out about them."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from sqlalchemy import Connection, Engine, select, update

from visual_aid import __version__
from visual_aid.backlog.job import Job, Seen
from visual_aid.backlog.sources import PhotoFile, is_url
from visual_aid.files import printable
from visual_aid.model import Screening
from visual_aid.records import schema as t
from visual_aid.records.bursts import group_bursts
from visual_aid.records.queries import is_last_screening
from visual_aid.records.screenings import add_screening, photo_with
from visual_aid.records.standing import stand
from visual_aid.records.writing import reading, upsert, writing


class Backlog:
    """The photo files that runs of a backlog have seen."""

    def __init__(self, engine: Engine) -> None:
        self._engine = engine

    def to_do(self, files: Sequence[PhotoFile]) -> list[Job]:
        """Leave out the files that have not changed since this version of the engine screened them.

        A file whose stamp is new may still have content that is known: its job carries the sums of
        screened photos of its size, so that it need not be read twice to tell.
        """
        with reading(self._engine) as connection:
            unchanged = _unchanged(connection, files)
            left = [file for file in files if file.url not in unchanged]
            known = _screened(connection, {file.size for file in left})
        return [Job(file, frozenset(known.get(file.size, ()))) for file in left]

    def add(self, photos: Sequence[Seen]) -> int:
        """Add what was seen of photo files, all of it or nothing, and give the number of new screenings.

        A photo that this engine has screened before, here or in another run, is not added twice.
        """
        with writing(self._engine) as connection:
            new = [photo for seen in photos if (photo := _add(connection, seen)) is not None]
            stand(connection, new)
            return len(new)

    def troubles(self) -> dict[str, str]:
        """Give the files that could not be screened when they were last tried, each with the reason."""
        rows = select(t.source.c.url, t.source.c.trouble).where(t.source.c.trouble.is_not(None))
        with reading(self._engine) as connection:
            return {row.url: row.trouble for row in connection.execute(rows.order_by(t.source.c.url))}

    def group_bursts(self) -> None:
        """Find the shots of bursts and let the best of each stand for the others on the worklist."""
        with writing(self._engine) as connection:
            group_bursts(connection)


def _unchanged(connection: Connection, files: Sequence[PhotoFile]) -> set[str]:
    known = {printable(file.url): file for file in files if file.stamp}
    rows = (
        select(t.source.c.url, t.source.c.stamp)
        .select_from(t.source)
        .join(t.photo, t.photo.c.id == t.source.c.photo)
        .join(t.screening, is_last_screening())
        .where(t.source.c.url.in_(known), t.screening.c.engine == __version__)
    )
    return {known[url].url for url, stamp in connection.execute(rows) if known[url].stamp == stamp}


def _screened(connection: Connection, sizes: set[int]) -> dict[int, set[str]]:
    rows = (
        select(t.photo.c.size, t.photo.c.sha256)
        .select_from(t.photo)
        .join(t.screening, is_last_screening())
        .where(t.photo.c.size.in_(sizes), t.screening.c.engine == __version__)
    )
    sums: dict[int, set[str]] = {}
    for size, sha256 in connection.execute(rows):
        sums.setdefault(size, set()).add(sha256)
    return sums


def _add(connection: Connection, seen: Seen) -> str | None:
    """Add what was seen of one photo file, and give the photo if its screening is new."""
    changed = None
    if seen.screening is not None and seen.trouble is None:
        changed = _add_screened(connection, seen, seen.screening)
    values = {
        "url": printable(seen.file.url),
        "stamp": seen.file.stamp,
        "photo": _found_at(connection, seen),
        "trouble": None if seen.trouble is None else seen.trouble.say,
    }
    row = upsert(connection, t.source).values(values)
    connection.execute(row.on_conflict_do_update(index_elements=["url"], set_=values))
    return changed


def _add_screened(connection: Connection, seen: Seen, screening: Screening) -> str | None:
    columns = {"size": seen.file.size, "likeness": seen.likeness}
    photo, new = photo_with(connection, screening, path=where(screening.photo.path), **columns)
    if new:
        return photo
    last = select(t.screening.c.engine).where(t.screening.c.photo == photo)
    if connection.scalar(last.order_by(t.screening.c.id.desc()).limit(1)) == screening.engine:
        return None
    add_screening(connection, photo, screening)
    connection.execute(update(t.photo).where(t.photo.c.id == photo).values(**columns))
    return photo


def _found_at(connection: Connection, seen: Seen) -> str | None:
    """Give the photo with this content; if its file has moved here, the photo goes along."""
    row = connection.execute(
        select(t.photo.c.id, t.photo.c.path).where(t.photo.c.sha256 == seen.sha256)
    ).first()
    if row is None:
        return None
    if Path(row.path).is_absolute() and not Path(row.path).exists():
        here = where(printable(seen.file.url))
        connection.execute(update(t.photo).where(t.photo.c.id == row.id).values(path=here))
    return str(row.id)


def where(path: str) -> str:
    """Give a path or URL that means the same whatever folder is the current one."""
    return path if is_url(path) else str(Path(path).resolve())
