"""How much a place resembles labelled gaps.

Gradient histograms and lightness of the patch around a fastener, turned so that its seat lies below its
top, against those of labelled fasteners by kernel regression: many small signs together, where the cues
measure the few that have a name.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import cache
from importlib.resources import files

import numpy as np

from visual_aid.fasteners.patches import Image, Octaves, sample
from visual_aid.fasteners.refine import BINS, CELLS, PATCH_X, PATCH_Y, REACH, SIDE, gradient_histograms
from visual_aid.fasteners.regression import Regression
from visual_aid.model import Fastener
from visual_aid.photo import Photo

LOWER = 0.4
"""The patch reaches further to the seat than to the other side: its middle lies this many radii lower."""
LEAST_LEAN = 0.05
"""Lean in radii below which a fastener has no side to turn to, and the patch stays upright."""
STEEPEST = 8.0
"""Lightness that fills the range of a cell, in standard deviations of the patch's lightness."""


def patches(octaves: Octaves, photo: Photo, fasteners: Sequence[Fastener]) -> Image:
    """Describe the patch around every fastener.

    Parameters
    ----------
    octaves : Octaves
        Of the working image.

    Returns
    -------
    ndarray of uint8, shape (N, F)
        Gradient histograms, then mean lightness of cells against the patch's own, 127.5 for none.
    """
    rows = []
    for fastener in fasteners:
        aside, down = _turned(fastener)
        lower = PATCH_Y + LOWER
        x, y = PATCH_X * down + lower * aside, lower * down - PATCH_X * aside
        circle = [photo.to_working(fastener.cx), photo.to_working(fastener.cy), fastener.radius / photo.scale]
        around = np.array([circle], np.float32)
        rows.append(sample(octaves.light, around, x, y, SIDE / (2 * REACH))[0])
    if not rows:
        return np.zeros((0, (BINS + 1) * CELLS * CELLS), np.uint8)
    light = np.stack(rows)
    cell = SIDE // CELLS
    cells = light.reshape(-1, CELLS, cell, CELLS, cell).mean(axis=(2, 4)).reshape(len(rows), -1)
    cells = (cells - cells.mean(axis=1, keepdims=True)) / (light.std(axis=(1, 2))[:, None] + 5.0)
    both = np.concatenate([gradient_histograms(light), 0.5 + cells / STEEPEST], axis=1)
    described: Image = np.round(255 * np.clip(both, 0, 1)).astype(np.uint8)
    return described


def _turned(fastener: Fastener) -> tuple[float, float]:
    """Give the unit vector from top to seat in the photo, straight down where the view is head on."""
    if fastener.seat is None:
        return 0.0, 1.0
    x, y = fastener.seat[0] - fastener.cx, fastener.seat[1] - fastener.cy
    length = math.hypot(x, y)
    return (x / length, y / length) if length > LEAST_LEAN * fastener.radius else (0.0, 1.0)


@cache
def learned() -> Regression:
    """Read what the package knows: readings are about 0 for nuts as they should be, about 1 for gaps."""
    return Regression.load(files("visual_aid.evidence") / "resemblance.npz")
