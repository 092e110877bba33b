"""Boosted regression trees as plain arrays: read from a file and evaluated with numpy alone."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float32]
Arrays = dict[str, NDArray[Any]]

_BLOCK = 1 << 16
"""Row-tree pairs walked at a time, so that they stay in the processor's cache."""


def _taken(values: NDArray[Any], at: NDArray[np.intp], axis: int | None = None) -> NDArray[Any]:
    """Take values from places that are known to be there: not to check them saves a quarter of a walk."""
    return values.take(at, axis=axis, mode="clip")


@dataclass(frozen=True)
class Trees:
    """A sum of T complete binary trees of depth D.

    Node k of a tree leads to nodes 2 k + 1 and 2 k + 2; the nodes of the last level lead to the leaves in
    the same way. A branch that ends early is padded with questions whose answers lead to the same value.

    Attributes
    ----------
    feature : ndarray of int16, shape (T, 2 ** D - 1)
        Column that the node asks about.
    threshold : ndarray of float32, shape (T, 2 ** D - 1)
        The walk turns right where the value exceeds this.
    value : ndarray of float32, shape (T, 2 ** D)
        What a leaf adds to the sum.
    base : ndarray of float32, shape ()
        Constant term of the sum.
    """

    feature: NDArray[np.int16]
    threshold: Floats
    value: Floats
    base: Floats

    @cached_property
    def _asked(self) -> tuple[int, list[NDArray[np.intp]], list[Floats]]:
        """How long a row must be, and the questions of each level: the columns asked, and their bounds.

        The nodes of one level in a row, tree by tree: node j leads to nodes 2 j and 2 j + 1 of the next.
        """
        depth = (self.feature.shape[1] + 1).bit_length() - 1
        levels = [slice(2**d - 1, 2 ** (d + 1) - 1) for d in range(depth)]
        feature = [self.feature[:, level].ravel().astype(np.intp) for level in levels]
        threshold = [self.threshold[:, level].ravel() for level in levels]
        return int(self.feature.max(initial=-1)) + 1, feature, threshold

    def __call__(self, x: Floats) -> Floats:
        """Evaluate the sum on the rows of x.

        Parameters
        ----------
        x : ndarray of float32, shape (M, F)
            One row of finite features for each sample.

        Returns
        -------
        ndarray of float32, shape (M,)
            Log odds for a classifier, the quantity itself for a regression.

        Raises
        ------
        IndexError
            The trees ask for more features than a row has.
        """
        trees = len(self.feature)
        needed, feature, threshold = self._asked
        if needed > x.shape[1]:
            raise IndexError(f"trees ask for feature {needed - 1}, rows have {x.shape[1]}")
        value = self.value.ravel()
        step = max(1, _BLOCK // max(trees, 1))
        total = np.full(len(x), self.base, np.float32)
        for start in range(0, len(x), step):
            rows = np.ascontiguousarray(x[start : start + step], np.float32)
            flat, offset = rows.ravel(), (np.arange(len(rows)) * x.shape[1])[:, None]
            at = 2 * np.arange(trees) + (_taken(rows, feature[0], axis=1) > threshold[0])
            for asked, bound in zip(feature[1:], threshold[1:], strict=True):
                column = _taken(asked, at)
                column += offset
                right = _taken(flat, column) > _taken(bound, at)
                at *= 2
                at += right
            total[start : start + step] += _taken(value, at).sum(axis=1)
        return total

    def of_best(self, x: Floats, first: int, most: int) -> Floats:
        """Evaluate the sum on the rows of x that the first trees think best of (a soft cascade).

        Parameters
        ----------
        x : ndarray of float32, shape (M, F)
        first : int
            How many trees are asked of every row.
        most : int
            How many rows all trees are asked of.

        Returns
        -------
        ndarray of float32, shape (M,)
            Minus infinity for the rows left out.

        References
        ----------
        Bourdev, Brandt, "Robust object detection via soft cascade" (2005).
        """
        early, late = self._part(slice(first)), self._part(slice(first, None))
        total = early(x)
        if len(x) > most:
            total[np.argpartition(-total, most)[most:]] = -np.inf
        asked = np.flatnonzero(total > -np.inf)
        total[asked] += late(x[asked]) - self.base
        return total

    def _part(self, which: slice) -> Trees:
        return Trees(self.feature[which], self.threshold[which], self.value[which], self.base)

    def arrays(self, prefix: str) -> Arrays:
        """Name the arrays for an .npz file."""
        return {f"{prefix}.{f.name}": getattr(self, f.name) for f in fields(self)}

    @classmethod
    def from_arrays(cls, arrays: Mapping[str, NDArray[Any]], prefix: str) -> Trees:
        """Take the arrays of this name out of an opened .npz file.

        Raises
        ------
        KeyError
            The file holds no trees of this name.
        """
        return cls(**{f.name: arrays[f"{prefix}.{f.name}"] for f in fields(cls)})
