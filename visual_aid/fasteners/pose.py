"""How a fastener lies in the picture: its hexagon fitted on the patch with the view's tilt undone."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from visual_aid.fasteners.hexagon import hexagon_sides
from visual_aid.fasteners.patches import Octaves, plane, sample

PIXELS = 16
"""Samples per radius of the rectified patch."""
REACH = 1.7
INNER, OUTER = 0.72, 1.25
LEAST_HEXNESS = 0.12
"""Below this the edges around the rim follow no hexagon: a round head, or too blurred."""
FIT_HEXNESS = 0.2
"""From here on the hexagon is plain enough to correct centre and radius by it."""

Floats = NDArray[np.float32]
Image = NDArray[np.uint8]

_LINE = (np.arange(round(2 * REACH * PIXELS), dtype=np.float32) + 0.5) / PIXELS - REACH
_U, _V = np.meshgrid(_LINE, _LINE)
_RADIUS = np.hypot(_U, _V)
_RIM = (_RADIUS > INNER) & (_RADIUS < OUTER)
_ALONG = 0.85
"""Share of half a side along which the fit looks for edges."""
_ROUNDS = (0.05, 0.02)
"""Steps of the two rounds of the fit, in radii."""
_PULL = 5.0
"""How fast the fit loses faith with the distance from the rough circle, per squared radius."""


@dataclass(frozen=True, slots=True)
class Pose:
    """Where a fastener lies and how it is turned; pixels of the image it was measured in.

    Attributes
    ----------
    angle : float or None
        Direction of the hexagon's first corner in the part's plane, degrees clockwise as seen,
        0 <= angle < 60; None where no hexagon is to be made out.
    hexness : float
        How far the rim's edges follow a hexagon: 0 (a circle) to 1.
    """

    cx: float
    cy: float
    radius: float
    angle: float | None
    hexness: float


def pose(
    octaves: Octaves,
    cx: float,
    cy: float,
    radius: float,
    tilt: float | None = None,
    tilt_axis: float | None = None,
) -> Pose:
    """Measure a fastener's hexagon from a rough circle and the tilt of the view.

    The sum of the gradients' strengths around the rim, turned by six times their direction (sixth harmonic
    of the orientation histogram): its phase is the flats' direction, its share of the plain sum tells a
    hexagon from a circle. A plain hexagon is then shifted and scaled to where its outline meets the
    strongest edges.

    Parameters
    ----------
    octaves : Octaves
    cx, cy, radius : float
        Rough circle in pixels of the first octave.
    tilt, tilt_axis : float, optional
        Degrees, as in ``Fastener``.
    """
    matrix = plane(tilt, tilt_axis)
    x = (matrix[0, 0] * _U + matrix[0, 1] * _V).astype(np.float32)
    y = (matrix[1, 0] * _U + matrix[1, 1] * _V).astype(np.float32)
    light = sample(octaves.light, np.array([[cx, cy, radius]], np.float32), x, y, PIXELS)[0]
    gx = cv2.Sobel(light, cv2.CV_32F, 1, 0, ksize=3)
    gy = cv2.Sobel(light, cv2.CV_32F, 0, 1, ksize=3)
    rim_x, rim_y = gx[_RIM], gy[_RIM]
    strength = np.hypot(rim_x, rim_y)
    inward = np.abs(rim_x * _U[_RIM] + rim_y * _V[_RIM]) / (strength * _RADIUS[_RIM] + 1e-6)
    weight = np.minimum(strength, np.quantile(strength, 0.95)) * (inward > math.cos(math.radians(35)))
    total = complex((weight * np.exp(6j * np.arctan2(rim_y, rim_x))).sum())
    hexness = abs(total) / (float(weight.sum()) + 1e-6)
    if hexness < LEAST_HEXNESS:
        return Pose(cx, cy, radius, None, hexness)
    flat = math.atan2(total.imag, total.real) / 6
    angle = (math.degrees(flat) + 30) % 60
    if hexness < FIT_HEXNESS:
        return Pose(cx, cy, radius, angle, hexness)
    du, dv, size = _fitted(gx, gy, flat)
    dx, dy = matrix @ (du, dv) * radius
    return Pose(cx + float(dx), cy + float(dy), radius * size, angle, hexness)


def _fitted(gx: NDArray[Any], gy: NDArray[Any], flat: float) -> tuple[float, float, float]:
    """Shift (in radii) and scale a hexagon with a flat facing ``flat`` to the strongest edges."""
    limit = float(np.quantile(np.hypot(gx, gy)[_RIM], 0.97)) + 1e-6
    points, normal = hexagon_sides(flat, _ALONG)
    best = np.array([0.0, 0.0, 0.0])
    for step in _ROUNDS:
        line = np.arange(-3, 4) * step
        trial = best + np.stack(np.meshgrid(line, line, line), axis=-1).reshape(-1, 3)
        at = points[None] * np.exp(trial[:, 2])[:, None, None, None] + trial[:, None, None, :2]
        cell = np.clip(np.round((at + REACH) * PIXELS - 0.5).astype(int), 0, len(_LINE) - 1)
        across = gx[cell[..., 1], cell[..., 0]] * normal[:, None, 0]
        across += gy[cell[..., 1], cell[..., 0]] * normal[:, None, 1]
        edge = np.minimum(np.abs(across) / limit, 1).mean(axis=(1, 2)) - _PULL * (trial**2).sum(axis=1)
        best = trial[int(edge.argmax())]
    return float(best[0]), float(best[1]), float(math.exp(best[2]))
