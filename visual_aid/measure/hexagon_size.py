"""How large the nuts of a joint are seen, by the hexagons that their edges follow.

A finder may take a nut's chamfer, its washer or its stud's end for its rim: circles all, whose edges follow
a hexagon no better than the same hexagon turned by half a corner. A nut's flats do. One nut alone may
mislead; nuts of one joint are of one size, and settle it together.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray

from visual_aid.fasteners.hexagon import hexagon_sides
from visual_aid.measure.nut_view import NutView, rectify

Floats = NDArray[np.floating]

DENSITY, REACH = 16, 2.0
"""Samples a nut radius, and nut radii from the middle to the patch's edges."""
SIZES = np.arange(-0.16, 0.33, 0.04)
"""Natural logarithms of the factors tried: circles within a nut are taken for it, hardly any without."""
SHIFTS = np.arange(-0.24, 0.25, 0.08)
"""Shifts of the middle tried in both directions, in nut radii."""
PULL = 5.0
"""What the square of a shift costs, in edge strengths a side."""
STEP = 3.75
TURNS = np.radians(np.arange(0, 60, STEP))
"""Turns of the hexagon tried, ``STEP`` degrees apart."""
FAINT = 2.0
"""Root of a gradient, in grey levels a sample, that counts half."""

ALONG = 0.8
"""Share of half a side along which edges are looked for."""

_POINTS, _NORMALS = hexagon_sides(TURNS, ALONG)
_WAYS = round(180 / STEP)
"""Ways that sides face, opposite ones being the same."""
_WAY = np.rint(np.degrees(np.arctan2(_NORMALS[..., 1], _NORMALS[..., 0])) / STEP).astype(np.intp) % _WAYS
_FACING = np.radians(STEP) * np.arange(_WAYS)[:, None]
_COS, _SIN = np.cos(_FACING).astype(np.float32), np.sin(_FACING).astype(np.float32)
_SHIFTS = np.stack(np.meshgrid(SHIFTS, SHIFTS), axis=-1).reshape(-1, 2)
_COST = PULL * (_SHIFTS**2).sum(axis=1)


@cache
def _cells() -> NDArray[np.intp]:
    """Give the samples that hexagons' sides run through, by size, shift, turn, side and place along it.

    They count through patches of edges across each way that a side may face, one patch after the other.
    """
    side = round(2 * REACH * DENSITY)
    at = np.multiply.outer(np.exp(SIZES), _POINTS)[:, None] + _SHIFTS[:, None, None, None]
    column, row = np.moveaxis(np.clip((at + REACH) * DENSITY, 0, side - 1).astype(np.intp), -1, 0)
    cells: NDArray[np.intp] = _WAY[..., None] * side**2 + row * side + column
    return cells


def hexagon_lead(view: NutView) -> Floats:
    """Say how far edges around a nut favour a hexagon over one turned by 30 degrees, size by size.

    Returns
    -------
    ndarray, same shape as ``SIZES``
        For the best turn and shift at each size; any unit.
    """
    light = cv2.GaussianBlur(rectify(view, 0.0, REACH, DENSITY), (0, 0), 0.8)
    gradients = [cv2.Sobel(light, cv2.CV_32F, *order, ksize=3) for order in ((1, 0), (0, 1))]
    # Strong edges hold the light's chance: their root counts.
    weight = 1 / (np.sqrt(cv2.magnitude(*gradients)) + FAINT)
    dx, dy = ((part * weight).ravel() for part in gradients)
    across = np.abs(_COS * dx + _SIN * dy).ravel()
    best = np.empty(len(SIZES))
    for k, cells in enumerate(_cells()):
        follows = across.take(cells).mean(axis=(2, 3))
        lead = follows - np.roll(follows, len(TURNS) // 2, axis=1)
        best[k] = (lead.max(axis=1) - _COST).max()
    return best


def common_size(views: Sequence[NutView]) -> float:
    """Find by what factor the radii of all views are off, alike for all since they show one joint's nuts."""
    leads = np.array([hexagon_lead(view) for view in views])
    spread = leads.std(axis=1, keepdims=True)
    return float(np.exp(SIZES[int((leads / np.maximum(spread, 1e-9)).sum(axis=0).argmax())]))
