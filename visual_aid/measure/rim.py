"""Round rims as ellipses, settled to a fraction of a pixel: sleeves, eyes and holes."""

from __future__ import annotations

import dataclasses
import math
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from visual_aid.measure.scale import Floats

COARSE = 96
"""Side in pixels of the picture on which a rim is first looked for."""
RAYS, FIRST_RAYS = 240, 40
BANDS = (0.16, 0.10, 0.06, 0.045, 0.045)
"""How far either side of the last ellipse its rim is looked for, as a share of its radius, step by step."""
LEAST_KEPT = 0.45
"""Share of the rays that have to agree on an ellipse: the rest may be dirt, shadow or a part before it."""
NEAR = 0.07
"""Share of the radius within which a rim that is no true ellipse still counts as it."""
LEAST_STEP = 3.0
"""CIELAB lightness by which the two sides of a rim have to differ."""
BLUR = 1.0
BIAS = 0.25
"""Pixels by which shadow and dirt along one side move a rim that is otherwise settled: tuned on made
pictures."""
OFF_CENTRE = 0.1
"""Pixels by which they move its centre: most of them lie on both sides alike. Tuned on made pictures."""
DARKER = 0.35
"""Full pixels by which a rim seems to lie on its darker side: a lens blurs light, and in lightness the middle
of a blurred step lies there. Tuned on made pictures."""

Light = NDArray[Any]


@dataclass(frozen=True, slots=True)
class Rim:
    """An ellipse fitted to a rim.

    Attributes
    ----------
    cx, cy : float
        Centre in pixels.
    long, short : float
        Semi-axes, ``long >= short``.
    angle : float
        Direction of the long axis in degrees, clockwise positive as seen, 0 <= angle < 180.
    scatter : float
        Pixels by which the rim's points miss it, robust standard deviation.
    kept : float
        Share of rays that agree.
    points : ndarray of shape (N, 2)
        The points of the rim near it.
    """

    cx: float
    cy: float
    long: float
    short: float
    angle: float
    scatter: float
    kept: float
    points: Floats

    @property
    def radius(self) -> float:
        """Radius of the circle of the same area."""
        return math.sqrt(self.long * self.short)

    @property
    def to_unit(self) -> Floats:
        """Matrix (2, 2) that makes the ellipse a circle of radius 1 without turning it."""
        c, s = math.cos(math.radians(self.angle)), math.sin(math.radians(self.angle))
        turn = np.array([[c, s], [-s, c]])
        unit: Floats = turn.T @ np.diag([1 / self.long, 1 / self.short]) @ turn
        return unit

    @property
    def centre_error(self) -> float:
        """Pixels by which the centre may be off: neighbouring rays see the same dirt, so few count."""
        return math.hypot(self.scatter * math.sqrt(2 / max(self.kept * RAYS / 12, 4)), OFF_CENTRE)

    def outline(self, n: int = 72) -> Floats:
        """Give points around the ellipse, shape (n, 2)."""
        bearing = np.linspace(0, 2 * math.pi, n, endpoint=False)
        return np.column_stack([np.cos(bearing), np.sin(bearing)]) @ np.linalg.inv(self.to_unit).T + (
            self.cx,
            self.cy,
        )


def find_rim(
    light: Light,
    radii: tuple[float, float],
    inside: float,
    *,
    about: tuple[float, float],
    stray: float,
    squeezed: bool,
    shape: Rim | None = None,
    hidden: NDArray[np.uint8] | None = None,
    finer: float = 1.0,
) -> Rim | None:
    """Find the rim that stands out most.

    Parameters
    ----------
    light : ndarray of shape (h, w)
        CIELAB lightness.
    radii : (float, float)
        Least and greatest radius, pixels.
    inside : float
        -1 where the inner side is the darker, +1 where it is the brighter.
    about, stray : (float, float), float
        Where its centre is expected, and how far off it may be, pixels.
    squeezed : bool
        Whether it may be an ellipse as flat as 0.65; else it is nearly a circle.
    shape : Rim, optional
        Another rim in the same plane: this one is then first looked for in its shape.
    hidden : ndarray of shape (h, w), uint8, optional
        Over 0 where something else lies over it, whose edge is no rim.
    finer : float
        Pixels of the picture for one of the photo: what the lens blurred, it blurred there.

    Returns
    -------
    Rim or None
        None where no rim stands out.
    """
    shrink = min(1.0, COARSE / max(light.shape))
    small = (
        cv2.resize(light, None, fx=shrink, fy=shrink, interpolation=cv2.INTER_AREA) if shrink < 1 else light
    )
    small = cv2.GaussianBlur(small, (0, 0), 0.8)
    start = _coarse(small, shrink, radii, inside, about, stray, _forms(squeezed, shape))
    if start is None:
        return None
    fine = cv2.GaussianBlur(light, (0, 0), BLUR)
    rim: Rim | None = start
    for band in BANDS:
        if rim is None:
            return None
        rim = _settle(fine, rim, band, inside, hidden)
    if rim is None or rim.kept < LEAST_KEPT or not 0.8 * radii[0] < rim.radius < 1.2 * radii[1]:
        return None
    return _undarkened(rim, -inside * DARKER * finer)


def _undarkened(rim: Rim, by: float) -> Rim:
    """Move a rim outwards by some pixels, to where it is in the light."""
    off = rim.points - (rim.cx, rim.cy)
    normal = off @ rim.to_unit.T @ rim.to_unit
    normal /= np.maximum(np.hypot(*normal.T), 1e-12)[:, None]
    return dataclasses.replace(rim, long=rim.long + by, short=rim.short + by, points=rim.points + by * normal)


def _forms(squeezed: bool, shape: Rim | None) -> list[tuple[float, float]]:
    """Give the squeezes and directions (degrees of the long axis) that are tried first."""
    if shape is not None:
        return [(shape.short / shape.long, shape.angle)]
    if not squeezed:
        return [(1.0, 0.0)]
    return [(1.0, 0.0), *((q, a) for q in (0.87, 0.74) for a in (0.0, 30.0, 60.0, 90.0, 120.0, 150.0))]


def _coarse(
    light: Light,
    shrink: float,
    radii: tuple[float, float],
    inside: float,
    about: tuple[float, float],
    stray: float,
    forms: list[tuple[float, float]],
) -> Rim | None:
    low, high = radii[0] * shrink, radii[1] * shrink
    # Places lie near enough that the smallest rim overlaps the next one.
    places = max(9, 2 * math.ceil(stray / (0.4 * radii[0])) + 1)
    off = np.linspace(-stray * shrink, stray * shrink, places)
    radius = np.linspace(low, high, max(3, min(16, round((high - low) / 1.2) + 1)))
    x, y, r = (v.ravel() for v in np.meshgrid(off, off, radius, indexing="ij"))
    cx, cy = (about[0] + 0.5) * shrink - 0.5 + x, (about[1] + 0.5) * shrink - 0.5 + y
    bearing = np.linspace(0, 2 * math.pi, FIRST_RAYS, endpoint=False)
    step = max(1.5, 0.05 * high)
    best: tuple[float, Rim] | None = None
    for q, angle in forms:
        c, s = math.cos(math.radians(angle)), math.sin(math.radians(angle))
        ring = np.column_stack([np.cos(bearing) / math.sqrt(q), np.sin(bearing) * math.sqrt(q)])
        ring = ring @ np.array([[c, s], [-s, c]])
        sides = []
        for reach in (-step, step):
            px = cx[:, None] + (r + reach)[:, None] * ring[:, 0]
            py = cy[:, None] + (r + reach)[:, None] * ring[:, 1]
            sides.append(cv2.remap(light, px.astype(np.float32), py.astype(np.float32), cv2.INTER_LINEAR))
        # A rim goes all round: what its weaker third shows counts as much as its middle.
        gain = inside * (sides[0] - sides[1])
        told = np.partition(gain, (FIRST_RAYS // 3, FIRST_RAYS // 2), axis=1)
        score = told[:, FIRST_RAYS // 3] + told[:, FIRST_RAYS // 2]
        at = int(np.argmax(score))
        if best is None or score[at] > best[0]:
            long, short = r[at] / math.sqrt(q), r[at] * math.sqrt(q)
            best = (
                float(score[at]),
                Rim(
                    float((cx[at] + 0.5) / shrink - 0.5),
                    float((cy[at] + 0.5) / shrink - 0.5),
                    float(long / shrink),
                    float(short / shrink),
                    angle,
                    0.0,
                    1.0,
                    np.empty((0, 2)),
                ),
            )
    return None if best is None or best[0] < LEAST_STEP else best[1]


def _settle(
    light: Light, rim: Rim, band: float, inside: float, hidden: NDArray[np.uint8] | None
) -> Rim | None:
    """Take the steepest place of every ray near the ellipse and fit an ellipse to those that agree."""
    reach = max(band * rim.radius, 2.5)
    across = np.arange(-math.ceil(reach * 2), math.ceil(reach * 2) + 1) / 2
    bearing = np.linspace(0, 2 * math.pi, RAYS, endpoint=False)
    back = np.linalg.inv(rim.to_unit)
    unit = np.column_stack([np.cos(bearing), np.sin(bearing)])
    feet = unit @ back.T + (rim.cx, rim.cy)
    normal = unit @ rim.to_unit.T
    normal /= np.hypot(*normal.T)[:, None]
    px = feet[:, :1] + across * normal[:, :1]
    py = feet[:, 1:] + across * normal[:, 1:]
    profile = cv2.remap(
        light, px.astype(np.float32), py.astype(np.float32), cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    )
    slope = -inside * (profile[:, 2:] - profile[:, :-2])
    place = across[1:-1]
    prior = np.exp(-0.5 * (place / (0.7 * reach)) ** 2)
    weighted = slope * prior
    at = weighted[:, 1:-1].argmax(axis=1) + 1
    row = np.arange(RAYS)
    before, here, after = (slope[row, at + k] for k in (-1, 0, 1))
    curve = before - 2 * here + after
    peak = np.where(curve < 0, 0.5 * (before - after) / np.where(curve < 0, curve, -1), 0).clip(-1, 1)
    offset = place[at] + 0.5 * peak
    strong = here > 0.35 * np.median(here)
    points = feet + offset[:, None] * normal
    seen = np.ones(RAYS, bool)
    if hidden is not None:
        x, y = np.asarray(points.T, np.float32)
        seen = cv2.remap(hidden, x, y, cv2.INTER_NEAREST).ravel() == 0
    return _fit(points, strong & seen, seen, rim)


def _fit(points: Floats, kept: NDArray[np.bool_], seen: NDArray[np.bool_], last: Rim) -> Rim | None:
    """Fit an ellipse, leaving out what misses it, until nothing changes."""
    scatter, strong = 0.0, kept
    fitted = last
    for _ in range(6):
        if kept.sum() < 0.25 * RAYS:
            return None
        (cx, cy), (d1, d2), turn = cv2.fitEllipseAMS(points[kept].astype(np.float32))
        if not (d1 > 2 and d2 > 2 and np.isfinite([cx, cy, d1, d2, turn]).all()):
            return None
        if d1 >= d2:
            long, short, angle = d1 / 2, d2 / 2, turn % 180
        else:
            long, short, angle = d2 / 2, d1 / 2, (turn + 90) % 180
        fitted = Rim(cx, cy, long, short, angle, scatter, float(kept.mean()), points[kept])
        miss = misses(fitted, points)
        scatter = max(1.4826 * float(np.median(np.abs(miss[kept]))), 0.05)
        now = (np.abs(miss) < 3 * scatter) & seen
        if (now == kept).all():
            break
        kept = now
    if fitted.short < 0.4 * fitted.long:
        return None
    # What runs beside the ellipse but near it is the rim all the same: a slot is no ellipse.
    beside = strong & (np.abs(misses(fitted, points)) < max(3 * scatter, NEAR * fitted.radius))
    return dataclasses.replace(fitted, scatter=scatter, kept=float(kept.mean()), points=points[beside])


def misses(rim: Rim, points: Floats) -> Floats:
    """Give how far points (N, 2) lie outside the ellipse, in pixels (N,), to first order."""
    unit = (points - (rim.cx, rim.cy)) @ rim.to_unit.T
    reach = np.maximum(np.hypot(*unit.T), 1e-9)
    slope = (unit / reach[:, None]) @ rim.to_unit
    off: Floats = (reach - 1) / np.hypot(*slope.T)
    return off
