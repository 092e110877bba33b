"""Group the shots of a burst, so that a person decides once: the best shot stands for the others."""

from __future__ import annotations

import datetime as dt
from collections import deque
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from sqlalchemy import Connection, bindparam, select, update

from visual_aid.likeness import distance
from visual_aid.records import schema as t

SAME_VIEW = 50
"""Most bits of 256 in which two shots of a burst differ. Of 144 pairs made by moving, turning and lighting
one photo slightly, none differed in more; of photos of different scenes, none in fewer than 77."""
APART = dt.timedelta(seconds=60)
"""Longest time between the first shot of a burst and another of it (common practice, no source)."""
BURSTS_OPEN = 24
"""How many bursts a shot is compared with, the latest: shots of a burst follow one another."""


@dataclass(frozen=True, slots=True)
class Shot:
    """What grouping has to know of a photo.

    Attributes
    ----------
    place : tuple
        Photos of different places (visit, position, folder) are never grouped.
    sure_place : bool
        Whether a visit and a position say what is in the picture.
    taken : datetime or None
    merit : tuple
        The better photo to decide on has the greater one.
    cues : frozenset of str
        What is flagged on it, the weak left out.
    """

    photo: str
    place: tuple[object, ...]
    sure_place: bool
    taken: dt.datetime | None
    likeness: str
    merit: tuple[object, ...]
    cues: frozenset[str]


def bursts(shots: Iterable[Shot]) -> Iterator[list[Shot]]:
    """Group shots that are given in the order in which they were taken.

    Every shot of a burst is like its first one, so that a slow pan does not become one burst. Where
    neither the camera's clock nor visit and position speak for it, likeness alone groups nothing: one
    view of many units looks alike.
    """
    latest: deque[list[Shot]] = deque()
    for shot in shots:
        burst = next((burst for burst in latest if _belongs(shot, burst[0])), None)
        if burst is not None:
            burst.append(shot)
            continue
        latest.appendleft([shot])
        if len(latest) > BURSTS_OPEN:
            yield latest.pop()
    yield from reversed(latest)


def _belongs(shot: Shot, first: Shot) -> bool:
    if shot.place != first.place:
        return False
    if shot.taken is None or first.taken is None:
        together = shot.sure_place
    else:
        together = shot.taken - first.taken <= APART
    return together and distance(shot.likeness, first.likeness) <= SAME_VIEW


def stood_for(burst: Sequence[Shot]) -> dict[str, str]:
    """Give the shots that need no look of their own, each with the one that stands for it.

    A shot on which a cue is flagged that the best one does not show keeps its own place.
    """
    best = max(burst, key=lambda shot: shot.merit)
    return {shot.photo: best.photo for shot in burst if shot.photo != best.photo and shot.cues <= best.cues}


def group_bursts(connection: Connection) -> None:
    """Work out for the whole store which photo stands for which, within the transaction at hand."""
    standing = select(t.standing.c.photo, t.standing.c.best).where(t.standing.c.best.is_not(None))
    before = {row.photo: row.best for row in connection.execute(standing)}
    now: dict[str, str] = {}
    for burst in bursts(_shots(connection)):
        now.update(stood_for(burst))
    changed = [
        {"shot": photo, "by": now.get(photo)}
        for photo in sorted(before.keys() | now.keys())
        if before.get(photo) != now.get(photo)
    ]
    if changed:
        new = update(t.standing).where(t.standing.c.photo == bindparam("shot"))
        connection.execute(new.values(best=bindparam("by")), changed)


def _shots(connection: Connection) -> Iterator[Shot]:
    photo, standing = t.photo.c, t.standing.c
    rows = (
        select(
            photo.id,
            photo.path,
            photo.name,
            photo.taken,
            photo.visit,
            photo.position,
            photo.likeness,
            standing.quality,
            standing.cues,
            t.screening.c.priority,
            t.screening.c.problems,
        )
        .join(standing.photo.table, standing.photo == photo.id)
        .join(t.screening, t.screening.c.id == standing.screening)
        .where(photo.likeness.is_not(None))
        .order_by(photo.taken.is_(None), photo.taken, photo.path, photo.id)
    )
    for row in connection.execute(rows, execution_options={"yield_per": 1000}):
        folder = row.path.rpartition("/")[0] if row.visit is None else ""
        yield Shot(
            photo=row.id,
            place=(row.visit, row.position, folder),
            sure_place=row.visit is not None and row.position is not None,
            taken=None if row.taken is None else dt.datetime.fromisoformat(row.taken),
            likeness=row.likeness,
            merit=(row.quality != "unusable", row.priority, -row.problems, row.name, row.path),
            cues=frozenset(row.cues.split()),
        )
