"""Searches one image for fasteners: proposals, boosted trees twice, and what the finds say of each other."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from visual_aid.fasteners.channels import ANY_SIZE, Floats, Radii
from visual_aid.fasteners.context import context
from visual_aid.fasteners.patches import Octaves, features, hexagon_features
from visual_aid.fasteners.propose import OVERLAP_CENTRE, OVERLAP_RATIO, best_distinct, moved, peaks
from visual_aid.fasteners.weights import Weights
from visual_aid.model import KINDS, NOT_IN_PLACE, Kind

MIN_SCORE = 0.25
"""Finds scored lower are left out. A calibrated score is best cut at half the F1 that is reached (Lipton,
Elkan and Naryanaswamy 2014): 0.3 to 0.47 for the 0.6 to 0.95 of photos held out of the training."""
PROPOSALS = 100
LOOKED_AT = 3
"""Peaks that are moved, per proposal kept: the rest overlap better ones."""
ASKED_FIRST, PROMISING = 40, 600
"""Trees that are asked of every peak, and peaks that all trees are asked of. On 84 real and made photos
the 60 best of all peaks are always among these, and of the 300 best 995 in 1000."""
KEPT = 45
"""With 180 proposals of which 80 are kept F1 is 0.58 instead of 0.63 on 28 real photos held out, and 0.83
instead of 0.82 on the samples."""
SAME_PLACE = 0.75
"""Nearer than this (in radii of the larger) two finds are one fastener: a nut and its own washer, say."""


Circle = tuple[float, float, float]
"""Centre x, y and radius."""
Fitting = Callable[[Floats], NDArray[np.bool_]]


@dataclass(frozen=True, slots=True)
class Find:
    """A circle in pixels of the image with what is made of it.

    ``score`` is how surely it shows its kind, ``searched`` what the search alone said of that.
    """

    x: float
    y: float
    radius: float
    kind: Kind
    score: float
    searched: float

    @property
    def circle(self) -> Circle:
        """Its circle alone."""
        return self.x, self.y, self.radius


def circles_of(finds: Sequence[Find]) -> Floats:
    """Give the circles of finds, shape (N, 3)."""
    return np.array([find.circle for find in finds], np.float32).reshape(-1, 3)


def search(octaves: Octaves, weights: Weights, radii: Radii = ANY_SIZE) -> list[Find]:
    """Find circles of such radii in the octaves of a CIELAB working image, best first."""
    circles, sums = peaks(octaves.light[0], weights.template, radii)
    return judged(octaves, proposals(circles, sums, weights), weights) if len(circles) else []


def proposals(
    circles: Floats, sums: Floats, weights: Weights, most: int = PROPOSALS, fit: Fitting | None = None
) -> Floats:
    """Move peaks (from ``propose.peaks``) onto what they show and keep those worth a closer look.

    Parameters
    ----------
    circles, sums : ndarray
        The peaks.
    most : int
        How many are kept.
    fit : callable, optional
        Tells which of the moved circles are wanted, from shape (N, 3) to bools of shape (N,).

    Returns
    -------
    ndarray of float32, shape (M, 3)
    """
    odds = weights.coarse.of_best(sums, ASKED_FIRST, PROMISING)
    likely = np.argsort(-odds, kind="stable")[: LOOKED_AT * most]
    circles, odds = moved(circles[likely], sums[likely], weights.coarse_shift), odds[likely]
    if fit is not None:
        wanted = fit(circles)
        circles, odds = circles[wanted], odds[wanted]
    return circles[best_distinct(circles, odds, most, OVERLAP_CENTRE, OVERLAP_RATIO)]


def settled(circles: Floats, seen: Floats, weights: Weights) -> Floats:
    """Move proposals onto what their patches show and keep the best, (N, 3)."""
    odds = weights.fine(seen)
    circles = moved(circles, seen, weights.shift)
    return circles[best_distinct(circles, odds, KEPT, OVERLAP_CENTRE, OVERLAP_RATIO)]


def judged(octaves: Octaves, circles: Floats, weights: Weights) -> list[Find]:
    """Settle proposed circles, say what each is and how surely, best first."""
    circles = settled(circles, features(octaves, circles), weights)
    seen = features(octaves, circles)
    in_place = weights.final(np.concatenate([seen, hexagon_features(octaves, circles)], axis=1))
    circles = moved(circles, seen, weights.shift)
    nuts = len(KINDS) - len(NOT_IN_PLACE)
    picked = apart(circles, in_place)
    in_place[picked] = weights.context(context(circles[picked], in_place[picked]))
    kinds = np.stack([trees(seen[picked]) for trees in weights.kinds], axis=1)
    odds = np.concatenate([in_place[picked, None], kinds[:, nuts:]], axis=1)
    best = odds.argmax(axis=1)
    kind = np.where(best == 0, kinds[:, :nuts].argmax(axis=1), best + nuts - 1)
    score = 1 / (1 + np.exp(-odds.max(axis=1)))
    return [
        Find(float(x), float(y), float(r), KINDS[kind[i]], float(score[i]), float(score[i]))
        for i in np.argsort(-score, kind="stable")
        for x, y, r in [circles[picked[i]]]
    ]


def same_place(one: Circle, other: Circle) -> bool:
    """Whether two circles stand on the same thing, whatever their sizes."""
    return math.dist(one[:2], other[:2]) < SAME_PLACE * max(one[2], other[2])


def apart(circles: Floats, odds: Floats) -> list[int]:
    """Pick the indices of the best circles that stand on different things, best first."""
    return best_distinct(circles, odds, len(circles), SAME_PLACE, np.inf)
