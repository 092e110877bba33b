"""A find is described by its like-sized neighbours, whatever the order and the scale."""

import numpy as np
import pytest

from visual_aid.fasteners.context import COUNT, context

CIRCLES = np.array([[100, 100, 20], [180, 100, 21], [260, 100, 20], [900, 700, 70]], np.float32)
ODDS = np.array([3.0, 2.0, -1.0, 0.5])


def test_like_neighbours_count_and_unlike_ones_do_not() -> None:
    rows = context(CIRCLES, ODDS)
    assert rows.shape == (4, COUNT)
    sure = 1 / (1 + np.exp(-ODDS))
    assert rows[2, 3] == pytest.approx(sure[0] + sure[1], rel=1e-5)
    assert rows[3, 3] == 0
    assert rows[3, 2] == pytest.approx(sure[:3].sum(), rel=1e-5)


def test_order_does_not_matter_and_scale_changes_the_size_alone() -> None:
    order = [2, 0, 3, 1]
    assert context(CIRCLES[order], ODDS[order]) == pytest.approx(context(CIRCLES, ODDS)[order], abs=1e-5)
    larger = context(CIRCLES * 3, ODDS)
    assert np.delete(larger, 1, axis=1) == pytest.approx(
        np.delete(context(CIRCLES, ODDS), 1, axis=1), abs=1e-4
    )


def test_one_find_alone() -> None:
    row = context(CIRCLES[:1], ODDS[:1])[0]
    assert row[0] == pytest.approx(3.0)
    assert row[2:].tolist() == [0] * (COUNT - 2)
