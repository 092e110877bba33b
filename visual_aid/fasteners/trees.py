"""Boosted regression trees as plain arrays: read from a file and evaluated with numpy alone."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float32]
Ints = NDArray[np.int32]


@dataclass(frozen=True, slots=True)
class Trees:
    """A sum of T binary trees of at most N nodes each.

    Attributes
    ----------
    feature : ndarray of int32, shape (T, N)
        Column that the node asks about.
    threshold : ndarray of float32, shape (T, N)
        The walk goes left where the value is at most this.
    left, right : ndarray of int32, shape (T, N)
        Next node; a leaf leads to itself.
    value : ndarray of float32, shape (T, N)
        What a leaf adds to the sum.
    base : ndarray of float32, shape ()
        Constant term of the sum.
    depth : ndarray of int32, shape ()
        Questions on the longest way to a leaf.
    """

    feature: Ints
    threshold: Floats
    left: Ints
    right: Ints
    value: Floats
    base: Floats
    depth: Ints

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
        """
        trees, nodes = self.feature.shape
        first = np.arange(trees, dtype=np.int32) * nodes
        rows = (np.arange(len(x), dtype=np.int32) * x.shape[1])[:, None]
        feature, threshold = self.feature.ravel(), self.threshold.ravel()
        left, right = (self.left + first[:, None]).ravel(), (self.right + first[:, None]).ravel()
        flat = np.ascontiguousarray(x, dtype=np.float32).ravel()
        at = np.broadcast_to(first, (len(x), trees))
        for _ in range(int(self.depth)):
            goes_left = flat[rows + feature[at]] <= threshold[at]
            at = np.where(goes_left, left[at], right[at])
        total: Floats = self.value.ravel()[at].sum(axis=1, dtype=np.float32) + self.base
        return total

    def arrays(self, prefix: str) -> dict[str, NDArray[np.generic]]:
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
