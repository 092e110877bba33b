"""Finds the fasteners of a photo: proposals, two passes of boosted trees, then pose and groups."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from visual_aid.fasteners.groups import group_fasteners
from visual_aid.fasteners.patches import features, lab_octaves
from visual_aid.fasteners.pose import hex_angle
from visual_aid.fasteners.propose import distinct, propose
from visual_aid.fasteners.trees import Trees
from visual_aid.fasteners.weights import Weights, load
from visual_aid.model import KINDS, Fastener, Kind
from visual_aid.photo import Photo

PROPOSALS = 500
KEPT = 100
SHIFT_BOUND = 0.6
RATIO_BOUND = 0.5
MIN_SCORE = 0.4
"""Score above which a find is worth more than it costs (best F1 on photos held out of the training)."""

SAME_PLACE = 0.75
"""Nearer than this (in radii of the larger) two finds are one fastener: a nut and its own washer, say."""

NOT_IN_PLACE = ("bare_stud", "empty_hole")
TAP_SPREAD = (0.0, -0.35, 0.35)
TAP_RADII = (0.7, 0.85, 1.0, 1.2, 1.45)
TAP_RADIUS = 30.0
"""Working-scale radius around which a tap without a radius looks."""

Floats = NDArray[np.float32]
Image = NDArray[np.uint8]


@dataclass(frozen=True, slots=True)
class Find:
    """A circle in working pixels with what the trees make of it."""

    x: float
    y: float
    radius: float
    kind: Kind
    score: float


def find_fasteners(photo: Photo, min_score: float = MIN_SCORE) -> tuple[Fastener, ...]:
    """Find the nuts, bolt heads, bare studs and empty holes of a photo.

    Parameters
    ----------
    photo : Photo
    min_score : float, 0 to 1
        Finds scored lower are left out.

    Returns
    -------
    tuple of Fastener
        In pixels of the full photo, best score first, ids from 1.
    """
    octaves = _lab_octaves(photo)
    finds = [f for f in search(octaves, load()) if f.score >= min_score]
    return group_fasteners([_fastener(photo, octaves, f, i) for i, f in enumerate(finds, 1)])


def fastener_at(photo: Photo, x: float, y: float, radius: float | None = None) -> Fastener | None:
    """Make a fastener of a place that a person pointed at.

    Parameters
    ----------
    x, y : float
        Full-photo pixels, anywhere on the fastener.
    radius : float, optional
        Rough radius in full-photo pixels; without it every size is tried.

    Returns
    -------
    Fastener or None
        With id 1 and the score that the finder gives it; None where the place lies outside the photo.
    """
    if not (0 <= x < photo.info.width and 0 <= y < photo.info.height):
        return None
    centre = photo.to_working(x), photo.to_working(y)
    sizes = (
        [radius / photo.scale * k for k in TAP_RADII]
        if radius is not None
        else [float(r) for r in TAP_RADIUS * 1.26 ** np.arange(-5, 7)]
    )
    circles = np.array(
        [
            (centre[0] + r * dx, centre[1] + r * dy, r)
            for r in sizes
            for dx in TAP_SPREAD
            for dy in TAP_SPREAD
        ],
        np.float32,
    )
    octaves = _lab_octaves(photo)
    weights = load()
    circles = refined(circles, features(octaves, circles), weights.shift)
    near = np.hypot(circles[:, 0] - centre[0], circles[:, 1] - centre[1]) < 1.2 * circles[:, 2]
    finds = judged(octaves, circles[near], weights)
    return _fastener(photo, octaves, finds[0], 1) if finds else None


def search(octaves: list[Image], weights: Weights) -> list[Find]:
    """Find circles in the octaves of a CIELAB working image, best first."""
    circles = propose(np.ascontiguousarray(octaves[0][..., 0]), weights.template, PROPOSALS)[:, :3]
    seen = features(octaves, circles)
    best = np.argsort(-weights.first(seen), kind="stable")[:KEPT]
    return judged(octaves, refined(circles[best], seen[best], weights.shift), weights)


def judged(octaves: list[Image], circles: Floats, weights: Weights) -> list[Find]:
    """Score circles, say what kind each is, move them once more and drop those on a better one."""
    seen = features(octaves, circles)
    in_place = weights.second(seen) * weights.calibration[0] + weights.calibration[1]
    kinds = np.stack([trees(seen) for trees in weights.kinds], axis=1)
    odds = np.concatenate([in_place[:, None], kinds[:, len(KINDS) - len(NOT_IN_PLACE) :]], axis=1)
    best = odds.argmax(axis=1)
    nut = kinds[:, : len(KINDS) - len(NOT_IN_PLACE)].argmax(axis=1)
    kind = np.where(best == 0, nut, best + len(KINDS) - len(NOT_IN_PLACE) - 1)
    score = 1 / (1 + np.exp(-odds.max(axis=1)))
    circles = refined(circles, seen, weights.shift)
    order = np.argsort(-score, kind="stable")
    picked = order[distinct(circles[order], SAME_PLACE, np.inf)]
    return [
        Find(x, y, radius, KINDS[kind[i]], float(score[i]))
        for i, (x, y, radius) in zip(picked, circles[picked].tolist(), strict=True)
    ]


def refined(circles: Floats, seen: Floats, shift: Sequence[Trees]) -> Floats:
    """Move circles to where the trees expect the fastener."""
    dx, dy, ratio = (trees(seen) for trees in shift)
    r = circles[:, 2]
    return np.stack(
        [
            circles[:, 0] + r * np.clip(dx, -SHIFT_BOUND, SHIFT_BOUND),
            circles[:, 1] + r * np.clip(dy, -SHIFT_BOUND, SHIFT_BOUND),
            r * np.exp(np.clip(ratio, -RATIO_BOUND, RATIO_BOUND)),
        ],
        axis=1,
    ).astype(np.float32)


def _lab_octaves(photo: Photo) -> list[Image]:
    return lab_octaves(np.asarray(cv2.cvtColor(photo.working, cv2.COLOR_RGB2Lab), np.uint8))


def _fastener(photo: Photo, octaves: list[Image], find: Find, number: int) -> Fastener:
    angle = None
    if find.kind not in NOT_IN_PLACE:
        angle, _ = hex_angle(octaves, find.x, find.y, find.radius, None, None)
    return Fastener(
        id=number,
        kind=find.kind,
        cx=photo.to_full(find.x),
        cy=photo.to_full(find.y),
        radius=find.radius * photo.scale,
        angle=angle,
        score=find.score,
    )
