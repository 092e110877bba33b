"""Boosted trees, grown by scikit-learn and taken out of it."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray
from sklearn.ensemble import HistGradientBoostingClassifier, HistGradientBoostingRegressor

from visual_aid.fasteners.trees import Trees

DEPTH = 5
"""Questions in a row that a tree asks."""
Floats = NDArray[np.float32]

_SETTINGS: dict[str, Any] = {
    "max_depth": DEPTH,
    "learning_rate": 0.12,
    "max_features": 0.15,
    "early_stopping": False,
    "random_state": 0,
}


def classifier(x: Floats, y: NDArray[Any], trees: int, leaves: int = 16, **others: float) -> Trees:
    """Boost trees for the log odds of y; ``others`` are settings to take instead of the finder's."""
    settings = {**_SETTINGS, "l2_regularization": 1.0, **others}
    model = HistGradientBoostingClassifier(max_iter=trees, max_leaf_nodes=leaves, **settings)
    return to_trees(model.fit(x, y))


def regressions(x: Floats, y: Floats, trees: int) -> tuple[Trees, ...]:
    """Boost trees for the value of every column of y."""
    return tuple(
        to_trees(HistGradientBoostingRegressor(max_iter=trees, max_leaf_nodes=12, **_SETTINGS).fit(x, column))
        for column in y.T
    )


def to_trees(model: Any) -> Trees:  # noqa: ANN401 - either estimator
    """Take the trees out of a fitted HistGradientBoosting estimator, padded to complete ones."""
    grown = [stage[0].nodes for stage in model._predictors]
    nodes = 2**DEPTH - 1
    feature = np.zeros((len(grown), nodes), np.int16)
    threshold = np.zeros((len(grown), nodes), np.float32)
    value = np.zeros((len(grown), nodes + 1), np.float32)
    for k, tree in enumerate(grown):
        source = {0: 0}
        for place in range(nodes):
            node = tree[source[place]]
            split = not node["is_leaf"]
            if split:
                feature[k, place], threshold[k, place] = node["feature_idx"], node["num_threshold"]
            source[2 * place + 1] = int(node["left"]) if split else source[place]
            source[2 * place + 2] = int(node["right"]) if split else source[place]
        value[k] = [tree[source[nodes + leaf]]["value"] for leaf in range(nodes + 1)]
    return Trees(feature, threshold, value, np.asarray(np.ravel(model._baseline_prediction)[0], np.float32))


def no_trees() -> Trees:
    """Give a forest that adds up to zero, for stages that are not trained yet."""
    return Trees(
        np.zeros((1, 1), np.int16),
        np.zeros((1, 1), np.float32),
        np.zeros((1, 2), np.float32),
        np.zeros((), np.float32),
    )
