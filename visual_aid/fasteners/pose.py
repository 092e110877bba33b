"""How a fastener lies in the picture: refined circle, tilt ellipse and the hexagon's angle."""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from visual_aid.fasteners.patches import sample

PIXELS = 16
"""Samples per radius of the rectified patch."""
REACH = 1.6
INNER, OUTER = 0.72, 1.25
LEAST_HEXNESS = 0.12
"""Below this the edges around the rim follow no hexagon: a round head, or too blurred."""

Floats = NDArray[np.float32]
Image = NDArray[np.uint8]

_LINE = (np.arange(round(2 * REACH * PIXELS), dtype=np.float32) + 0.5) / PIXELS - REACH
_U, _V = np.meshgrid(_LINE, _LINE)
_RADIUS = np.hypot(_U, _V)
_RIM = (_RADIUS > INNER) & (_RADIUS < OUTER)


@dataclass(frozen=True, slots=True)
class Pose:
    """Where a fastener lies and how it is turned; lengths in pixels of the image it was measured in.

    ``angle`` is None where no hexagon is to be made out; ``hexness`` (0 to 1) says how far the rim's edges
    follow a hexagon.
    """

    cx: float
    cy: float
    radius: float
    tilt: float | None = None
    tilt_axis: float | None = None
    angle: float | None = None
    hexness: float = 0.0


def hex_angle(
    octaves: list[Image], cx: float, cy: float, radius: float, tilt: float | None, tilt_axis: float | None
) -> tuple[float | None, float]:
    """Measure the direction of a hexagon's first corner in the part's plane, and how plain it is.

    The sum of the gradients' strengths around the rim, turned by six times their direction (sixth harmonic
    of the orientation histogram): its phase is the flats' direction, its share of the plain sum tells a
    hexagon from a circle.

    Returns
    -------
    angle : float or None
        Degrees, 0 <= angle < 60, clockwise positive as seen; None where the share is under LEAST_HEXNESS.
    hexness : float
        0 (circle) to 1.
    """
    squeeze = math.cos(math.radians(tilt or 0.0))
    axis = math.radians(tilt_axis or 0.0)
    c, s = math.cos(axis), math.sin(axis)
    long, short = 1 / math.sqrt(squeeze), math.sqrt(squeeze)
    along, across = (c * _U + s * _V) * long, (-s * _U + c * _V) * short
    circle = np.array([[cx, cy, radius]], np.float32)
    x, y = (c * along - s * across).astype(np.float32), (s * along + c * across).astype(np.float32)
    light = sample(octaves, circle, x, y, PIXELS)[0, ..., 0]
    gx = cv2.Sobel(light, cv2.CV_32F, 1, 0, ksize=3)[_RIM]
    gy = cv2.Sobel(light, cv2.CV_32F, 0, 1, ksize=3)[_RIM]
    strength = np.hypot(gx, gy)
    inward = np.abs(gx * _U[_RIM] + gy * _V[_RIM]) / (strength * _RADIUS[_RIM] + 1e-6)
    weight = np.minimum(strength, np.quantile(strength, 0.95)) * (inward > math.cos(math.radians(35)))
    total = complex((weight * np.exp(6j * np.arctan2(gy, gx))).sum())
    hexness = abs(total) / (float(weight.sum()) + 1e-6)
    if hexness < LEAST_HEXNESS:
        return None, hexness
    flat = math.degrees(math.atan2(total.imag, total.real)) / 6
    return (flat + 30) % 60, hexness
