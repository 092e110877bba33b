"""Kernel ridge regression of rare things, fitted to all examples or to all but some."""

from __future__ import annotations

import zlib
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from visual_aid.evaluation.truth import TruthPhoto
from visual_aid.fasteners.regression import (
    FARTHEST,
    Components,
    Floats,
    Image,
    Regression,
    StandardRegression,
    centred,
    coded,
    likeness,
    squared_distances,
)

Truths = NDArray[np.bool_]
Indices = NDArray[np.intp]
NONE: tuple[Indices, ...] = (np.zeros(0, np.intp),)
"""For ``leaving_out``: one fit, to all."""
COMPONENTS = 192
"""Principal components in which descriptions are compared. With 128 to 256 of 967 F1 of finds on photos held
out is the same as with all, and comparing takes a fifth of the time."""
LEAST_SPREAD = 1e-6
"""A feature that is the same everywhere says nothing."""


def leaving_out(
    described: Image, shows: Truths, left_out: Sequence[Indices], ridge: float, wider: float
) -> list[Regression]:
    """Fit the regression once for each set of examples that are left out, rare things weighing as much.

    Components are those of all examples: they tell nothing of what is shown.
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
    components = principal(described)
    examples = components(described)
    patches = centred(examples)
    width = np.asarray(wider * np.median(squared_distances(patches[:300], patches[::10])), np.float32)
    alike = likeness(patches, patches, width).astype(float)
    weights = np.empty((len(left_out), *shows.shape), np.float32)
    for k, there in enumerate(shows.T):
        counts = np.where(there, 1 / there.mean(), 1 / (1 - there.mean()))
        # In balance, half of all is there.
        normal = alike + np.diag(ridge * counts.mean() / counts)
        whole = np.linalg.solve(normal, there - 0.5)
        weights[:, :, k] = whole
        if any(len(out) for out in left_out):
            inverse = np.linalg.inv(normal)
            for n, out in enumerate(left_out):
                weights[n, :, k] -= inverse[:, out] @ np.linalg.solve(inverse[np.ix_(out, out)], whole[out])
    slopes = np.zeros((described.shape[1], shows.shape[1]), np.float32)
    base = np.full(shows.shape[1], 0.5, np.float32)
    return [Regression(components, examples, width, each, slopes, base) for each in weights]


def principal(described: Image) -> Components:
    """Find the principal components of descriptions, the greatest ``COMPONENTS`` of them (Pearson 1901)."""
    patches = centred(described).astype(float)
    directions = np.linalg.eigh(np.cov(patches.T)).eigenvectors
    greatest = directions[:, ::-1][:, :COMPONENTS]
    greatest = greatest * np.sign(greatest[np.abs(greatest).argmax(axis=0), np.arange(greatest.shape[1])])
    whole = np.round(greatest * (127 / np.abs(greatest).max())).astype(np.int8)
    along = patches @ whole
    step = FARTHEST * along[:, 0].std() / 127
    return Components(whole, along.mean(axis=0).astype(np.float32), np.asarray(step, np.float32))


def most_telling(
    parts: Sequence[tuple[Floats, Truths]],
    ridge: float,
    wider: float,
    share: float,
    *,
    each_left_out: bool = False,
) -> list[StandardRegression]:
    """Fit to all that show what is sought and, of the others, to those that weigh most in a fit to all.

    Parameters
    ----------
    parts : sequence of (ndarray of float32, shape (M, F), and ndarray of bool, shape (M, 1))
        The examples of each photo, described in whatever units, and whether they show what is sought.
    ridge, wider : float
        As ``leaving_out`` takes them.
    share : float
        Of the examples that do not show it, how many are kept.
    each_left_out : bool
        Fit once for each photo, without its examples, instead of once to all.
    """
    described, shows = (np.concatenate(part) for part in zip(*parts, strict=True))
    photo = np.repeat(np.arange(len(parts)), [len(part) for part, _ in parts])
    centre, spread = described.mean(axis=0), np.maximum(described.std(axis=0), LEAST_SPREAD)
    patches = coded(described, centre, spread)
    (whole,) = leaving_out(patches, shows, NONE, ridge, wider)
    weight = np.abs(whole.weights[:, 0])
    kept = shows[:, 0] | (weight >= np.quantile(weight[~shows[:, 0]], 1 - share))
    left_out = [np.flatnonzero(photo[kept] == n) for n in range(len(parts))] if each_left_out else NONE
    fitted = leaving_out(patches[kept], shows[kept], left_out, ridge, wider)
    return [StandardRegression(centre, spread, regression) for regression in fitted]


def halves(truths: Sequence[TruthPhoto]) -> NDArray[np.intp]:
    """Tell for each photo, by its name, in which half it is when one half is asked what the other teaches."""
    return np.array([zlib.crc32(truth.name.encode()) % 2 for truth in truths], np.intp)
