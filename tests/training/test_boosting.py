"""Trees survive the way out of scikit-learn, and learn on from what is there."""

import numpy as np
import pytest
from sklearn.ensemble import (
    GradientBoostingClassifier,
    GradientBoostingRegressor,
    HistGradientBoostingClassifier,
    HistGradientBoostingRegressor,
)

from visual_aid.training.boosting import DEPTH, classifier, no_trees, regression, to_trees

HISTOGRAMS = {"max_iter": 25, "early_stopping": False}
SORTED = {"n_estimators": 25, "init": "zero"}


@pytest.fixture
def rows():
    rng = np.random.default_rng(0)
    x = rng.normal(size=(900, 5)).astype(np.float32)
    return x, x[:, 0] * x[:, 1] + 0.3 * x[:, 2]


@pytest.mark.parametrize(
    ("estimator", "settings"),
    [
        (HistGradientBoostingClassifier, HISTOGRAMS),
        (HistGradientBoostingRegressor, HISTOGRAMS),
        (GradientBoostingClassifier, SORTED),
        (GradientBoostingRegressor, SORTED),
    ],
)
def test_trees_give_what_scikit_learn_gives(rows, estimator, settings):
    x, y = rows
    if "Classifier" in estimator.__name__:
        y = y > 0.2
    model = estimator(max_leaf_nodes=12, max_depth=DEPTH, **settings).fit(x[:600], y[:600])
    expected = getattr(model, "decision_function", model.predict)(x[600:])
    assert to_trees(model)(x[600:]) == pytest.approx(expected, abs=1e-4)


@pytest.mark.parametrize("grow", [classifier, regression])
def test_learning_on_keeps_what_was_there_and_learns_what_is_left(rows, grow):
    x, y = rows
    wanted = y > 0.2 if grow is classifier else y
    first, fresh = x[:, 0] < 0, slice(600, None)
    before = grow(x[:600][first[:600]], wanted[:600][first[:600]], 40)
    after = grow(x[:600], wanted[:600], 400, onto=before)
    kept = len(before.value)
    assert np.array_equal(after.value[:kept], before.value)
    assert len(after.value) == kept + 100

    def wrong(trees):
        said = trees(x[fresh])
        return np.mean((said > 0) != wanted[fresh]) if grow is classifier else np.mean((said - y[fresh]) ** 2)

    assert wrong(after) < 0.7 * wrong(before)


def test_where_all_is_alike_there_is_nothing_to_learn_on(rows):
    x, y = rows
    before = classifier(x, y > 0, 10)
    assert classifier(x[y > 0], np.ones((y > 0).sum(), bool), 40, onto=before) is before


def test_no_trees_say_nothing(rows):
    assert not no_trees()(rows[0]).any()
