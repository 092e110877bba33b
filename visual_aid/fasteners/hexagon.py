"""The sides of a nut's hexagon: points along them and the directions that they face."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

POINTS = 7
"""Points along a side at which edges are looked for."""

_FLATS = np.radians(60.0) * np.arange(6)


def hexagon_sides(flat: ArrayLike, reach: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Lay out points along the sides of hexagons whose flats lie one nut radius from the middle.

    Parameters
    ----------
    flat : array_like of shape (...)
        Direction that one of a hexagon's flats faces, in radians, clockwise as seen.
    reach : float
        Share of half a side up to which points lie: corners are worn, round or hidden.

    Returns
    -------
    points : ndarray of shape (..., 6, POINTS, 2)
        In nut radii from the middle.
    normals : ndarray of shape (..., 6, 2)
        Unit vectors, outwards.
    """
    facing = np.asarray(flat, np.float64)[..., None] + _FLATS
    normals = np.stack([np.cos(facing), np.sin(facing)], axis=-1)
    tangents = np.stack([-normals[..., 1], normals[..., 0]], axis=-1)
    along = np.linspace(-reach, reach, POINTS) * math.tan(math.pi / 6)
    return normals[..., None, :] + along[:, None] * tangents[..., None, :], normals
