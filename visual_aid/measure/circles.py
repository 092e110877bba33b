"""Circles of one plane as a camera sees them: where their centres lie when nothing tells of the tilt.

The centre of a circle seen at a tilt is not the centre of its ellipse, and one ellipse leaves two tilts. Two
circles of one plane settle which: only from the right place are both round.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from scipy.optimize import least_squares

from visual_aid.measure.scale import FOCAL, FOCAL_SPREAD, Floats

RIM_ERROR = 0.3
"""Full pixels by which a rim's points miss a true circle: tuned on made pictures."""
COUNTED = 20
"""Points of a rim that count as one each: neighbours see the same dirt."""
MOST_MISSED = 30.0
"""Cost for each circle, noise aside, beyond which the rims are no circles of one plane: tuned on made
pictures, where true ones reach 19."""


@dataclass(frozen=True, eq=False, slots=True)
class Offset:
    """How far one circle's centre lies off another's.

    Attributes
    ----------
    by : ndarray of shape (2,)
        Offset as a share of the difference of their radii, along the photo's x and y.
    covariance : ndarray of shape (2, 2)
        Of ``by``.
    inner : float
        The inner circle's radius as a share of the outer's.
    """

    by: Floats
    covariance: Floats
    inner: float


def offset_of(
    outer: Floats, inner: Floats, size: tuple[int, int], concentric: Floats | None = None
) -> Offset | None:
    """Measure how far a circle lies off the centre of one around it, in their own plane.

    Parameters
    ----------
    outer, inner : ndarray of shape (N, 2)
        Points of the two rims, full pixels.
    size : (int, int)
        Width and height of the photo.
    concentric : ndarray of shape (N, 2), optional
        Points of a third rim about the inner one's centre, such as a sleeve's bore.

    Returns
    -------
    Offset or None
        Mean of both tilts, each by the chance that it is the right one; None where no tilt makes the rims
        circles.
    """
    rims = [outer, inner] if concentric is None else [outer, inner, concentric]
    longest, middle = max(size), np.array([(size[0] - 1) / 2, (size[1] - 1) / 2])
    rays = [(rim - middle) / longest for rim in rims]
    fits = [_fit(rays, start, longest) for start in _tilts(outer)]
    cost = np.array([fit.cost for fit in fits])
    best = fits[int(cost.argmin())]
    if best.cost - best.noise > MOST_MISSED * len(rims):
        return None
    chance = np.exp((cost.min() - cost) / 2)
    chance /= chance.sum()
    by = np.array([fit.by for fit in fits])
    mean = chance @ by
    covariance = sum(
        share * (fit.covariance + np.outer(one - mean, one - mean))
        for share, fit, one in zip(chance, fits, by, strict=True)
    )
    return Offset(mean, np.asarray(covariance), best.inner)


@dataclass(frozen=True, eq=False, slots=True)
class _Fit:
    """One tilt: its offset with covariance, the ratio of radii, its cost and what noise alone has in it."""

    by: Floats
    covariance: Floats
    inner: float
    cost: float
    noise: float


def _tilts(rim: Floats) -> list[tuple[float, float]]:
    """Give the two slopes of a plane, along x and y, in which an ellipse would be round."""
    _, (one, other), turn = cv2.fitEllipseAMS(rim.astype(np.float32))
    short, long = sorted((one, other))
    across = math.radians(turn if one < other else turn + 90)
    slope = math.tan(math.acos(min(1.0, short / long)))
    return [(sign * slope * math.cos(across), sign * slope * math.sin(across)) for sign in (1, -1)]


def _fit(rays: Sequence[Floats], tilt: tuple[float, float], longest: int) -> _Fit:
    """Fit plane, focal length and circles, from a tilt near the right one."""
    weight = [math.sqrt(COUNTED / len(ray)) * longest / RIM_ERROR for ray in rays]
    start = [*tilt, math.log(FOCAL)]
    first = [_on_plane(np.array(start), ray) for ray in rays]
    for at in first[:2]:
        start += [*at.mean(axis=0), _reach(at, at.mean(axis=0))]
    start += [_reach(at, first[1].mean(axis=0)) for at in first[2:]]

    def missed(guess: Floats) -> Floats:
        centres = [guess[3:5], guess[6:8], guess[6:8]]
        radii = [guess[5], *guess[8:]]
        parts = [
            (np.hypot(*(_on_plane(guess, ray) - centre).T) - radius) * by
            for ray, centre, radius, by in zip(rays, centres, radii, weight, strict=False)
        ]
        return np.concatenate([*parts, [(guess[2] - math.log(FOCAL)) / FOCAL_SPREAD]])

    settled = least_squares(missed, start, x_scale="jac", max_nfev=60)
    guess = settled.x
    covariance = np.linalg.pinv(settled.jac.T @ settled.jac)
    steps = 1e-5 * np.eye(len(guess))
    slope = np.array([_share(guess + step) - _share(guess - step) for step in steps]).T / 2e-5
    # Noise differs from one ray to the next, what is no circle does not.
    noise = float((np.diff(missed(guess)) ** 2).sum()) / 2
    return _Fit(
        _share(guess),
        np.asarray(slope @ covariance @ slope.T),
        float(guess[8] / guess[5]),
        2 * float(settled.cost),
        noise,
    )


def _share(guess: Floats) -> Floats:
    share: Floats = (guess[6:8] - guess[3:5]) / (guess[5] - guess[8])
    return share


def _on_plane(guess: Floats, rays: Floats) -> Floats:
    """Give where lines of sight meet the plane, in its own coordinates, at the size that they are seen in."""
    focal = math.exp(guess[2])
    normal = np.array([guess[0], guess[1], 1.0])
    normal /= math.sqrt(float(normal @ normal))
    right = np.array([normal[2], 0.0, -normal[0]])
    right /= math.sqrt(float(right @ right))
    down = np.cross(normal, right)
    lines = np.column_stack([rays / focal, np.ones(len(rays))])
    met = lines / (lines @ normal)[:, None]
    return np.asarray(focal * np.column_stack([met @ right, met @ down]))


def _reach(points: Floats, centre: Floats) -> float:
    return float(np.hypot(*(points - centre).T).mean())
