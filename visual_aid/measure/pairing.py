"""Which fastener of one photo is which of another."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from visual_aid.measure.laying import Registration
from visual_aid.model import NOT_IN_PLACE, Fastener

FAR, NEAR = 1.0, 0.75
"""Nut radii between two finds of one nut, before and after the common shift of the tops is taken off."""
MEET = 0.75
"""Nut radii between the seats of one nut from which the photos are laid on each other by another plane than
the one that it stands on: half of a joint's seats lie up to 0.63 apart on the right plane of made pairs."""
MOST_SIZE_RATIO = 1.7
BOTH = 0.2
"""Sum of the scores from which two finds of one place count: each backs the other."""
ALONE = 0.35
"""Score from which a find counts that the other photo lacks."""
OWN, ACROSS = 0.08, 0.2
"""How far, in nut radii, a sure find lies off its nut, and how far off the nut the plane maps it in the other
photo, since nuts stand out of the plane: standard deviations on rendered pairs."""
MARGIN = 0.4
"""Nut radii that have to lie inside both photos around the centre."""
SAME_SIZE = 1.4
"""Within this factor nuts count as alike, and their radii are smoothed over the photo."""

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Place:
    """Where a nut's top is seen in the photo before, in full pixels, and how sure it is one.

    ``after`` is where the photo after shows it, in pixels of that one; ``met`` tells whether both
    photos' finds hold it and its seats meet in the plane.
    """

    cx: float
    cy: float
    radius: float
    score: float
    after: tuple[float, float] = (0.0, 0.0)
    met: bool = False


def pair_fasteners(
    laid: Registration,
    before: Sequence[Fastener],
    after: Sequence[Fastener],
    size_before: tuple[int, int],
    size_after: tuple[int, int],
) -> list[Place]:
    """Find the nuts and bolt heads that both photos show.

    A nut that only one photo's finds hold counts if it is plain there. A place is the mean of what its own
    photo and, through the plane, the other one say, each by how surely. Radii are smoothed over the photo,
    since like nuts in one plane look alike in size but for perspective.

    Parameters
    ----------
    before, after : sequence of Fastener
        Finds, faint ones too.
    size_before, size_after : (int, int)
        Width and height of the full photos.
    """
    nuts = [[f for f in found if f.kind not in NOT_IN_PLACE] for found in (before, after)]
    back = laid.inverse()
    here, there = [_top(f) for f in nuts[0]], [_mapped(back, _top(f)) for f in nuts[1]]
    # Nuts stand on the plane that the photos are laid on each other by: their tops are further apart.
    seats_here, seats_there = [_seat(f) for f in nuts[0]], [_mapped(back, _seat(f)) for f in nuts[1]]
    shift = _common_shift(here, there, _nearest(seats_here, seats_there, FAR))
    there = [
        dataclasses.replace(p, cx=p.cx - shift[0] * p.radius, cy=p.cy - shift[1] * p.radius) for p in there
    ]
    pairs = _nearest(here, there, NEAR)
    paired_here, paired_there = {i for i, _ in pairs}, {j for _, j in pairs}
    owned: list[tuple[Place, Fastener | None]] = [
        (_mean(here[i], there[j], _apart(seats_here[i], seats_there[j]) < MEET), nuts[1][j])
        for i, j in pairs
        if here[i].score + there[j].score >= BOTH
    ]
    owned += [(p, None) for i, p in enumerate(here) if i not in paired_here and p.score >= ALONE]
    owned += [(p, nuts[1][j]) for j, p in enumerate(there) if j not in paired_there and p.score >= ALONE]
    places = [_placed_after(laid, p, shift, own) for p, own in owned]
    places = [
        p
        for p in places
        if _inside(p.cx, p.cy, MARGIN * p.radius, size_before) and _seen(laid, p, size_after)
    ]
    return [
        dataclasses.replace(p, radius=radius) for p, radius in zip(places, smooth_radii(places), strict=True)
    ]


def smooth_radii(places: Sequence[Place]) -> list[float]:
    """Fit log radius as a plane over the photo, robustly; nuts of another size keep their own radius."""
    if not places:
        return []
    log = np.log([p.radius for p in places])
    xy = np.array([(p.cx, p.cy) for p in places])
    spread = xy.std() + 1e-9
    terms = np.column_stack([np.ones(len(xy)), (xy - xy.mean(axis=0)) / spread])
    fitted = np.full(len(log), np.median(log))
    for _ in range(3):
        weight = np.array([p.score for p in places]) / (1 + ((log - fitted) / 0.15) ** 2)
        # The ridge keeps two or three nuts from bending the plane to their own errors.
        ridge = np.diag([1e-6, 1.0, 1.0])
        fitted = terms @ np.linalg.solve(terms.T * weight @ terms + ridge, terms.T @ (weight * log))
    alike = np.abs(log - fitted) < math.log(SAME_SIZE)
    return [float(r) for r in np.exp(np.where(alike, fitted, log))]


def _top(fastener: Fastener) -> Place:
    return Place(fastener.cx, fastener.cy, fastener.radius, fastener.score)


def _seat(fastener: Fastener) -> Place:
    x, y = fastener.seat or (fastener.cx, fastener.cy)
    return Place(x, y, fastener.radius, fastener.score)


def _mapped(laid: Registration, place: Place) -> Place:
    """Give a place in the other photo."""
    (x, y), _ = laid.to_after(place.cx, place.cy)
    return Place(float(x), float(y), place.radius * laid.zoom(place.cx, place.cy), place.score)


def _common_shift(
    here: Sequence[Place], there: Sequence[Place], pairs: Sequence[tuple[int, int]]
) -> tuple[float, float]:
    """Weighted median of the steps from one photo's tops to the other's, in nut radii."""
    if not pairs:
        return 0.0, 0.0
    weight = np.array([here[i].score * there[j].score for i, j in pairs])
    steps = np.array(
        [
            ((there[j].cx - here[i].cx) / here[i].radius, (there[j].cy - here[i].cy) / here[i].radius)
            for i, j in pairs
        ]
    )
    x, y = (_weighted_median(steps[:, k], weight) for k in (0, 1))
    return x, y


def _weighted_median(values: Floats, weight: Floats) -> float:
    order = np.argsort(values)
    total = np.cumsum(weight[order])
    return float(values[order][np.searchsorted(total, total[-1] / 2)])


def _nearest(here: Sequence[Place], there: Sequence[Place], limit: float) -> list[tuple[int, int]]:
    """Pair places, the nearest first, each once."""
    apart = []
    for i, p in enumerate(here):
        for j, q in enumerate(there):
            distance = _apart(p, q)
            if distance < limit and 1 / MOST_SIZE_RATIO < p.radius / q.radius < MOST_SIZE_RATIO:
                apart.append((distance, i, j))
    pairs: dict[int, int] = {}
    for _, i, j in sorted(apart):
        if i not in pairs and j not in pairs.values():
            pairs[i] = j
    return list(pairs.items())


def _apart(p: Place, q: Place) -> float:
    """Give how far apart two places are, in radii of the larger."""
    return math.hypot(p.cx - q.cx, p.cy - q.cy) / max(p.radius, q.radius)


def _mean(p: Place, q: Place, met: bool) -> Place:
    """Put a find of the photo before and one of the photo after, mapped back, together."""
    size = p.score / (p.score + q.score)
    place = _trust(p.score, q.score)
    return Place(
        place * p.cx + (1 - place) * q.cx,
        place * p.cy + (1 - place) * q.cy,
        p.radius**size * q.radius ** (1 - size),
        p.score + q.score,
        met=met,
    )


def _placed_after(
    laid: Registration, place: Place, shift: tuple[float, float], own: Fastener | None
) -> Place:
    """Say where the photo after shows a nut: as found there, and as the plane maps it."""
    there, _ = laid.to_after(place.cx + shift[0] * place.radius, place.cy + shift[1] * place.radius)
    if own is not None:
        share = _trust(own.score, place.score)
        there = share * np.array([own.cx, own.cy]) + (1 - share) * there
    return dataclasses.replace(place, after=(float(there[0]), float(there[1])))


def _trust(own: float, other: float) -> float:
    """Share of a place's own photo in it, by the scores of its find there and of that in the other photo."""
    doubt, doubt_across = (OWN / own) ** 2, (OWN / other) ** 2 + ACROSS**2
    return doubt_across / (doubt + doubt_across)


def _seen(laid: Registration, place: Place, size: tuple[int, int]) -> bool:
    return _inside(*place.after, MARGIN * place.radius * laid.zoom(place.cx, place.cy), size)


def _inside(x: float, y: float, margin: float, size: tuple[int, int]) -> bool:
    return margin <= x <= size[0] - 1 - margin and margin <= y <= size[1] - 1 - margin
