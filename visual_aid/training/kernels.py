"""Kernel ridge regression of rare things, fitted to all examples or to all but some."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from visual_aid.fasteners.regression import Image, Regression, centred, likeness, squared_distances

Truths = NDArray[np.bool_]
Indices = NDArray[np.intp]
NONE: tuple[Indices, ...] = (np.zeros(0, np.intp),)
"""For ``leaving_out``: one fit, to all."""


def leaving_out(
    described: Image, shows: Truths, left_out: Sequence[Indices], ridge: float, wider: float
) -> list[Regression]:
    """Fit the regression once for each set of examples that are left out, rare things weighing as much.

    With G the inverse of what the fit to all examples solves, and B those left out, the weights w become
    w - G[:, B] G[B, B]^-1 w[B]: 0 on B, and elsewhere those of the fit to the rest (block elimination).

    Parameters
    ----------
    described : ndarray of uint8, shape (M, F)
    shows : ndarray of bool, shape (M, K)
    ridge : float
        How far the fit may stay off the examples.
    wider : float
        Width of the likeness as a share of the usual squared distance of two examples.
    """
    patches = centred(described)
    width = np.asarray(wider * np.median(squared_distances(patches[:300], patches[::10])), np.float32)
    alike = likeness(patches, patches, width).astype(float)
    weights = np.empty((len(left_out), *shows.shape), np.float32)
    for k, there in enumerate(shows.T):
        counts = np.where(there, 1 / there.mean(), 1 / (1 - there.mean()))
        # In balance, half of all is there.
        inverse = np.linalg.inv(alike + np.diag(ridge * counts.mean() / counts))
        whole = inverse @ (there - 0.5)
        for n, out in enumerate(left_out):
            weights[n, :, k] = whole - inverse[:, out] @ np.linalg.solve(
                inverse[np.ix_(out, out)], whole[out]
            )
    slopes = np.zeros((described.shape[1], shows.shape[1]), np.float32)
    base = np.full(shows.shape[1], 0.5, np.float32)
    return [Regression(described, width, each, slopes, base) for each in weights]
