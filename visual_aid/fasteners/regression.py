"""Kernel ridge regression on descriptions of patches, fitted elsewhere and read from the package.

A linear part, and what likeness to labelled examples adds to it: on a part of the examples alone it is
Nystroem's method (Williams and Seeger 2001).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from functools import cached_property
from importlib.resources.abc import Traversable
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float32]
Image = NDArray[np.uint8]

STEP, FARTHEST = 24.0, 4.0
"""``coded`` descriptions are in steps of 1/24 of a standard deviation, up to four of them: so coded, sums
over them stay exact in float32 (see ``centred``)."""


def shares(patches: Image) -> Floats:
    """Turn descriptions from 0 to 255 into numbers from 0 to 1."""
    return np.divide(patches, 255, dtype=np.float32)


def centred(patches: Image) -> Floats:
    """Turn descriptions from 0 to 255 into whole numbers about 0.

    Sums of their products stay under 2 ** 24 for up to 1024 features: float32 adds them exactly, in whatever
    order any number of threads does.
    """
    return np.subtract(patches, 128, dtype=np.float32)


def coded(described: Floats, centre: Floats, spread: Floats) -> Image:
    """Give descriptions in steps of the spread about 128."""
    away = np.clip((described - centre) / spread, -FARTHEST, FARTHEST)
    steps: Image = np.round(128 + STEP * away).astype(np.uint8)
    return steps


def likeness(here: Floats, there: Floats, width: Floats, squares: Floats | None = None) -> Floats:
    """Compare patches with examples, both ``centred``, by their distance: shape (N, M), 0 to 1.

    ``squares`` of the examples may be given where they are at hand.
    """
    apart = squared_distances(here, there, squares)
    apart /= -width
    alike: Floats = np.exp(apart, out=apart)
    return alike


def squared_distances(here: Floats, there: Floats, squares: Floats | None = None) -> Floats:
    """Squared distances of ``shares`` of patches, given ``centred``: shape (N, M)."""
    apart: Floats = here @ there.T
    apart *= -2
    apart += squared_lengths(here)[:, None]
    apart += squared_lengths(there) if squares is None else squares
    apart /= 255**2
    return apart


def squared_lengths(patches: Floats) -> Floats:
    """Squared lengths of ``centred`` patches, shape (N,)."""
    lengths: Floats = np.einsum("nf,nf->n", patches, patches)
    return lengths


@dataclass(frozen=True)
class Components:
    """The D principal components of F features, in which patches are compared.

    Attributes
    ----------
    directions : ndarray of int8, shape (F, D)
        At right angles and of one length, as nearly as whole numbers can be.
    middle : ndarray of float32, shape (D,)
        What ``centred`` patches come to as a rule.
    step : ndarray of float32, shape ()
        What counts as one.
    """

    directions: NDArray[np.int8]
    middle: Floats
    step: Floats

    @cached_property
    def _directions(self) -> Floats:
        return self.directions.astype(np.float32)

    def __call__(self, patches: Image) -> Image:
        """Give patches by their components in steps about 128, shape (N, D)."""
        along = (centred(patches) @ self._directions - self.middle) / self.step
        steps: Image = np.round(128 + np.clip(along, -128, 127)).astype(np.uint8)
        return steps


@dataclass(frozen=True)
class Regression:
    """What has been learned from labelled patches; F features each, K readings.

    Attributes
    ----------
    components : Components
        Of the features, D in all.
    examples : ndarray of uint8, shape (M, D)
        The components of patches to compare with.
    width : ndarray of float32, shape ()
        Squared distance of two patches at which they are like each other by 1/e.
    weights : ndarray of float32, shape (M, K)
        What likeness to each example adds to the readings.
    slopes : ndarray of float32, shape (F, K)
        What the features themselves add: all that is left where a patch is like no example.
    base : ndarray of float32, shape (K,)
        What is added to all.
    """

    components: Components
    examples: Image
    width: Floats
    weights: Floats
    slopes: Floats
    base: Floats

    @cached_property
    def _centred(self) -> Floats:
        return centred(self.examples)

    @cached_property
    def _squares(self) -> Floats:
        return squared_lengths(self._centred)

    def likeness(self, patches: Image) -> Floats:
        """Compare patches with the examples: shape (N, M), 0 to 1."""
        return likeness(centred(self.components(patches)), self._centred, self.width, self._squares)

    def __call__(self, patches: Image) -> Floats:
        """Read off patches, shape (N, K)."""
        # Sums of einsum, unlike those of a matrix product, do not depend on the number of threads.
        alike = np.einsum("nm,mk->nk", self.likeness(patches), self.weights)
        plain = np.einsum("nf,fk->nk", shares(patches), self.slopes)
        readings: Floats = alike + plain + self.base
        return readings

    def arrays(self, prefix: str = "") -> dict[str, NDArray[Any]]:
        """Name the arrays for an .npz file."""
        named = {**_arrays(self.components), **_arrays(self)}
        return {prefix + name: array for name, array in named.items()}

    @classmethod
    def load(cls, file: Traversable) -> Regression:
        """Read the arrays of an .npz file."""
        with np.load(str(file)) as arrays:
            return cls.of(arrays)

    @classmethod
    def of(cls, arrays: Mapping[str, NDArray[Any]], prefix: str = "") -> Regression:
        """Take the arrays out of an opened .npz file."""
        return cls(Components(**_named(Components, arrays, prefix)), **_named(cls, arrays, prefix))


def _arrays(learned: Components | Regression) -> dict[str, NDArray[Any]]:
    return {f.name: getattr(learned, f.name) for f in fields(learned) if f.name != "components"}


def _named(
    kind: type[Components | Regression], arrays: Mapping[str, NDArray[Any]], prefix: str
) -> dict[str, NDArray[Any]]:
    return {f.name: arrays[prefix + f.name] for f in fields(kind) if f.name != "components"}


@dataclass(frozen=True)
class StandardRegression:
    """A regression on features of unlike units, each in steps of its own spread.

    Attributes
    ----------
    centre, spread : ndarray of float32, shape (F,)
        Mean and standard deviation of each feature.
    regression : Regression
        On ``coded`` descriptions.
    """

    centre: Floats
    spread: Floats
    regression: Regression

    def __call__(self, described: Floats) -> Floats:
        """Read off descriptions, shape (N,)."""
        return self.regression(coded(described, self.centre, self.spread))[:, 0]

    def arrays(self) -> dict[str, NDArray[Any]]:
        """Name the arrays for an .npz file."""
        return {"centre": self.centre, "spread": self.spread, **self.regression.arrays()}

    @classmethod
    def load(cls, file: Traversable) -> StandardRegression:
        """Read the arrays of an .npz file."""
        with np.load(str(file)) as arrays:
            return cls.of(arrays)

    @classmethod
    def of(cls, arrays: Mapping[str, NDArray[Any]]) -> StandardRegression:
        """Take the arrays out of an opened .npz file."""
        return cls(arrays["centre"], arrays["spread"], Regression.of(arrays))
