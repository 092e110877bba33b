"""Places worth a closer look: a linear template over every level, then boosted trees on ring sums.

Ring sums are what a nut keeps whatever way it is turned: means over rings of a window, and the size of their
first angular harmonics.
"""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from visual_aid.fasteners.channels import (
    ANY_SIZE,
    CELLS_PER_RADIUS,
    REACH,
    Floats,
    Image,
    Level,
    Radii,
    pyramid,
    windows,
)
from visual_aid.fasteners.trees import Trees

PEAKS = 1500
"""Peaks of the template's response that the trees look at."""
OVERLAP_CENTRE = 0.35
OVERLAP_RATIO = 1.2
SHIFT_BOUND = 0.6
RATIO_BOUND = 0.5

_RINGS = (0.0, 0.4, 0.75, 1.05, 1.35, 1.7, 2.1)
_HARMONICS = (1, 2, 3, 4)


def _basis() -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Give the ring sums as columns: plain ones, and real and imaginary parts of the angular harmonics."""
    line = (np.arange(2 * REACH + 1) - REACH) / CELLS_PER_RADIUS
    x, y = np.meshgrid(line, line)
    radius, bearing = np.hypot(x, y), np.arctan2(y, x)
    c2, s2, none = np.cos(2 * bearing), np.sin(2 * bearing), np.zeros_like(x)
    plain, waves = [], []
    bounds = (-0.4, *_RINGS, 2.5)
    for inner, middle, outer in zip(bounds, _RINGS, bounds[2:], strict=False):
        rise, fall = (radius - inner) / (middle - inner), (outer - radius) / (outer - middle)
        ring = np.clip(np.minimum(rise, fall), 0, 1)
        ring /= ring.sum()
        fields = [
            (ring, none, none, none),
            (none, ring * c2, ring * s2, none),
            (none, none, none, ring),
        ]
        plain += [np.stack(f) for f in (*fields, (none, -ring * s2, ring * c2, none))]
        if middle > 0:
            waves += [np.stack(f) * np.exp(1j * k * bearing) for k in _HARMONICS for f in fields]
            waves.append(np.stack([none, ring + 0j, 1j * ring, none]))
    real = np.array(plain).reshape(len(plain), -1).T
    wave = np.array(waves).reshape(len(waves), -1).T
    return real, np.concatenate([wave.real, wave.imag], axis=1)


_CELL_STEP, _BASIS_STEP = 2.0**-18, 2.0**-26
"""Ring sums are sums of whole multiples of these. Cells are under 2 ** 8 and the basis adds up to under 2 for
a column, so that every sum stays under 2 ** 53: exact in whatever order any number of threads adds it up."""

_PLAIN, _WAVES = _basis()
_PLAIN_COUNT, _WAVE_COUNT = _PLAIN.shape[1], _WAVES.shape[1] // 2
_BASIS = np.rint(np.concatenate([_PLAIN, _WAVES], axis=1) / _BASIS_STEP)
_AREA = (2 * REACH + 1) ** 2
_SPANS = [
    (span, columns, _BASIS[span][:, columns])
    for span in (slice(_AREA), slice(_AREA, 3 * _AREA), slice(3 * _AREA, None))
    for columns in [np.flatnonzero(_BASIS[span].any(axis=0))]
]
"""The rows of edge strength, of edge directions and of lightness, and the columns that look at each."""
_PER_RING = 3 * len(_HARMONICS) + 1
_DIRECTED = np.isin(np.arange(_WAVE_COUNT) % _PER_RING, (0, 1, 2, 3, 4, 5, _PER_RING - 1))
"""First and second harmonics and the mean edge direction: what tells which way the circle is off."""


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


def ring_sums(cut: Floats) -> Floats:
    """Sum windows (from ``channels.windows``) over rings: shape (N, ring sums)."""
    whole = np.multiply(cut, 1 / _CELL_STEP, dtype=np.float64)
    np.rint(whole, out=whole)
    sums = np.empty((len(cut), _BASIS.shape[1]), np.float32)
    for span, columns, basis in _SPANS:
        sums[:, columns] = whole[:, span] @ basis
    sums *= np.float32(_CELL_STEP * _BASIS_STEP)
    plain, real, imaginary = np.split(sums, [_PLAIN_COUNT, _PLAIN_COUNT + _WAVE_COUNT], axis=1)
    return np.concatenate(
        [plain, np.hypot(real, imaginary), real[:, _DIRECTED], imaginary[:, _DIRECTED]], axis=1
    )


def peaks(
    lightness: Image, template: Floats, radii: Radii = ANY_SIZE, most: int = PEAKS
) -> tuple[Floats, Floats]:
    """Find where the template responds best.

    Parameters
    ----------
    lightness : ndarray of uint8, shape (H, W)
        CIELAB lightness of the working image.
    radii : (float, float)
        Smallest and largest radius sought, in pixels.
    most : int
        How many are given at most, those of the best response.

    Returns
    -------
    circles : ndarray of float32, shape (N, 3)
        Centre x, y and radius in working pixels.
    features : ndarray of float32, shape (N, F)
        Their ring sums, response and size.
    """
    levels = pyramid(lightness, radii)
    tops = []
    for index, level in enumerate(levels):
        strength = response(level, template)
        rows, columns = np.nonzero(strength >= cv2.dilate(strength, np.ones((3, 3), np.uint8)))
        tops.append((np.full(len(rows), index), rows, columns, strength[rows, columns]))
    if not tops:
        return np.zeros((0, 3), np.float32), np.zeros((0, 0), np.float32)
    number, rows, columns, strength = (np.concatenate(part) for part in zip(*tops, strict=True))
    if len(strength) > most:
        best = np.argpartition(-strength, most)[:most]
        number, rows, columns, strength = number[best], rows[best], columns[best], strength[best]
    circles = np.empty((len(rows), 3), np.float32)
    seen = np.empty((len(rows), _PLAIN_COUNT + _WAVE_COUNT + 2 * int(_DIRECTED.sum()) + 2), np.float32)
    for k, level in enumerate(levels):
        here = number == k
        y, x = rows[here], columns[here]
        circles[here, 0] = (x + 0.5) * level.pitch[0] - 0.5
        circles[here, 1] = (y + 0.5) * level.pitch[1] - 0.5
        circles[here, 2] = level.radius
        seen[here, :-2] = ring_sums(windows(level, y, x))
    seen[:, -2], seen[:, -1] = strength, np.log(circles[:, 2])
    return circles, seen


def moved(circles: Floats, features: Floats, shift: Sequence[Trees]) -> Floats:
    """Move circles to where the trees expect the fastener.

    Parameters
    ----------
    circles : ndarray of float32, shape (N, 3)
    features : ndarray of float32, shape (N, F)
    shift : three Trees
        Displacement in x and y in radii, natural logarithm of the ratio of the radii.
    """
    dx, dy, ratio = (trees(features) for trees in shift)
    r = circles[:, 2]
    x = circles[:, 0] + r * np.clip(dx, -SHIFT_BOUND, SHIFT_BOUND)
    y = circles[:, 1] + r * np.clip(dy, -SHIFT_BOUND, SHIFT_BOUND)
    return np.stack([x, y, r * np.exp(np.clip(ratio, -RATIO_BOUND, RATIO_BOUND))], axis=1)


def best_distinct(circles: Floats, odds: Floats, most: int, centre: float, ratio: float) -> list[int]:
    """Pick the indices of the best circles, leaving out those that resemble a better one.

    Parameters
    ----------
    circles : ndarray, shape (N, 3)
    odds : ndarray, shape (N,)
        The higher, the better.
    most : int
        How many to pick at most.
    centre : float
        Two circles resemble each other where their centres are nearer than this, in radii of the larger,
    ratio : float
        and their radii differ by less than this factor.
    """
    order = np.argsort(-odds, kind="stable")
    x, y, r = circles[order].T
    larger = np.maximum(r[:, None], r)
    alike = (x[:, None] - x) ** 2 + (y[:, None] - y) ** 2 < (centre * larger) ** 2
    alike &= larger < ratio * np.minimum(r[:, None], r)
    free = np.ones(len(order), bool)
    picked: list[int] = []
    for i in range(len(order)):
        if not free[i]:
            continue
        picked.append(int(order[i]))
        if len(picked) == most:
            break
        free &= ~alike[i]
    return picked
