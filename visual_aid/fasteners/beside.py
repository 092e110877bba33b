"""Searches again beside what was found: the nuts of a joint are of one size, and stand close together.

The search keeps a hundred places of all sizes, and texture of other sizes crowds out nuts whose look is
unusual. Where nuts are known, places of their size beside them are looked at once more.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from visual_aid.fasteners.channels import Floats, Radii
from visual_aid.fasteners.patches import Octaves
from visual_aid.fasteners.propose import peaks
from visual_aid.fasteners.search import (
    MIN_SCORE,
    SAME_PLACE,
    Find,
    circles_of,
    judged,
    proposals,
    same_place,
)
from visual_aid.fasteners.weights import Weights
from visual_aid.model import NOT_IN_PLACE

SURE = 0.5
"""Score from which a find tells what size is sought, where, and how it is seen."""
SIZES = 1.25
"""The search goes over radii up to this factor smaller and larger,"""
LIKE_SIZE = 1.35
"""and keeps what is within this one: perspective takes its share."""
REACH = 9.0
"""Furthest from a sure find, in its radii."""
PEAKS, PLACES = 200, 14
"""Peaks and places that are looked at. On 352 photos 300 and 20, over radii up to 1.5 times as large, bring
two more fasteners and two more things that are none, and take a quarter more time."""
LEAST_SCORE, LEAST_SEARCHED = 0.4, 0.3
"""Scores by both opinions, and by the search alone, from which a place is kept. When they were chosen, on 210
made pictures, these kept 20 fasteners and 4 things that are none; 0.25 and 0 kept 32 and 10."""


def search_beside(octaves: Octaves, weights: Weights, finds: Sequence[Find], radii: Radii) -> list[Find]:
    """Find nuts and bolt heads of about the size of the sure finds that stand on none of them, best first.

    Parameters
    ----------
    finds : sequence of Find
        With the scores of both opinions.
    radii : (float, float)
        Smallest and largest radius sought at all.
    """
    sure = _sure(finds)
    if not sure:
        return []
    size = _size(sure)
    within = max(radii[0], size / SIZES), min(radii[1], size * SIZES)
    known = [find for find in finds if find.score >= MIN_SCORE]
    circles, sums = peaks(octaves.light[0], weights.template, within, PEAKS)
    new = _beside(circles, known, sure)
    if not new.any():
        return []
    places = proposals(circles[new], sums[new], weights, PLACES, lambda moved: _beside(moved, known, sure))
    # Known ones are judged along with them: what is seen beside a place tells what it is.
    found = judged(octaves, np.concatenate([places, circles_of(known)]), weights)
    return [
        find
        for find in found
        if find.kind not in NOT_IN_PLACE
        and find.searched >= LEAST_SEARCHED
        and not any(same_place(find.circle, other.circle) for other in known)
    ]


def worth_keeping(found: Sequence[Find], finds: Sequence[Find]) -> list[Find]:
    """Keep what is like those known by the scores of both opinions, once looked at more closely."""
    sure, known = _sure(finds), [find for find in finds if find.score >= MIN_SCORE]
    size = _size(sure)
    return [
        find
        for find in found
        if find.score >= LEAST_SCORE
        and max(find.radius / size, size / find.radius) < LIKE_SIZE
        and _beside(circles_of([find]), known, sure).all()
    ]


def _sure(finds: Sequence[Find]) -> list[Find]:
    return [find for find in finds if find.score >= SURE and find.kind not in NOT_IN_PLACE]


def _size(sure: Sequence[Find]) -> float:
    return float(np.median([find.radius for find in sure]))


def _beside(circles: Floats, known: Sequence[Find], sure: Sequence[Find]) -> NDArray[np.bool_]:
    """Tell which circles stand on none that is known and in reach of a sure one, shape (N,)."""
    size, taken = _size(sure), circles_of(known)
    larger = np.maximum(circles[:, 2:], taken[:, 2])
    free = (_distances(circles, taken) >= SAME_PLACE * larger).all(axis=1)
    near = _distances(circles, circles_of(sure)).min(axis=1) < REACH * size
    beside: NDArray[np.bool_] = free & near
    return beside


def _distances(circles: Floats, others: Floats) -> Floats:
    away: Floats = np.hypot(circles[:, None, 0] - others[:, 0], circles[:, None, 1] - others[:, 1])
    return away
