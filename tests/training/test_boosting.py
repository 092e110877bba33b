"""Trees survive the way out of scikit-learn."""

import numpy as np
import pytest
from sklearn.ensemble import HistGradientBoostingClassifier, HistGradientBoostingRegressor

from visual_aid.training.boosting import DEPTH, no_trees, to_trees


@pytest.mark.parametrize("estimator", [HistGradientBoostingClassifier, HistGradientBoostingRegressor])
def test_trees_give_what_scikit_learn_gives(estimator) -> None:
    rng = np.random.default_rng(0)
    x = rng.normal(size=(600, 5)).astype(np.float32)
    y = x[:, 0] * x[:, 1] + 0.3 * x[:, 2]
    if estimator is HistGradientBoostingClassifier:
        y = y > 0.2
    model = estimator(max_iter=25, max_leaf_nodes=12, max_depth=DEPTH, early_stopping=False).fit(x, y)
    fresh = rng.normal(size=(300, 5)).astype(np.float32)
    expected = model.decision_function(fresh) if hasattr(model, "decision_function") else model.predict(fresh)
    assert to_trees(model)(fresh) == pytest.approx(expected, abs=1e-4)


def test_no_trees_say_nothing() -> None:
    assert not no_trees()(np.ones((3, 2), np.float32)).any()
