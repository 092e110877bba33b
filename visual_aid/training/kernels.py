"""Kernel ridge regression of rare things, fitted to all examples or to all but some."""

from __future__ import annotations

import dataclasses
import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from importlib.resources.abc import Traversable
from typing import Any, TypeVar

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
Kept = NDArray[np.float32]
Described = TypeVar("Described", Image, Floats)
NONE: tuple[Indices, ...] = (np.zeros(0, np.intp),)
"""For ``leaving_out``: one fit, to all."""
COMPONENTS = 192
"""Principal components in which descriptions are compared. With 128 to 256 of 967 F1 of finds on photos held
out is the same as with all, and comparing takes a fifth of the time."""
LEAST_SPREAD = 1e-6
"""A feature that is the same everywhere says nothing."""


@dataclass(frozen=True, slots=True)
class Taught:
    """A regression and what taught it: ``shows`` (bool, shape (M, 1)) tells it of each of its examples."""

    learned: StandardRegression
    shows: Truths

    def arrays(self) -> dict[str, NDArray[Any]]:
        """Name the arrays for an .npz file."""
        return {**self.learned.arrays(), "shows": self.shows}

    @classmethod
    def load(cls, file: Traversable) -> Taught:
        """Read the arrays of an .npz file."""
        with np.load(str(file)) as arrays:
            return cls(StandardRegression.of(arrays), arrays["shows"])

    def without(self, described: Sequence[Floats], ridge: float) -> list[StandardRegression]:
        """Give what is left once what was described in each place has taught nothing.

        Parameters
        ----------
        described : sequence of ndarray of float32, shape (N, F)
            As it taught the regression: examples that come out the same are taken back.
        ridge : float
            As it was learned with.
        """
        learned = self.learned.regression
        known = {row.tobytes(): i for i, row in enumerate(learned.examples)}
        rows = [
            learned.components(coded(part, self.learned.centre, self.learned.spread)) for part in described
        ]
        own = [[known[row.tobytes()] for row in part if row.tobytes() in known] for part in rows]
        left_out = [np.unique(np.array(part, np.intp)) for part in own]
        weights = _weights(learned.examples, self.shows, left_out, ridge, learned.width)
        return [
            dataclasses.replace(self.learned, regression=dataclasses.replace(learned, weights=each))
            for each in weights
        ]


def leaving_out(
    described: Image, shows: Truths, left_out: Sequence[Indices], ridge: float, wider: float
) -> list[Regression]:
    """Fit the regression once for each set of examples that are left out, rare things weighing as much.

    Components are those of all examples: they tell nothing of what is shown.

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
    weights = _weights(examples, shows, left_out, ridge, width)
    return [_regression(components, examples, width, each) for each in weights]


def _regression(components: Components, examples: Image, width: Kept, weights: Kept) -> Regression:
    """Put a regression together that knows of likeness alone."""
    slopes = np.zeros((len(components.directions), weights.shape[1]), np.float32)
    base = np.full(weights.shape[1], 0.5, np.float32)
    return Regression(components, examples, width, weights, slopes, base)


def _weights(examples: Image, shows: Truths, left_out: Sequence[Indices], ridge: float, width: Kept) -> Kept:
    """Weigh the examples, once for each set that is left out: shape (sets, M, K).

    With G the inverse of what the fit to all examples solves, and B those left out, the weights w become
    w - G[:, B] G[B, B]^-1 w[B]: 0 on B, and elsewhere those of the fit to the rest (block elimination).
    """
    patches = centred(examples)
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
    return weights


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
    described: Floats, shows: Truths, ridge: float, wider: float, share: float, onto: Taught | None = None
) -> Taught:
    """Fit to all that show what is sought and, of the others, to those that weigh most in a fit to all.

    Parameters
    ----------
    described : ndarray of float32, shape (N, F)
        In whatever units.
    shows : ndarray of bool, shape (N, 1)
        Whether the examples show what is sought.
    ridge, wider : float
        As ``leaving_out`` takes them.
    share : float
        Of the examples that do not show it, how many are kept.
    onto : Taught, optional
        What was learned earlier: all its examples stay, and what is new is compared as they are.
    """
    if onto is None:
        centre, spread = described.mean(axis=0), np.maximum(described.std(axis=0), LEAST_SPREAD)
        patches = coded(described, centre, spread)
        (whole,) = leaving_out(patches, shows, NONE, ridge, wider)
        kept = _telling(whole.weights, shows, share)
        (learned,) = leaving_out(patches[kept], shows[kept], NONE, ridge, wider)
        return Taught(StandardRegression(centre, spread, learned), shows[kept])
    earlier = onto.learned.regression
    new = earlier.components(coded(described, onto.learned.centre, onto.learned.spread))
    examples, both = np.concatenate([earlier.examples, new]), np.concatenate([onto.shows, shows])
    first = len(earlier.examples)
    (weights,) = _weights(examples, both, NONE, ridge, earlier.width)
    kept = np.concatenate([np.ones(first, bool), _telling(weights[first:], shows, share)])
    (weights,) = _weights(examples[kept], both[kept], NONE, ridge, earlier.width)
    learned = _regression(earlier.components, examples[kept], earlier.width, weights)
    return Taught(dataclasses.replace(onto.learned, regression=learned), both[kept])


def _telling(weights: Kept, shows: Truths, share: float) -> NDArray[np.bool_]:
    """Tell which examples show what is sought, or are of the share of others that weighs most: shape (N,)."""
    weight = np.abs(weights[:, 0])
    kept: NDArray[np.bool_] = shows[:, 0] | (weight >= np.quantile(weight[~shows[:, 0]], 1 - share))
    return kept


def together(parts: Sequence[tuple[Described, Truths]]) -> tuple[Described, Truths]:
    """Put the examples of several photos together."""
    described, shows = (np.concatenate(part) for part in zip(*parts, strict=True))
    return described, shows


def halves(truths: Sequence[TruthPhoto]) -> NDArray[np.intp]:
    """Tell for each photo, by its name, in which half it is when one half is asked what the other teaches."""
    return np.array([zlib.crc32(truth.name.encode()) % 2 for truth in truths], np.intp)
