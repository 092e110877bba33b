"""Where the height of a fastener shows in its frame: the lift of the axis under tilt.

A frame undoes the tilt for the plane of the hexagon only. What lies lower (washer, plate) or higher (stud)
is displaced along the projected axis, by tan(tilt) nut radii for each nut radius of height. The tilt ellipse
leaves the sign open; all fasteners on one plate share it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from visual_aid.evidence.frame import MOST_TILT, Frame

FLAT_TILT = 4.0
"""Degrees of tilt below which its direction means nothing."""


def lifts(frames: Sequence[Frame]) -> NDArray[np.float64]:
    """Give for each frame the displacement (u, v) of a point one nut radius higher, up to one common sign.

    The median over the photo steadies each fastener's own tilt: cameras see a plate's fasteners under
    nearly one angle.

    Returns
    -------
    ndarray of shape (N, 2)
        Nut radii in frame coordinates. (0, 0) where the view is head on.
    """
    if not frames:
        return np.zeros((0, 2))
    own = np.array([_lift(frame) for frame in frames])
    # Directions without sign: their doubled angles have a mean, lengths weigh.
    doubled = (own[:, 0] + 1j * own[:, 1]) ** 2
    axis = np.angle(doubled.sum()) / 2
    reference = np.array([math.cos(axis), math.sin(axis)])
    own *= np.where(own @ reference < 0, -1.0, 1.0)[:, None]
    shared: NDArray[np.float64] = 0.5 * own + 0.5 * np.median(own, axis=0)
    return shared


def _lift(frame: Frame) -> NDArray[np.float64]:
    fastener = frame.fastener
    tilt = min(fastener.tilt or 0.0, MOST_TILT)
    if tilt < FLAT_TILT or fastener.tilt_axis is None:
        return np.zeros(2)
    across = math.radians(fastener.tilt_axis + 90.0)
    direction = np.linalg.solve(frame.matrix, (math.cos(across), math.sin(across)))
    lift: NDArray[np.float64] = direction / np.hypot(*direction) * math.tan(math.radians(tilt))
    return lift


SEAT, SIDE, FACE, STUD = 0, 1, 2, 3
"""What a point of the frame shows: the surface below, the nut's flats, its top face, a stud's way up."""

GIRTH = 1.06
"""Radius of a cylinder that stands for the hexagon: between its flats (1) and its corners (1.155)."""
STUD_GIRTH = 0.74
STUD_HEIGHT = 2.2


def unfold(
    points: NDArray[np.floating], lift: NDArray[np.floating], height: float, stud: bool
) -> tuple[NDArray[np.int8], NDArray[np.float64]]:
    """Tell for points of the frame on which surface they lie, and where they are seen from the axis.

    Parameters
    ----------
    points : ndarray of shape (N, 2)
        Frame coordinates; the origin is the centre of the hexagon's upper edge.
    lift : ndarray of shape (2,)
        From ``lifts``, with its sign settled.
    height : float
        Of the hexagon's upper edge above the surface, nut radii.
    stud : bool
        Whether a stud end may stand out of the nut and hide what is behind.

    Returns
    -------
    part : ndarray of shape (N,)
        SEAT, SIDE, FACE or STUD.
    foot : ndarray of shape (N, 2)
        Each point moved along the axis into the plane through its own height: its direction is the bearing
        about the axis, its length the distance from it. For the STUD part taken as the nut's face.
    """
    points = np.asarray(points, float)
    square = float(lift @ lift)
    part = np.full(len(points), SEAT, np.int8)
    foot = points + height * lift
    if square > 1e-6:
        along = points @ lift / square
        # Where the axis line through the point meets the cylinder: |p - h lift| = GIRTH, the upper root is seen.
        apart = GIRTH**2 - (points**2).sum(axis=1) + along**2 * square
        level = along + np.sqrt(np.maximum(apart, 0.0) / square)
        side = (apart >= 0) & (level > -height) & (level < 0)
        part[side] = SIDE
        foot[side] = points[side] - level[side, None] * lift
    face = (points**2).sum(axis=1) <= GIRTH**2
    part[face] = FACE
    foot[face] = points[face]
    if stud and square > 1e-6:
        level = np.clip(points @ lift / square, 0.0, STUD_HEIGHT)
        part[((points - level[:, None] * lift) ** 2).sum(axis=1) < STUD_GIRTH**2] = STUD
    return part, foot
