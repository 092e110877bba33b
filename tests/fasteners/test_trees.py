"""The vectorised walk equals a walk of one row through one tree at a time."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from visual_aid.fasteners.trees import Trees

COLUMNS = 4


def grown(rng: np.random.Generator, depth: int) -> tuple[list, list, list, list, list]:
    """A random tree as lists of feature, threshold, left, right, value."""
    feature, threshold, left, right, value = [], [], [], [], []

    def grow(level: int) -> int:
        me = len(feature)
        feature.append(int(rng.integers(COLUMNS)))
        threshold.append(float(rng.normal()))
        left.append(me)
        right.append(me)
        value.append(float(rng.normal()))
        if level < depth and rng.random() < 0.8:
            left[me] = grow(level + 1)
            right[me] = grow(level + 1)
        return me

    grow(0)
    return feature, threshold, left, right, value


def naive(tree: tuple[list, list, list, list, list], row: np.ndarray) -> float:
    feature, threshold, left, right, value = tree
    node = 0
    while left[node] != node:
        node = left[node] if row[feature[node]] <= threshold[node] else right[node]
    return value[node]


@given(seed=st.integers(0, 10_000), depth=st.integers(0, 5), count=st.integers(1, 6))
def test_equals_walking_one_row_at_a_time(seed: int, depth: int, count: int) -> None:
    rng = np.random.default_rng(seed)
    forest = [grown(rng, depth) for _ in range(count)]
    widest = max(len(t[0]) for t in forest)
    padded = [[list(part) + [0] * (widest - len(part)) for part in tree] for tree in forest]
    trees = Trees(
        *(np.array([t[k] for t in padded], d) for k, d in enumerate(("i4", "f4", "i4", "i4", "f4"))),
        base=np.float32(0.25),
        depth=np.int32(depth),
    )
    x = rng.normal(size=(7, COLUMNS)).astype(np.float32)
    as_single = [tuple(np.float32(p).tolist() if i in (1, 4) else p for i, p in enumerate(t)) for t in forest]
    expected = [0.25 + sum(naive(t, row) for t in as_single) for row in x]
    assert trees(x) == pytest.approx(expected, abs=1e-5)


def test_read_back_from_a_file(tmp_path) -> None:
    one = np.zeros((1, 1), np.int32)
    trees = Trees(one, one.astype("f4"), one, one, np.full((1, 1), 2.5, "f4"), np.float32(1), np.int32(0))
    np.savez(tmp_path / "trees.npz", **trees.arrays("only"))
    with np.load(tmp_path / "trees.npz") as arrays:
        assert Trees.from_arrays(arrays, "only")(np.zeros((2, 3), np.float32)).tolist() == [3.5, 3.5]
        with pytest.raises(KeyError):
            Trees.from_arrays(arrays, "other")
