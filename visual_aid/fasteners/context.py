"""What the other finds of a photo say of one: nuts come in like sizes, side by side."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from visual_aid.fasteners.channels import Floats

LIKE = 1.35
"""Sizes within this factor are alike: nuts of one part, with what perspective adds."""
NEAR_R, FAR_R = 6.0, 20.0
COUNT = 10


def context(circles: Floats, odds: NDArray[np.floating]) -> Floats:
    """Describe every find by its own log odds and by the finds around it.

    Parameters
    ----------
    circles : ndarray of float32, shape (N, 3)
        Centre x, y and radius of finds that do not overlap.
    odds : ndarray, shape (N,)
        Log odds that each is a nut or bolt head, seen alone.

    Returns
    -------
    ndarray of float32, shape (N, COUNT)
    """
    sure = 1 / (1 + np.exp(-odds))
    x, y, r = circles.T
    size = np.log(r)
    others = 1.0 - np.eye(len(circles))
    away = np.hypot(x[:, None] - x, y[:, None] - y) / r[:, None]
    unlike = np.abs(size[:, None] - size)
    like = others * (unlike < np.log(LIKE))
    weight = others * sure
    total = weight.sum(axis=1)
    rows = [
        odds,
        size,
        total,
        (like * weight).sum(axis=1),
        (like * weight * (away < NEAR_R)).sum(axis=1),
        (like * weight * (away < FAR_R)).sum(axis=1),
        (like * weight * (away < FAR_R)).max(axis=1, initial=0),
        weight.max(axis=1, initial=0),
        (weight * unlike).sum(axis=1) / (total + 0.05),
        (weight * (size[:, None] - size)).sum(axis=1) / (total + 0.05),
    ]
    return np.stack(rows, axis=1).astype(np.float32)
