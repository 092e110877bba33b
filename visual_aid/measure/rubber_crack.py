"""Cracks in rubber: dark, narrow and long; how long, how wide, how dense, and which way they run.

The box goes around the rubber of a bushing or a wall of an air spring. Directions are told from the box's
middle: radial cracks of a bushing run from the sleeve to the eye, circumferential ones around it.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from skimage.filters import apply_hysteresis_threshold, sato
from skimage.morphology import skeletonize

from visual_aid.measure.measurement import CannotMeasure, Figure, Found, Limit, Mark, View
from visual_aid.measure.patch import cut
from visual_aid.measure.rubber import rubber_light
from visual_aid.measure.scale import Floats

SIDE = 560
SIGMAS = (1.0, 1.7, 2.8)
"""Widths, as standard deviations in pixels of the patch, of the ridges that are looked for."""
STRONG, WEAK = 9.0, 4.5
"""How many times the usual response a crack has somewhere, and all along."""
LEAST_LENGTH = 0.05
"""Share of the box's longer side under which a dark line is grain. Own, no source."""
LEAST_SLENDER = 4.0
"""How many times its width a crack is long at least: pits and grit are rounder. Own, no source."""
MOST_ENLARGED = 1.9
"""Enlargement of the patch, which reaches 2 at most, from which fine cracks are not seen. Own, no source."""
STRAIGHT, DIAGONAL = 0.95, 1.36
"""Length in pixels of a skeleton's steps: as a staircase a slanted line would be too long. Own, near the
factors of Kulpa, Computer Graphics and Image Processing 6 (1977), 0.948 and 1.343, from memory."""
MISSED, UNSEEN = 0.12, 0.3
"""Share of the density by which it may be wrong, and density of cracks that may not be told from grain. Own,
no source."""
UNFOLLOWED, UNTOLD_END = 0.25, 0.02
"""Share of the longest crack by which its length may be wrong: where it grows fine it is lost, and where two
cross they are taken for one; and share of the box's longer side, for its ends. Tuned on made pictures, the
second own, no source."""
UNSURE_WIDTH = 0.35
"""Share of a crack's width by which it may be wrong. Own, no source, and not laid beside any truth."""
RADIAL, AROUND = 0.6, 0.4
"""Radial share over which cracks are said to run radially, and under which around: words alone. Own, no
source."""
LIMIT = Limit(
    "longest_share",
    0.10,
    "no crack over a tenth of the box's longer side",
    "49 CFR 570.61(a) has bushings not cracked; the tenth is what a photo tells from grain and grit",
)


@dataclass(frozen=True, eq=False, slots=True)
class Crack:
    """One crack: its middle line (N, 2), a line around it, its length and mean width in pixels."""

    line: Floats
    around: Floats
    length: float
    width: float


def measure(views: Sequence[View]) -> Found:
    """Measure the cracks of a boxed rubber surface.

    Raises
    ------
    CannotMeasure
        The part is too light to be bare rubber, too dark, or seen too coarsely.
    """
    view = views[0]
    patch = cut(view, SIDE)
    light = rubber_light(patch, "cracks")
    if patch.finer > MOST_ENLARGED:
        raise CannotMeasure("the rubber is seen too small for cracks: go nearer and take it again")
    cracks = find_cracks(light)
    h, w = light.shape
    total = sum(c.length for c in cracks)
    density = total * max(h, w) / (h * w)
    longest = max((c.length for c in cracks), default=0.0) / max(h, w)
    error = math.hypot(MISSED * density, UNSEEN)
    figures = [
        Figure("density_ratio", density, error),
        Figure("longest_share", longest, math.hypot(UNFOLLOWED * longest, UNTOLD_END)),
        Figure("cracks", float(len(cracks))),
    ]
    if not cracks:
        return Found("no crack stands out from the rubber's grain", tuple(figures), (), LIMIT)
    width = float(np.average([c.width for c in cracks], weights=[c.length for c in cracks]))
    radial = _radial(cracks, ((w - 1) / 2, (h - 1) / 2))
    figures.append(Figure("radial_share", radial))
    several = f"{len(cracks)} cracks" if len(cracks) > 1 else "one crack"
    reason = (
        f"{several}, the longest {100 * longest:.0f} % of the box's longer side, {density:.1f} sides "
        f"long together"
    )
    if patch.mm is not None and view.scale is not None:
        figures += [
            Figure("length_mm", total * patch.mm, error / max(density, 1e-6) * total * patch.mm),
            Figure("longest_mm", longest * max(h, w) * patch.mm, UNFOLLOWED * longest * max(h, w) * patch.mm),
            Figure("width_mm", width * patch.mm, UNSURE_WIDTH * width * patch.mm),
        ]
        reason += f"; {total * patch.mm:.0f} mm in all, about {width * patch.mm:.1f} mm wide"
    way = "radially" if radial > RADIAL else "around" if radial < AROUND else "radially and around"
    run = "they run" if len(cracks) > 1 else "it runs"
    reason += f"; {run} {way}, as seen from the box's middle ({100 * radial:.0f} % radial)"
    marks = tuple(Mark("crack", patch.outline(c.around)) for c in cracks)
    return Found(reason, tuple(figures), marks, LIMIT)


def find_cracks(light: NDArray[np.float32]) -> list[Crack]:
    """Find cracks by their ridges.

    Parameters
    ----------
    light : ndarray of shape (h, w)
        CIELAB lightness.

    References
    ----------
    Sato et al., Medical Image Analysis 2 (1998), for the ridges; hysteresis after Canny. From memory.
    """
    log = np.log(light + 4)
    even = log - cv2.GaussianBlur(log, (0, 0), 12)
    ridge = np.asarray(sato(even, sigmas=SIGMAS, black_ridges=True, mode="reflect"), np.float32)
    usual = max(float(np.median(ridge[ridge > 0])) if (ridge > 0).any() else 0.0, 1e-4)
    mask = apply_hysteresis_threshold(ridge, WEAK * usual, STRONG * usual)
    # A crack is darker than both its sides, not the dark side of an edge.
    mask &= even < 0
    skeleton = skeletonize(mask)
    reach = cv2.distanceTransform(mask.astype(np.uint8), cv2.DIST_L2, 3)
    count, labels = cv2.connectedComponents(skeleton.astype(np.uint8), connectivity=8)
    cracks = []
    rows, columns = np.nonzero(skeleton)
    which = labels[rows, columns]
    order = np.argsort(which, kind="stable")
    bounds = np.searchsorted(which[order], np.arange(1, count + 1))
    for start, end in itertools.pairwise(bounds):
        at = order[start:end]
        line = np.column_stack([columns[at], rows[at]]).astype(float)
        length = _length(skeleton, rows[at], columns[at])
        width = max(2 * float(np.mean(reach[rows[at], columns[at]])) - 1, 1.0)
        if length >= LEAST_LENGTH * max(light.shape) and length >= LEAST_SLENDER * width:
            cracks.append(Crack(line, _around(line, width), length, width))
    return cracks


def _around(line: Floats, width: float) -> Floats:
    """Give an outline about the pixels of a line, a little off it so that the line itself stays seen."""
    corner = line.min(axis=0) - 8
    rows, columns = np.ptp(line, axis=0).astype(int)[::-1] + 17
    drawn = np.zeros((rows, columns), np.uint8)
    at = (line - corner).astype(int)
    drawn[at[:, 1], at[:, 0]] = 1
    size = 2 * min(7, round(width / 2) + 3) + 1
    grown = cv2.dilate(drawn, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size, size)))
    outlines, _ = cv2.findContours(grown, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)
    largest = max(outlines, key=cv2.contourArea)
    around: Floats = cv2.approxPolyDP(largest, 1.0, True)[:, 0].astype(float) + corner
    return around


def _length(skeleton: NDArray[np.bool_], rows: NDArray[np.int64], columns: NDArray[np.int64]) -> float:
    """Give the length of a part of a skeleton: its steps, diagonal ones as such."""
    padded = np.pad(skeleton, 1)
    r, c = rows + 1, columns + 1
    straight = padded[r, c + 1].sum() + padded[r + 1, c].sum()
    # A diagonal step beside two straight ones is the inside of a corner.
    down = padded[r + 1, c + 1] & ~padded[r, c + 1] & ~padded[r + 1, c]
    up = padded[r - 1, c + 1] & ~padded[r, c + 1] & ~padded[r - 1, c]
    return float(STRAIGHT * straight + DIAGONAL * (down.sum() + up.sum()))


def _radial(cracks: Sequence[Crack], middle: tuple[float, float]) -> float:
    """Give the share of the cracks' length that runs within 45 degrees of the direction to the middle."""
    along = total = 0.0
    for crack in cracks:
        tree = crack.line
        # Direction of each piece from its neighbourhood: the longer axis of the points within 8 pixels.
        for x, y in tree[::4]:
            near = tree[np.hypot(tree[:, 0] - x, tree[:, 1] - y) < 8]
            if len(near) < 4:
                continue
            (xx, xy), (_, yy) = np.cov(near.T)
            bearing = 0.5 * math.atan2(2 * xy, xx - yy)
            outward = math.atan2(y - middle[1], x - middle[0])
            along += abs(math.cos(bearing - outward)) > math.sqrt(0.5)
            total += 1
    return along / total if total else 0.5
