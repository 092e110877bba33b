"""What a fastener and its surroundings look like, as a short vector: like looks lie near each other.

The vector is cut from the nut's own frame, so size, tilt and place on the photo do not matter. It holds, in
this order,

- colour: mean CIELAB of the nut, of eight sectors around it and of twelve fields below it, counted from the
  median of the surroundings, so that neither exposure nor the colour of the paint matters;
- gradients: the share of edge strength by direction, on the nut and around it as seen from its centre, so
  that the angle of the hexagon does not matter, and below it as seen from gravity;
- streaks: how much redder, yellower and darker the middle below the nut is than both sides, at four depths.

Every part counts in spreads that are fixed, so that vectors of two photos compare at once and none drowns
the others.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from visual_aid.colour import srgb_to_lab
from visual_aid.evidence.frame import BEARING, HEIGHT, RADIUS, WIDTH, Frame, U, V
from visual_aid.quantiles import median

VERSION = 1
"""Vectors of different versions do not compare."""

_SHRINK = 2
_COARSE = (WIDTH // _SHRINK, HEIGHT // _SHRINK)
_NUT, _AROUND = 1.1, 2.0
_DEPTHS = (1.2, 2.1, 3.2, 4.4, 5.8)
_ACROSS = (-2.4, -0.8, 0.8, 2.4)
_DIRECTIONS = 8
_COLOUR_SPREAD = (11.0, 3.0, 4.5)
_DIRECTION_SPREAD = (0.045, 0.045, 0.08)
_STREAK_SPREAD = (6.5, 2.1, 2.9)
"""Standard deviations over 732 nuts of made scenes: of L*, a* and b* of a field, of a direction's share on
the nut, around it and below it, and of L*, a* and b* of a streak."""
_STEPS = 32
"""Steps of a byte to a spread: four spreads each side fit."""

_FIELDS = 1 + 8 + 4 * 3
LENGTH = 3 * _FIELDS + 3 * _DIRECTIONS + 3 * 4
"""Bytes of a vector."""


def _coarse(grid: NDArray[np.floating]) -> NDArray[np.float32]:
    return np.asarray(cv2.resize(grid, _COARSE, interpolation=cv2.INTER_AREA), np.float32)


def _fields() -> NDArray[np.intp]:
    """Give each pixel the number of its field; ``_FIELDS`` is none of them."""
    radius, u, v = _coarse(RADIUS), _coarse(U), _coarse(V)
    field = np.full(radius.shape, _FIELDS, np.intp)
    for k in range(4):
        for i in range(3):
            below = (v >= _DEPTHS[k]) & (v < _DEPTHS[k + 1]) & (u >= _ACROSS[i]) & (u < _ACROSS[i + 1])
            field[below & (radius >= _AROUND)] = 9 + 3 * k + i
    around = (radius >= _NUT) & (radius < _AROUND)
    # Sectors centred on right, below, left, above and between; a mean of bearings would be wrong at 180.
    bearing = BEARING[_SHRINK // 2 :: _SHRINK, _SHRINK // 2 :: _SHRINK]
    field[around] = (1 + np.round(bearing / 45).astype(int) % 8)[around]
    field[radius < _NUT] = 0
    return field


_FIELD = _fields()
# Gradients are told apart on the nut, around it and below it.
_PART = np.select([_FIELD == 0, _FIELD < 9, _FIELD < _FIELDS], [0, 1, 2], 3)
_FROM = np.where(_PART < 2, np.arctan2(_coarse(V), _coarse(U)), 0.0)


def describe(frame: Frame) -> bytes:
    """Give the look of a fastener.

    Parameters
    ----------
    frame : Frame
        Its face frame.

    Returns
    -------
    bytes
        ``LENGTH`` unsigned bytes; the distance of two looks is that of the vectors.
    """
    lab = srgb_to_lab(np.asarray(cv2.resize(frame.rgb, _COARSE, interpolation=cv2.INTER_AREA), np.uint8))
    valid = cv2.resize(frame.valid.astype(np.uint8), _COARSE, interpolation=cv2.INTER_NEAREST) > 0
    field = np.where(valid, _FIELD, _FIELDS)
    known = lab[valid & (_FIELD > 0) & (_FIELD < _FIELDS)]
    ground = median(known, axis=0) if len(known) else np.array([50.0, 0.0, 0.0])

    counts = np.bincount(field.ravel(), minlength=_FIELDS + 1)[:_FIELDS]
    sums = [np.bincount(field.ravel(), lab[..., c].ravel(), _FIELDS + 1)[:_FIELDS] for c in range(3)]
    # A field that is hidden or outside the photo looks like the surroundings as a whole.
    means = np.where(counts > 0, np.array(sums) / np.maximum(counts, 1), ground[:, None])
    below = means[:, 9:].reshape(3, 4, 3)
    streaks = below[..., 1] - (below[..., 0] + below[..., 2]) / 2
    vector = np.concatenate(
        [
            _in_spreads(means - ground[:, None], _COLOUR_SPREAD),
            _in_spreads(_directions(lab[..., 0], valid) - 1 / _DIRECTIONS, _DIRECTION_SPREAD),
            _in_spreads(streaks, _STREAK_SPREAD),
        ]
    )
    return np.clip(np.round(128 + _STEPS * vector), 0, 255).astype(np.uint8).tobytes()


def _in_spreads(rows: NDArray[np.floating], spreads: tuple[float, float, float]) -> NDArray[np.floating]:
    scaled: NDArray[np.floating] = rows / np.array(spreads)[:, None]
    return scaled.ravel()


def _directions(lightness: NDArray[np.float32], valid: NDArray[np.bool_]) -> NDArray[np.float64]:
    """Give the share of edge strength by direction, 0 to 180 degrees from ``_FROM``, part by part."""
    gx, gy = cv2.Sobel(lightness, cv2.CV_32F, 1, 0), cv2.Sobel(lightness, cv2.CV_32F, 0, 1)
    angle = np.mod((np.arctan2(gy, gx) - _FROM) / np.pi, 1.0) * _DIRECTIONS
    bins = np.round(angle).astype(np.intp) % _DIRECTIONS
    part = np.where(valid, _PART, 3)
    strength = np.bincount((part * _DIRECTIONS + bins).ravel(), np.hypot(gx, gy).ravel(), 4 * _DIRECTIONS)
    by_part = strength[: 3 * _DIRECTIONS].reshape(3, _DIRECTIONS)
    sums = by_part.sum(axis=1, keepdims=True)
    return np.where(sums > 0, by_part / np.maximum(sums, 1e-9), 1 / _DIRECTIONS)
