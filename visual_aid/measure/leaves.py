"""A leaf pack taken apart: which rows of the boxed part are leaves, which the gaps between them."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from visual_aid.colour import srgb_to_lab
from visual_aid.measure.measurement import CannotMeasure
from visual_aid.measure.patch import Patch
from visual_aid.measure.scale import Floats

MOST_LEAN = 15.0
"""Degrees by which the leaves may lean in the box."""
MOST_DRAWN = 0.16
"""Share of a pack's height by which perspective makes it higher at an end of the box than in its middle: a
phone half a metre off a pack of 30 cm, turned by 35 degrees."""
LEAST_GAP = 0.12
"""Darkness of a gap, as a logarithm of lightness, below the leaves around it."""
LEAST_BOXED = 0.9
"""Share of a leaf's rows that lies in the box."""
LEAST_OUTER, MOST_OUTER = 0.6, 2.6
"""Height, as a share of the usual leaf's, that one at the pack's edge has: the box may cut it, and a strip of
what lies behind is none."""

Light = NDArray[Any]


@dataclass(frozen=True, eq=False, slots=True)
class Pack:
    """A leaf pack turned so that its leaves lie level.

    Attributes
    ----------
    log : ndarray of shape (h, w)
        Logarithm of the lightness, turned level.
    lab : ndarray of shape (h, w, 3)
        CIELAB, turned level.
    bands : tuple of (int, int)
        First and last row but one of each leaf, from above.
    to_patch : ndarray of shape (2, 3)
        From the level picture back to the patch, once ``drawn`` is undone.
    drawn : float
        Share by which the pack is higher at the right end of the patch than in its middle, by perspective.
    """

    log: Light
    lab: Light
    bands: tuple[tuple[int, int], ...]
    to_patch: Floats
    drawn: float

    def back(self, points: Floats) -> Floats:
        """Map points (N, 2) to the patch."""
        x, y = _drawn_back(points[:, 0], points[:, 1], self.log.shape, self.drawn)
        back: Floats = np.column_stack([x, y, np.ones(len(points))]) @ self.to_patch.T
        return back


def take_apart(patch: Patch) -> Pack:
    """Level a boxed leaf pack and split it into its leaves.

    Raises
    ------
    CannotMeasure
        Fewer than two leaves can be told apart.
    """
    lab = srgb_to_lab(patch.pixels)
    log = np.log(lab[..., 0] + 4)
    h, w = log.shape
    turn = cv2.getRotationMatrix2D(((w - 1) / 2, (h - 1) / 2), lean_of(log), 1.0)
    turned, turned_lab = (
        cv2.warpAffine(p, turn, (w, h), borderMode=cv2.BORDER_REPLICATE) for p in (log, lab)
    )
    drawn = drawn_of(turned)
    level, level_lab = _undrawn(turned, drawn), _undrawn(turned_lab, drawn)
    boxed = _undrawn(cv2.warpAffine(np.ones_like(log), turn, (w, h)), drawn)
    bands = _bands(level, boxed.mean(axis=1))
    if len(bands) < 2:
        raise CannotMeasure(
            "the leaves cannot be told apart: box the pack with its leaves lying level, and light the "
            "gaps from the side"
        )
    return Pack(level, level_lab, bands, np.asarray(cv2.invertAffineTransform(turn), float), drawn)


def lean_of(log: Light) -> float:
    """Give the degrees, anticlockwise as seen, that level a picture: where its rows differ most."""
    small = _small(log)
    h, w = small.shape

    def told(lean: float) -> float:
        turn = cv2.getRotationMatrix2D(((w - 1) / 2, (h - 1) / 2), lean, 1.0)
        return _told(cv2.warpAffine(small, turn, (w, h), borderMode=cv2.BORDER_REPLICATE))

    coarse = max(np.arange(-MOST_LEAN, MOST_LEAN + 0.5, 1.5), key=told)
    return float(max(coarse + np.arange(-1.5, 1.6, 0.3), key=told))


def drawn_of(log: Light) -> float:
    """Give the share by which a level pack is higher at the right end than in its middle, by perspective."""
    small = _small(log)

    def told(drawn: float) -> float:
        return _told(_undrawn(small, drawn))

    coarse = max(np.arange(-MOST_DRAWN, MOST_DRAWN + 0.01, 0.02), key=told)
    return float(max(coarse + np.arange(-0.015, 0.016, 0.005), key=told))


def _small(log: Light) -> Light:
    shrink = min(1.0, 240 / max(log.shape))
    return cv2.resize(log, None, fx=shrink, fy=shrink, interpolation=cv2.INTER_AREA)


def _told(level: Light) -> float:
    """Give how much the rows of a picture differ."""
    w = level.shape[1]
    rows = level[:, round(0.12 * w) : round(0.88 * w)].mean(axis=1)
    return float((np.diff(rows, 2) ** 2).sum())


def _undrawn(picture: Light, drawn: float) -> Light:
    """Make a pack as high at both ends as in its middle."""
    y, x = np.mgrid[0 : picture.shape[0], 0 : picture.shape[1]].astype(np.float32)
    x, y = _drawn_back(x, y, picture.shape, drawn)
    return cv2.remap(
        picture, x.astype(np.float32), y.astype(np.float32), cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    )


def _drawn_back(x: Light, y: Light, shape: tuple[int, ...], drawn: float) -> tuple[Light, Light]:
    """Say where points of the pack that is equally high throughout lay before."""
    middle, half = (shape[0] - 1) / 2, (shape[1] - 1) / 2
    return x, middle + (y - middle) * (1 + drawn * (x - half) / half)


def _bands(log: Light, boxed: Light) -> tuple[tuple[int, int], ...]:
    """Split the rows at the dark lines between leaves.

    ``boxed`` is the share of each row that lies in the box: a pack that leans in a tight box touches it at
    two corners, so that rows beyond its outer leaves are cut by the box and those of the leaves are not.
    """
    within = np.flatnonzero(boxed > LEAST_BOXED)
    if not len(within):
        return ()
    first = int(within[0])
    log = log[first : int(within[-1]) + 1]
    h, w = log.shape
    rows: Light = np.median(log[:, round(0.2 * w) : round(0.8 * w)], axis=1).astype(np.float32)
    rows = cv2.GaussianBlur(rows[:, None], (1, 1), 0, sigmaY=max(0.8, h / 300)).ravel()
    reach = max(3, h // 12) | 1
    closed = cv2.morphologyEx(rows[:, None], cv2.MORPH_CLOSE, np.ones((reach, 1), np.uint8)).ravel()
    depth = closed - rows
    # A leaf's lower edge turns away from the light: only the darker half of a dip is the gap.
    deepest = cv2.dilate(depth[:, None], np.ones((reach, 1), np.uint8)).ravel()
    dark = (depth > LEAST_GAP) & (depth > 0.5 * deepest)
    edges = np.flatnonzero(np.diff(np.concatenate([[1], dark.astype(int), [1]])))
    bands = [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]
    bands = [(a, b) for a, b in bands if b - a >= 4]
    if not bands:
        return ()
    # Leaves of a pack are alike: where an outer one has no edge of its own, its neighbours say where it ends.
    inner = [b - a for a, b in bands if a > 0 and b < h]
    if inner:
        high = round(float(np.median(inner)))
        bands = [(max(a, b - high) if a == 0 else a, min(b, a + high) if b == h else b) for a, b in bands]
    usual = float(np.median([b - a for a, b in bands]))
    # Only a strip above or below the pack is left out: within it, that would make a gap of a leaf.
    outer = (bands[0], bands[-1])
    return tuple(
        (a + first, b + first)
        for a, b in bands
        if (a, b) not in outer or LEAST_OUTER * usual <= b - a <= MOST_OUTER * usual
    )


def gap_rows(bands: Sequence[tuple[int, int]]) -> list[tuple[int, int]]:
    """Give the rows between neighbouring leaves: first and last but one."""
    return [(above[1], below[0]) for above, below in itertools.pairwise(bands)]
