"""Where on the unit photos were taken, guessed from the way a person walks around it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from visual_aid.records.entries import Side, Spot, StoredPhoto

PAUSE = dt.timedelta(seconds=20)
"""A longer pause between two photos is a step to the next place (common practice, no source)."""

PARTS = (
    "wheel end",
    "spring and U-bolts",
    "torque rod",
    "shock absorber",
    "air spring",
    "height-control valve",
    "frame and hangers",
)
"""Parts of an axle that are usually photographed."""


@dataclass(frozen=True, slots=True)
class Shot:
    """A photo of a walk: when it was taken, and where if a person has said so."""

    id: str
    taken: dt.datetime | None
    said: Spot | None


def shots_of(photos: Iterable[StoredPhoto]) -> tuple[Shot, ...]:
    """Give the shots of stored photos, in their order."""
    return tuple(
        Shot(
            photo.id,
            dt.datetime.fromisoformat(photo.screening.photo.taken) if photo.screening.photo.taken else None,
            None if photo.position is None else photo.position.spot,
        )
        for photo in photos
    )


def usual_route(axles: int, parts: Sequence[str]) -> tuple[Spot, ...]:
    """Give the usual way around: down the left side from the front, and back up the right."""
    down = [(axle, part) for axle in range(1, axles + 1) for part in parts]
    ways: tuple[tuple[Side, list[tuple[int, str]]], ...] = (("left", down), ("right", down[::-1]))
    return tuple((axle, side, part) for side, way in ways for axle, part in way)


def walked_route(shots: Iterable[Shot]) -> tuple[Spot, ...]:
    """Give the way that was walked: each place where it first comes."""
    return tuple(dict.fromkeys(shot.said for shot in shots if shot.said is not None))


def guess(shots: Sequence[Shot], route: Sequence[Spot]) -> Mapping[str, Spot]:
    """Guess where photos were taken of which nobody has said it.

    Photos of one stop follow each other without a longer pause; without camera times they are spread
    evenly over the route. Stops go along the route, and what a person has said of one moves those before
    and after it: a correction puts the rest of the walk right too.

    Parameters
    ----------
    shots : sequence of Shot
        In the order in which they were taken.
    route : sequence of Spot
        The way around the unit.

    Returns
    -------
    mapping
        Places by photo; photos beyond the ends of the route are left out.
    """
    stops = _stops(shots, len(route))
    spots = [next((shot.said for shot in stop if shot.said), None) for stop in stops]
    index = {spot: i for i, spot in enumerate(route)}
    known = [(i, index[spot]) for i, spot in enumerate(spots) if spot in index]
    # The stop from which the walk is counted: the last one said before, else the first one said after.
    start = known[0] if known else (0, 0)
    guesses: dict[str, Spot] = {}
    for i, stop in enumerate(stops):
        start = next((k for k in reversed(known) if k[0] <= i), start)
        at = start[1] + i - start[0]
        spot = spots[i] or (route[at] if 0 <= at < len(route) else None)
        if spot is not None:
            guesses |= {shot.id: spot for shot in stop if shot.said is None}
    return guesses


def other_side_missing(spots: Iterable[Spot]) -> tuple[Spot, ...]:
    """Give the places that were photographed on the other side of the unit only."""
    seen = set(spots)
    other: Mapping[Side, Side] = {"left": "right", "right": "left"}
    missing = {(axle, other[side], part) for axle, side, part in seen if side in other} - seen
    return tuple(sorted(missing))


def _stops(shots: Sequence[Shot], places: int) -> list[list[Shot]]:
    stops: list[list[Shot]] = []
    each = max(1, round(len(shots) / places)) if places else 1
    for shot in shots:
        if stops and _same_stop(stops[-1], shot, each):
            stops[-1].append(shot)
        else:
            stops.append([shot])
    return stops


def _same_stop(stop: Sequence[Shot], shot: Shot, each: int) -> bool:
    said = next((one.said for one in stop if one.said), None)
    if said and shot.said and said != shot.said:
        return False
    before = stop[-1].taken
    if before is None or shot.taken is None:
        return len(stop) < each
    return shot.taken - before <= PAUSE
