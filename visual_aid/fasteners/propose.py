"""Places worth a closer look: one linear template over the cells of every level."""

from __future__ import annotations

import cv2
import numpy as np

from visual_aid.fasteners.channels import Floats, Image, Level, pyramid

PER_LEVEL = 1500
OVERLAP_CENTRE = 0.35
OVERLAP_RATIO = 1.2


def response(level: Level, template: Floats) -> Floats:
    """Correlate a level with the template: shape (H, W).

    Parameters
    ----------
    template : ndarray of float32, shape (CHANNELS, 2 * REACH + 1, 2 * REACH + 1)
    """
    total = np.zeros(level.cells.shape[1:], np.float32)
    for channel, weights in zip(level.cells, template, strict=True):
        total += cv2.filter2D(channel, cv2.CV_32F, weights, borderType=cv2.BORDER_REFLECT_101)
    return total


def propose(lightness: Image, template: Floats, most: int) -> Floats:
    """List the circles that the template likes best.

    Parameters
    ----------
    lightness : ndarray of uint8, shape (H, W)
        CIELAB lightness of the working image.
    most : int
        How many to list at most.

    Returns
    -------
    ndarray of float32, shape (N, 4)
        Centre x, y, radius in working pixels and response, strongest first.
    """
    found = []
    for level in pyramid(lightness):
        strength = response(level, template)
        rows, columns = np.nonzero(strength >= cv2.dilate(strength, np.ones((3, 3), np.uint8)))
        peaks = strength[rows, columns]
        if len(peaks) > PER_LEVEL:
            best = np.argpartition(-peaks, PER_LEVEL)[:PER_LEVEL]
            rows, columns, peaks = rows[best], columns[best], peaks[best]
        x, y = (columns + 0.5) * level.pitch[0] - 0.5, (rows + 0.5) * level.pitch[1] - 0.5
        found.append(np.stack([x, y, np.full(len(x), level.radius), peaks], axis=1))
    if not found:
        return np.zeros((0, 4), np.float32)
    circles = np.concatenate(found).astype(np.float32)
    circles = circles[np.argsort(-circles[:, 3], kind="stable")][: 3 * most]
    return circles[distinct(circles, OVERLAP_CENTRE, OVERLAP_RATIO)][:most]


def distinct(circles: Floats, centre: float, ratio: float) -> list[int]:
    """Pick the circles that no earlier picked one resembles.

    Parameters
    ----------
    circles : ndarray, shape (N, >= 3)
        Centre x, y and radius, best first.
    centre : float
        Two circles resemble each other where their centres are nearer than this, in radii of the larger,
    ratio : float
        and their radii differ by less than this factor.
    """
    x, y, r = circles[:, 0], circles[:, 1], circles[:, 2]
    free = np.ones(len(circles), bool)
    picked = []
    for i in range(len(circles)):
        if not free[i]:
            continue
        picked.append(i)
        reach = centre * np.maximum(r, r[i])
        near = np.hypot(x - x[i], y - y[i]) < reach
        free &= ~(near & (np.maximum(r / r[i], r[i] / r) < ratio))
    return picked
