"""What each point of a face frame shows of a fastener that stands above its surface, seen at a tilt."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from visual_aid.evidence.frame import Frame
from visual_aid.evidence.stance import HEIGHT_OF_NUT, Stance

SEAT, SIDE, FACE, STUD = 0, 1, 2, 3
"""The surface below, the nut's flats, its top face, the way up along which a stud's end may stand."""

GIRTH = 1.06
"""Radius of a cylinder that stands for the hexagon: between its flats (1) and its corners (1.155)."""
CHAMFER = 0.085
"""The face lies this share of the height above the hexagon's edge: a 30 degree chamfer from 0.95 of the
width across flats (common practice; ISO 4032 leaves 15 to 30 degrees)."""
STUD_GIRTH = 0.68
"""A stud of nominal diameter d in a nut of 1.5 d across flats (0.67), with its shadow line."""
STUD_HEIGHT = 1.8
"""Up to here, in heights of the nut, a stud's end is expected above the nut's top."""


def bases(frames: Sequence[Frame], stances: Sequence[Stance]) -> NDArray[np.float64]:
    """Give for each nut and bolt head where in its frame the axis meets the surface, shape (N, 2).

    From the fastener's seat where it is known, else from the stance of its body and the usual height.
    """
    known = [f.from_photo(*f.fastener.seat) if f.fastener.seat is not None else None for f in frames]
    if any(base is None for base in known):
        leaning = [stance.at(HEIGHT_OF_NUT) for stance in stances]
        known = [lean if base is None else base for base, lean in zip(known, leaning, strict=True)]
    return np.array(known, float).reshape(-1, 2)


def unfold(
    points: NDArray[np.floating], base: NDArray[np.floating], stud: bool
) -> tuple[NDArray[np.int8], NDArray[np.float64]]:
    """Tell for points of a face frame on which surface they lie, and where they are seen from the axis.

    Parameters
    ----------
    points : ndarray of shape (N, 2)
        Frame coordinates; the origin is the centre of the hexagon's upper edge.
    base : ndarray of shape (2,)
        Where the axis meets the surface.
    stud : bool
        Whether a stud's end may stand out of the nut and hide what is behind.

    Returns
    -------
    part : ndarray of shape (N,)
        SEAT, SIDE, FACE or STUD.
    foot : ndarray of shape (N, 2)
        Each point less the axis' point at its own height: its direction is the bearing about the axis, its
        length the distance from it. For the STUD part taken as on the nut's face.
    """
    points = np.asarray(points, float)
    square = float(base @ base)
    leaning = square > 1e-4
    foot = points - base
    part = np.full(len(points), SEAT, np.int8)
    outside = (points**2).sum(axis=1)
    if leaning:
        depth = points @ base / square
        # A line along the axis meets the cylinder where |p - depth base| = GIRTH; the nearer root is seen.
        apart = GIRTH**2 - outside + depth**2 * square
        depth -= np.sqrt(np.maximum(apart, 0.0) / square)
        side = (apart >= 0) & (depth > 0) & (depth < 1)
        part[side] = SIDE
        foot[side] = points[side] - depth[side, None] * base
    face = outside <= GIRTH**2
    part[face] = FACE
    foot[face] = points[face] + CHAMFER * base
    if stud:
        up = np.clip(points @ -base / square, 0.0, STUD_HEIGHT) if leaning else np.zeros(len(points))
        part[((points + up[:, None] * base) ** 2).sum(axis=1) < STUD_GIRTH**2] = STUD
    return part, foot
