"""Which fasteners belong together: rings, rows and clusters of like size, and the places where one is due.

Rings and rows are found by random sample consensus after Fischler and Bolles (1981), here over every
small subset, since a photo shows few fasteners. A tilted ring is a circle once the view's tilt is undone, so
rings are fitted as ellipses.
"""

from __future__ import annotations

import dataclasses
import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from visual_aid.model import NOT_IN_PLACE, Fastener

LIKE_SIZE = 1.5
"""Members of a group differ at most by this factor: perspective takes its share."""
NEIGHBOUR_R = 14.0
"""A group's members lie at most this many radii from the next."""
OFF_LINE_R = 0.45
OFF_RING_SHARE = 0.06
LEAST_ROW = 3
LEAST_RING = 5
MOST_IN_RING = 24
_SUBSETS = 400

Floats = NDArray[np.float64]
Place = tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Ring:
    """An ellipse on which fasteners sit: centre, 2 x 2 matrix from the unit circle, its members' indices."""

    centre: Floats
    matrix: Floats
    members: tuple[int, ...]

    def bearings(self, points: Floats) -> Floats:
        """Angles of points about the centre on the ring with its tilt undone, in radians."""
        x, y = self._untilted(points)
        angles: Floats = np.arctan2(y, x)
        return angles

    def off(self, points: Floats) -> Floats:
        """Distances of points from the ring with its tilt undone, as shares of its radius."""
        away: Floats = np.abs(np.hypot(*self._untilted(points)) - 1)
        return away

    def _untilted(self, points: Floats) -> Floats:
        """Points about the centre, with the ring the unit circle: rows x and y."""
        flat: Floats = ((points - self.centre) @ np.linalg.inv(self.matrix).T).T
        return flat


def group_fasteners(fasteners: Sequence[Fastener]) -> tuple[Fastener, ...]:
    """Give numbers to the rows, rings and clusters of like fasteners.

    Parameters
    ----------
    fasteners : sequence of Fastener

    Returns
    -------
    tuple of Fastener
        The same fasteners in the same order. Groups count from 1 in the order of their first member; a
        fastener alone belongs to none.
    """
    group: dict[int, int] = {}
    for number, members in enumerate(sorted(_groups(fasteners)), 1):
        group |= dict.fromkeys(members, number)
    return tuple(dataclasses.replace(f, group=group.get(i)) for i, f in enumerate(fasteners))


def rings(fasteners: Sequence[Fastener]) -> tuple[Ring, ...]:
    """Find the ellipses on which fasteners of like size sit; members count through ``fasteners``."""
    points, radii = _arrays(fasteners)
    found = []
    for cluster in _clusters(points, radii, range(len(fasteners))):
        chosen = list(cluster)
        ring = _ring(points[chosen], radii[chosen]) if len(chosen) >= LEAST_RING else None
        if ring is not None:
            found.append(dataclasses.replace(ring, members=tuple(cluster[i] for i in ring.members)))
    return tuple(found)


def expected_places(fasteners: Sequence[Fastener]) -> tuple[Place, ...]:
    """Tell where a row's equal spacing or a ring's equal angles expects a nut and none was found.

    Parameters
    ----------
    fasteners : sequence of Fastener
        With groups. A bare stud or an empty hole does not carry the pattern; where one was found, no place is
        listed, since it is a find of its own.

    Returns
    -------
    tuple of (float, float, float)
        Centre x, y and radius in the fasteners' pixels.
    """
    places: list[Place] = []
    for number in sorted({f.group for f in fasteners if f.group is not None}):
        members = [f for f in fasteners if f.group == number and f.kind not in NOT_IN_PLACE]
        points, radii = _arrays(members)
        ring = _ring(points, radii) if len(members) >= LEAST_RING else None
        if ring is not None and len(ring.members) >= 0.8 * len(members):
            places += _due_in_ring(ring, points, radii)
        elif len(members) >= LEAST_ROW:
            row = _row(points, radii)
            if len(row) >= LEAST_ROW:
                places += _due_in_row(points[row], radii[row])
    taken, sizes = _arrays(fasteners)
    return tuple(p for p in places if not len(taken) or (np.hypot(*(taken - p[:2]).T) > sizes).all())


def beside(
    place: Fastener, fasteners: Sequence[Fastener], like_size: float = LIKE_SIZE
) -> tuple[Fastener, ...]:
    """Give the fasteners of like size in reach of a place, without the one that it is itself."""
    return tuple(
        f
        for f in fasteners
        if f.id != place.id
        and _near(math.dist((f.cx, f.cy), (place.cx, place.cy)), f.radius, place.radius, like_size)
    )


def _near(distance: float, radius: float, other: float, like_size: float = LIKE_SIZE) -> bool:
    larger, smaller = max(radius, other), min(radius, other)
    return larger < like_size * smaller and distance < NEIGHBOUR_R * larger


def _arrays(fasteners: Sequence[Fastener]) -> tuple[Floats, Floats]:
    points = np.array([(f.cx, f.cy) for f in fasteners], float).reshape(-1, 2)
    return points, np.array([f.radius for f in fasteners], float)


def _groups(fasteners: Sequence[Fastener]) -> list[tuple[int, ...]]:
    points, radii = _arrays(fasteners)
    groups: list[tuple[int, ...]] = []
    for cluster in _clusters(points, radii, range(len(fasteners))):
        left = list(cluster)
        while len(left) >= LEAST_RING:
            ring = _ring(points[left], radii[left])
            if ring is None or len(ring.members) == len(left):
                break
            groups.append(tuple(left[i] for i in ring.members))
            left = [k for i, k in enumerate(left) if i not in ring.members]
        groups += [c for c in _clusters(points, radii, left) if len(c) > 1]
    return groups


def _clusters(points: Floats, radii: Floats, indices: Sequence[int]) -> list[tuple[int, ...]]:
    """Split into parts within which one reaches every member over near ones of like size."""
    left = list(indices)
    clusters = []
    while left:
        cluster, edge = [left[0]], [left.pop(0)]
        while edge:
            k = edge.pop()
            near = [j for j in left if _near(math.dist(points[j], points[k]), radii[j], radii[k])]
            left = [j for j in left if j not in near]
            cluster += near
            edge += near
        clusters.append(tuple(sorted(cluster)))
    return clusters


def _subsets(count: int, size: int) -> list[tuple[int, ...]]:
    """Every subset where they are few, else evenly spread ones: no randomness, so that runs agree."""
    total = math.comb(count, size)
    every = itertools.combinations(range(count), size)
    return list(itertools.islice(every, 0, None, max(1, total // _SUBSETS)))


def _ring(points: Floats, radii: Floats) -> Ring | None:
    """Fit the ellipse that holds the most points, at least LEAST_RING of them."""
    best: tuple[int, ...] = ()
    for subset in _subsets(len(points), 5):
        fitted = _ellipse(points[list(subset)])
        if fitted is None:
            continue
        members = _on_ring(points, radii, *fitted)
        if len(members) > len(best):
            best = members
        if len(best) == len(points):
            break
    if len(best) < LEAST_RING:
        return None
    fitted = _ellipse(points[list(best)])
    if fitted is None:
        return None
    members = _on_ring(points, radii, *fitted)
    return Ring(*fitted, members) if len(members) >= LEAST_RING else None


def _ellipse(points: Floats) -> tuple[Floats, Floats] | None:
    """Fit centre and matrix from the unit circle; None where it is no ring seen at less than 75 degrees."""
    (cx, cy), (width, height), turn = cv2.fitEllipseDirect(points.astype(np.float32))
    long, short = max(width, height) / 2, min(width, height) / 2
    if not (math.isfinite(cx + cy + long) and short > max(0.0, 0.26 * long)):
        return None
    a = math.radians(turn)
    axes = np.array([[math.cos(a), -math.sin(a)], [math.sin(a), math.cos(a)]]) * (width / 2, height / 2)
    return np.array([cx, cy]), axes


def _on_ring(points: Floats, radii: Floats, centre: Floats, matrix: Floats) -> tuple[int, ...]:
    off = Ring(centre, matrix, ()).off(points)
    size = math.sqrt(abs(np.linalg.det(matrix)))
    allowed = (
        np.minimum(OFF_LINE_R * radii / size, 2 * OFF_RING_SHARE)
        if size > 2 * radii.max()
        else np.zeros(len(radii))
    )
    return tuple(int(i) for i in np.nonzero(off < allowed)[0])


def _due_in_ring(ring: Ring, points: Floats, radii: Floats) -> list[Place]:
    members = list(ring.members)
    bearings = ring.bearings(points[members])
    for count in range(len(members), min(MOST_IN_RING, len(members) + max(1, len(members) // 3)) + 1):
        turn = np.exp(1j * count * bearings).mean()
        slots = np.round((bearings - np.angle(turn) / count) * count / (2 * np.pi)).astype(int) % count
        if abs(turn) > 0.9 and len(set(slots.tolist())) == len(members):
            free = sorted(set(range(count)) - set(slots.tolist()))
            angles = (np.angle(turn) + 2 * np.pi * np.array(free, float)) / count
            where = np.stack([np.cos(angles), np.sin(angles)], axis=1) @ ring.matrix.T + ring.centre
            return [(float(x), float(y), _local_radius(x, y, points, radii)) for x, y in where]
    return []


def _row(points: Floats, radii: Floats) -> list[int]:
    """Pick the members of the straight row with the most fasteners, in order along it."""
    best: list[int] = []
    for i, j in _subsets(len(points), 2):
        along = (points[j] - points[i]) / max(math.dist(points[i], points[j]), 1e-9)
        off = np.abs((points - points[i]) @ np.array([-along[1], along[0]]))
        members = np.nonzero(off < OFF_LINE_R * radii)[0]
        if len(members) > len(best):
            best = [int(k) for k in members[np.argsort((points[members] - points[i]) @ along, kind="stable")]]
    return best


def _due_in_row(points: Floats, radii: Floats) -> list[Place]:
    steps = np.hypot(*np.diff(points, axis=0).T) / np.sqrt(radii[1:] * radii[:-1])
    spacing = float(np.min(steps))
    counts = np.round(steps / spacing).astype(int)
    even = np.abs(steps / spacing - counts) < 0.2 * counts
    if not even.all() or (counts > 1).sum() > len(points) // 2 or counts.max() > 3:
        return []
    places = []
    for k, count in enumerate(counts):
        for part in range(1, count):
            x, y = points[k] + (points[k + 1] - points[k]) * part / count
            places.append((float(x), float(y), _local_radius(x, y, points, radii)))
    return places


def _local_radius(x: float, y: float, points: Floats, radii: Floats) -> float:
    """Radius expected at a place: the members' mean, nearer ones counting more."""
    weight = 1 / (np.hypot(points[:, 0] - x, points[:, 1] - y) + radii.mean()) ** 2
    return float((radii * weight).sum() / weight.sum())
