"""Boosted trees, grown by scikit-learn and taken out of it: anew, or onto trees that are there already.

To grow onto trees is to boost on from what they say: what they know stays, and the new trees learn what is
left of other examples. So weights can learn from photos that came later, without those that taught them.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray
from sklearn.base import BaseEstimator, ClassifierMixin
from sklearn.ensemble import (
    GradientBoostingClassifier,
    GradientBoostingRegressor,
    HistGradientBoostingClassifier,
    HistGradientBoostingRegressor,
)

from visual_aid.fasteners.trees import Trees

DEPTH = 5
"""Questions in a row that a tree asks."""
LESS = 4
"""How much less there is to learn onto trees that are there."""
Floats = NDArray[np.float32]

_ANEW: dict[str, Any] = {
    "max_depth": DEPTH,
    "learning_rate": 0.12,
    "max_features": 0.15,
    "early_stopping": False,
    "random_state": 0,
}
_ONTO: dict[str, Any] = {
    "max_depth": DEPTH,
    "learning_rate": 0.12,
    "max_features": 0.15,
    "min_samples_leaf": 20,
    "subsample": 0.5,
    "random_state": 0,
}
"""Histograms cannot boost on from given odds, so sorted features do, each tree on half of the examples."""


def classifier(
    x: Floats, y: NDArray[Any], trees: int, leaves: int = 16, onto: Trees | None = None, **others: float
) -> Trees:
    """Boost trees for the log odds of y.

    Parameters
    ----------
    x : ndarray of float32, shape (M, F)
    y : ndarray of bool, shape (M,)
    trees, leaves : int
        How many trees, a quarter of that onto others, and how many leaves each has at most.
    onto : Trees, optional
        Boost on from what these say, and give all of them.
    **others : float
        Settings to take instead of the usual ones.
    """
    if onto is None:
        settings = {**_ANEW, "l2_regularization": 1.0, **others}
        return to_trees(
            HistGradientBoostingClassifier(max_iter=trees, max_leaf_nodes=leaves, **settings).fit(x, y)
        )
    if len(np.unique(y)) < 2:
        return onto
    settings = {**_ONTO, **others}
    more = GradientBoostingClassifier(
        init=_Known(onto), n_estimators=trees // LESS, max_leaf_nodes=leaves, **settings
    )
    return joined(onto, to_trees(more.fit(x, y)))


def regression(x: Floats, y: NDArray[Any], trees: int, onto: Trees | None = None) -> Trees:
    """Boost trees for the value of y; parameters as ``classifier`` has them."""
    leaves = 12
    if onto is None:
        return to_trees(
            HistGradientBoostingRegressor(max_iter=trees, max_leaf_nodes=leaves, **_ANEW).fit(x, y)
        )
    more = GradientBoostingRegressor(init="zero", n_estimators=trees // LESS, max_leaf_nodes=leaves, **_ONTO)
    return joined(onto, to_trees(more.fit(x, y - onto(x))))


def regressions(x: Floats, y: Floats, trees: int, onto: Sequence[Trees] | None = None) -> tuple[Trees, ...]:
    """Boost trees for every column of y."""
    known = onto or (None,) * y.shape[1]
    return tuple(regression(x, column, trees, k) for column, k in zip(y.T, known, strict=True))


class _Known(ClassifierMixin, BaseEstimator):  # type: ignore[misc]
    """What trees say already, in scikit-learn's terms."""

    def __init__(self, trees: Trees) -> None:
        self.trees = trees

    def fit(self, _x: Floats, y: NDArray[Any], _weight: Floats | None = None) -> _Known:
        self.classes_ = np.unique(y)
        return self

    def predict_proba(self, x: Floats) -> NDArray[np.float64]:
        there = 1 / (1 + np.exp(-self.trees(x).astype(float)))
        return np.stack([1 - there, there], axis=1)


class _Grown(NamedTuple):
    """One tree as it grew, node by node; left is -1 where a node leads nowhere."""

    left: NDArray[Any]
    right: NDArray[Any]
    feature: NDArray[Any]
    threshold: NDArray[Any]
    value: NDArray[Any]


def to_trees(model: Any) -> Trees:  # noqa: ANN401 - any of the four estimators
    """Take the trees out of a fitted estimator, padded to complete ones."""
    if hasattr(model, "estimators_"):
        trees = [stage.tree_ for stage in model.estimators_[:, 0]]
        grown = [
            _Grown(
                t.children_left,
                t.children_right,
                t.feature,
                t.threshold,
                model.learning_rate * t.value[:, 0, 0],
            )
            for t in trees
        ]
        base = 0.0
    else:
        nodes = [stage[0].nodes for stage in model._predictors]
        grown = [
            _Grown(
                np.where(n["is_leaf"], -1, n["left"].astype(int)),
                n["right"],
                n["feature_idx"],
                n["num_threshold"],
                n["value"],
            )
            for n in nodes
        ]
        base = float(np.ravel(model._baseline_prediction)[0])
    return _complete(grown, base)


def _complete(grown: Sequence[_Grown], base: float) -> Trees:
    nodes = 2**DEPTH - 1
    feature = np.zeros((len(grown), nodes), np.int16)
    threshold = np.zeros((len(grown), nodes), np.float32)
    value = np.zeros((len(grown), nodes + 1), np.float32)
    for k, tree in enumerate(grown):
        source = {0: 0}
        for place in range(nodes):
            node = source[place]
            split = tree.left[node] >= 0
            if split:
                feature[k, place], threshold[k, place] = tree.feature[node], tree.threshold[node]
            source[2 * place + 1] = int(tree.left[node]) if split else node
            source[2 * place + 2] = int(tree.right[node]) if split else node
        value[k] = [tree.value[source[nodes + leaf]] for leaf in range(nodes + 1)]
    return Trees(feature, threshold, value, np.asarray(base, np.float32))


def joined(trees: Trees, more: Trees) -> Trees:
    """Add up what two sums of trees say."""
    return Trees(
        np.concatenate([trees.feature, more.feature]),
        np.concatenate([trees.threshold, more.threshold]),
        np.concatenate([trees.value, more.value]),
        np.asarray(trees.base + more.base, np.float32),
    )


def no_trees() -> Trees:
    """Give a forest that adds up to zero."""
    return Trees(
        np.zeros((1, 1), np.int16),
        np.zeros((1, 1), np.float32),
        np.zeros((1, 2), np.float32),
        np.zeros((), np.float32),
    )
