"""Ways down a picture: of all that step at most one column a row, the one that gathers the most."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from visual_aid.measure.scale import Floats


def ways_down(worth: Floats, *, most: float = math.inf, aside: float) -> tuple[NDArray[np.int64], Floats]:
    """Follow the best way down to each column of the lowest row.

    Parameters
    ----------
    worth : ndarray of shape (h, w)
        What each place is worth to a way through it.
    most : float
        What a place below the first row counts at most, so that one bright spot does not settle a way.
    aside : float
        What a step aside costs.

    Returns
    -------
    columns : ndarray of shape (h, w)
        Row by row, the columns of the way that ends in each column.
    total : ndarray of shape (w,)
        What it gathers.

    References
    ----------
    Dynamic programming after Bellman. From memory.
    """
    h, w = worth.shape
    total = worth[0].astype(float)
    step = np.zeros((h, w), np.int64)
    for row in range(1, h):
        padded = np.pad(total, 1, constant_values=-np.inf)
        choice = np.stack([padded[:-2] - aside, padded[1:-1], padded[2:] - aside])
        best = choice.argmax(axis=0)
        step[row] = best - 1
        total = np.take_along_axis(choice, best[None], axis=0)[0] + np.minimum(worth[row], most)
    columns = np.empty((h, w), np.int64)
    columns[-1] = np.arange(w)
    for row in range(h - 1, 0, -1):
        columns[row - 1] = columns[row] + step[row, columns[row]]
    return columns, total
