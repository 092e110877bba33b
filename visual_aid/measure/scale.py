"""Millimetres in a photo: the plane of a part, and how sure a length on it is."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[Any]
"""float64 throughout; what OpenCV and linear algebra give back is not typed as such."""
Point = tuple[float, float]

CLICK = 1.5
"""Full pixels by which a person's click misses what is meant; two of three lie within. Common practice, no
source."""
NEAREST = 7.0
"""How many times what a click may miss by the two ends of a known length lie apart at least: 20 % of it."""
UNSEEN_TILT = 25.0
"""Degrees of tilt that a length pointed out on a photo says nothing of and that people call head on."""
FOCAL, FOCAL_SPREAD = 1.0, 0.45
"""Focal length as a share of the photo's longer side, and its spread as a logarithm: phones have 0.7 (wide)
to 1.5 (twice enlarged), cropped photos more. Common practice, no source."""

ACROSS_FLATS: Mapping[str, float] = MappingProxyType(
    {
        "M6": 10.0,
        "M8": 13.0,
        "M10": 16.0,
        "M12": 18.0,
        "M14": 21.0,
        "M16": 24.0,
        "M18": 27.0,
        "M20": 30.0,
        "M22": 34.0,
        "M24": 36.0,
        "M27": 41.0,
        "M30": 46.0,
        "M36": 55.0,
        "1/2 in nut": 19.05,
        "5/8 in nut": 23.8125,
        "3/4 in nut": 28.575,
        "7/8 in nut": 33.3375,
        "1 in nut": 38.1,
        "1-1/4 in nut": 47.625,
    }
)
"""Width across flats of hex nuts in millimetres by thread. Metric: ISO 4032; M18, M22 and M27 from memory.
Inch: ASME B18.2.2; 7/8 in from memory. Nuts of older standards are wider: measure when in doubt."""


@dataclass(frozen=True, eq=False, slots=True)
class Scale:
    """How the plane of a part lies in a photo.

    Attributes
    ----------
    to_px : ndarray of shape (3, 3)
        Homography from millimetres on the plane to full pixels.
    covariance : ndarray of shape (8, 8)
        Of its first eight entries, row by row; the ninth is 1.
    relative : float
        Share by which every length may be wrong alike (the print, a tilt that was not seen).
    rectified : bool
        Whether the tilt of the plane is known, so that directions and shapes on it are.
    source : str
        Where the millimetres come from, in words.
    outline : ndarray of shape (N, 2), or None
        Full pixels around what the plane was fitted to, where it is something that stands still.
    """

    to_px: Floats
    covariance: Floats
    relative: float
    rectified: bool
    source: str
    outline: Floats | None = None

    def to_mm(self, pixels: Floats) -> Floats:
        """Map full pixels (..., 2) to millimetres on the plane."""
        return project(np.linalg.inv(self.to_px), pixels)

    def jacobian(self, at: Point) -> Floats:
        """Give the change of millimetres by full pixels at a pixel, shape (2, 2)."""
        x, y = at
        around = self.to_mm(np.array([(x + 0.5, y), (x - 0.5, y), (x, y + 0.5), (x, y - 0.5)]))
        return np.column_stack([around[0] - around[1], around[2] - around[3]])

    def mm_per_px(self, at: Point) -> float:
        """Give the millimetres a pixel at a place: the root of the area that a pixel covers."""
        return math.sqrt(abs(float(np.linalg.det(self.jacobian(at)))))

    def tilt(self, at: Point) -> float:
        """Give the degrees between the line of sight and the plane's normal, from the squeeze at a place."""
        long, short = np.linalg.svd(self.jacobian(at), compute_uv=False)
        return math.degrees(math.acos(min(1.0, float(short / long))))

    def length(self, a: Point, b: Point, pointing: float = CLICK) -> tuple[float, float]:
        """Measure between two pixels.

        Parameters
        ----------
        a, b : (float, float)
            Full pixels.
        pointing : float
            Full pixels by which either may miss what is meant; two of three lie within.

        Returns
        -------
        value, uncertainty : float
            Millimetres; two of three such lengths are wrong by no more than the uncertainty.
        """
        ends = np.array([a, b], float)
        value = _apart(self.to_px, ends)
        slope = np.zeros(8)
        for i in range(8):
            step = 1e-4 * max(abs(self.to_px.ravel()[i]), 1e-6)
            slope[i] = (_apart(_moved(self.to_px, i, step), ends) - value) / step
        by_plane = float(slope @ self.covariance @ slope)
        by_pointing = sum(
            float(((self.jacobian((x, y)) * pointing).T @ _unit(self.to_mm(ends)))[axis] ** 2)
            for x, y in ends
            for axis in (0, 1)
        )
        return value, math.sqrt(by_plane + by_pointing + (self.relative * value) ** 2)


def ends_apart(a: Point, b: Point, pointing: float = CLICK) -> float:
    """Give how many pixels two ends lie apart that a person pointed out.

    Raises
    ------
    ValueError
        Too few for how well they were pointed out.
    """
    apart = math.dist(a, b)
    if not apart >= NEAREST * pointing:
        raise ValueError(
            "the two ends of the known length are too near each other: zoom in and point them out again, or "
            "take a longer one"
        )
    return apart


def scale_of_length(a: Point, b: Point, millimetres: float, what: str, pointing: float = CLICK) -> Scale:
    """Take the scale from two ends of a known length that a person pointed out.

    Nothing is known of the plane's tilt: lengths along the known one, and shapes, are as seen.

    Parameters
    ----------
    a, b : (float, float)
        Its ends in full pixels.
    what : str
        What it is, in words.
    pointing : float
        Full pixels by which either end may miss what is meant; two of three lie within.

    Raises
    ------
    ValueError
        The two ends are too near each other for how well they were pointed out, or the length is not
        positive.
    """
    apart = ends_apart(a, b, pointing)
    if not 0 < millimetres < math.inf:
        raise ValueError(f"a known length of {millimetres:g} mm is none: give it in millimetres over 0")
    per_px = millimetres / apart
    to_px = np.array([[1 / per_px, 0, a[0]], [0, 1 / per_px, a[1]], [0, 0, 1]])
    # Across the known length, a tilt that nobody saw shortens by its cosine: by half of that as a rule.
    relative = math.hypot(math.sqrt(2) * pointing / apart, (1 - math.cos(math.radians(UNSEEN_TILT))) / 2)
    return Scale(to_px, np.zeros((8, 8)), relative, False, what)


def project(homography: Floats, points: Floats) -> Floats:
    """Map points (..., 2), if there are any, by a homography."""
    shape = points.shape
    if not points.size:
        return np.zeros(shape)
    mapped = cv2.perspectiveTransform(np.asarray(points, float).reshape(-1, 1, 2), homography)
    return np.asarray(mapped, float).reshape(shape)


def _apart(to_px: Floats, ends: Floats) -> float:
    a, b = project(np.linalg.inv(to_px), ends)
    return float(np.hypot(*(b - a)))


def _moved(homography: Floats, entry: int, step: float) -> Floats:
    moved = homography.copy()
    moved.ravel()[entry] += step
    return moved


def _unit(ends: Floats) -> Floats:
    along: Floats = ends[1] - ends[0]
    return along / max(float(np.hypot(*along)), 1e-9)
