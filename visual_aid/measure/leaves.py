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
LEAST_GAP = 0.12
"""Darkness of a gap, as a logarithm of lightness, below the leaves around it."""
LEAST_BAND = 0.35
"""A leaf's height, as a share of the pack's usual one."""

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
        From the level picture back to the patch.
    """

    log: Light
    lab: Light
    bands: tuple[tuple[int, int], ...]
    to_patch: Floats

    def back(self, points: Floats) -> Floats:
        """Map points (N, 2) to the patch."""
        back: Floats = np.column_stack([points, np.ones(len(points))]) @ self.to_patch.T
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
    lean = lean_of(log)
    h, w = log.shape
    turn = cv2.getRotationMatrix2D(((w - 1) / 2, (h - 1) / 2), lean, 1.0)
    level, level_lab = (cv2.warpAffine(p, turn, (w, h), borderMode=cv2.BORDER_REPLICATE) for p in (log, lab))
    bands = _bands(level)
    if len(bands) < 2:
        raise CannotMeasure(
            "the leaves cannot be told apart: box the pack with its leaves lying level, and light the "
            "gaps from the side"
        )
    return Pack(level, level_lab, bands, np.asarray(cv2.invertAffineTransform(turn), float))


def lean_of(log: Light) -> float:
    """Give the degrees, anticlockwise as seen, that level a picture: where its rows differ most."""
    shrink = min(1.0, 240 / max(log.shape))
    small = cv2.resize(log, None, fx=shrink, fy=shrink, interpolation=cv2.INTER_AREA)
    h, w = small.shape
    inner = slice(round(0.12 * w), round(0.88 * w))

    def told(lean: float) -> float:
        turn = cv2.getRotationMatrix2D(((w - 1) / 2, (h - 1) / 2), lean, 1.0)
        rows = cv2.warpAffine(small, turn, (w, h), borderMode=cv2.BORDER_REPLICATE)[:, inner].mean(axis=1)
        return float((np.diff(rows, 2) ** 2).sum())

    coarse = max(np.arange(-MOST_LEAN, MOST_LEAN + 0.5, 1.5), key=told)
    return float(max(coarse + np.arange(-1.5, 1.6, 0.3), key=told))


def _bands(log: Light) -> tuple[tuple[int, int], ...]:
    """Split the rows at the dark lines between leaves."""
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
    usual = float(np.median([b - a for a, b in bands]))
    return tuple((a, b) for a, b in bands if LEAST_BAND * usual <= b - a <= 2.6 * usual)


def gap_rows(bands: Sequence[tuple[int, int]]) -> list[tuple[int, int]]:
    """Give the rows between neighbouring leaves: first and last but one."""
    return [(above[1], below[0]) for above, below in itertools.pairwise(bands)]
