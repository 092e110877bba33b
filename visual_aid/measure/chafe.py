"""Chafed rubber: where something rubbed, the surface is scratched and greyer than around it.

The box goes around the rubber surface to be judged, some sound rubber included.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from visual_aid.measure.measurement import Figure, Found, Limit, View
from visual_aid.measure.patch import cut
from visual_aid.measure.rubber import rubber_light
from visual_aid.measure.rust_grade import outlines

SIDE = 600
ROUGHER = 1.75
"""How many times the sound rubber's roughness a scuffed place has at least."""
SMALLEST = 0.004
"""Share of the box under which a scuffed place is not told from grit."""
EDGE, FAINTER = 3.0, 0.25
"""Pixels by which a scuffed place's edge may run wrongly, and share of it that may be scuffed or not. Own, no
source."""
UNSEEN = 0.008
"""Share of the rubber whose scuffs may be too faint or too small to be told: tuned on made pictures."""
LIMIT = Limit(
    "chafed_percent",
    1.0,
    "no chafed place over 1 % of the box",
    "no published limit: rubber is not to be chafed at all; 1 % is what a photo tells from grit",
)


def measure(views: Sequence[View]) -> Found:
    """Measure the scuffed share of a boxed rubber surface.

    Raises
    ------
    CannotMeasure
        The part is too light to be bare rubber, or too dark to show anything.
    """
    view = views[0]
    patch = cut(view, SIDE)
    mask = scuffed(rubber_light(patch, "scuffs"))
    share = float(mask.mean())
    grown = cv2.dilate(mask.astype(np.uint8), np.ones((3, 3), np.uint8)).mean() - share
    error = math.hypot(EDGE * float(grown), FAINTER * share, UNSEEN)
    figures = [Figure("chafed_percent", 100 * share, 100 * error)]
    reason = f"{100 * share:.1f} % of the boxed rubber is scuffed, give or take {100 * error:.1f}"
    if patch.mm is not None:
        area = float(mask.sum()) * patch.mm**2 / 100
        figures.append(Figure("chafed_cm2", area, area * error / max(share, 1e-6)))
        reason += f": {area:.1f} cm²"
    if not mask.any():
        reason = "no scuffed place stands out from the rubber around it"
    return Found(reason, tuple(figures), outlines(mask, patch, "scuffed"), LIMIT)


def scuffed(light: NDArray[np.float32]) -> NDArray[np.bool_]:
    """Mark scuffed rubber: rough, and not darker than the rubber around it.

    Roughness is the fine contrast of the light as a ratio, so that it is the same in shade and in the sun;
    sound rubber is what most of the box is like.

    Parameters
    ----------
    light : ndarray of shape (H, W)
        CIELAB D65 lightness.

    Returns
    -------
    ndarray of shape (H, W), bool
    """
    log = np.log(light + 3)
    fine = np.abs(cv2.GaussianBlur(log, (0, 0), 0.8) - cv2.GaussianBlur(log, (0, 0), 2.5))
    rough = cv2.GaussianBlur(fine, (0, 0), 5)
    level = cv2.GaussianBlur(log, (0, 0), 5)
    sound = float(np.percentile(rough, 35))
    usual = cv2.GaussianBlur(cv2.medianBlur(np.asarray(_small(level)), 5), (0, 0), 12)
    usual = cv2.resize(usual, level.shape[::-1], interpolation=cv2.INTER_LINEAR)
    mask = (rough > ROUGHER * sound) & (level > usual - 0.25)
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (9, 9))
    whole = cv2.morphologyEx(mask.astype(np.uint8), cv2.MORPH_OPEN, kernel)
    whole = cv2.morphologyEx(whole, cv2.MORPH_CLOSE, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (15, 15)))
    count, labels, stats, _ = cv2.connectedComponentsWithStats(whole, connectivity=8)
    large = stats[:, cv2.CC_STAT_AREA] >= SMALLEST * mask.size
    large[0] = False
    kept: NDArray[np.bool_] = large[labels]
    return kept if count > 1 else np.zeros(mask.shape, bool)


def _small(picture: NDArray[Any]) -> NDArray[Any]:
    return np.asarray(cv2.resize(picture, None, fx=0.25, fy=0.25, interpolation=cv2.INTER_AREA), np.float32)
