"""Medians and percentiles of the few hundred values around one nut.

NumPy's own allow for whatever may be asked of them, which costs three to ten times what so few values take.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray


def median(values: NDArray[np.floating], axis: int | None = None) -> NDArray[Any]:
    """Give what ``np.median`` gives of values none of which is NaN.

    Parameters
    ----------
    values : ndarray of float
        At least one along the axis.
    axis : int, optional
        All values by default.

    Returns
    -------
    ndarray
        Of the values' own type, without the axis.
    """
    lined = values.ravel() if axis is None else np.moveaxis(values, axis, 0)
    middle = len(lined) // 2
    parted = np.partition(lined, middle, axis=0)
    if len(lined) % 2:
        return np.asarray(parted[middle])
    return np.asarray((parted[:middle].max(axis=0) + parted[middle]) / 2)


def percentile(values: NDArray[np.floating], percent: float) -> float:
    """Give what ``np.percentile`` gives of values none of which is NaN: straight between the two nearest."""
    place = (values.size - 1) * percent / 100
    below = int(place)
    above = min(below + 1, values.size - 1)
    parted = np.partition(values.ravel(), (below, above))
    return float(parted[below] + (place - below) * (parted[above] - parted[below]))


def nanmedian(values: NDArray[np.floating], axis: int) -> NDArray[Any]:
    """Give what ``np.nanmedian`` gives: the median along an axis of what is no NaN, NaN where all is."""
    ordered = np.sort(values, axis=axis)  # NaN last
    known = np.count_nonzero(~np.isnan(ordered), axis=axis, keepdims=True)
    low, high = (
        np.take_along_axis(ordered, middle, axis=axis)
        for middle in (np.maximum(known - 1, 0) // 2, known // 2)
    )
    return np.asarray(((low + high) / 2).squeeze(axis))
