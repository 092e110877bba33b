"""The vectorised walk equals walking one row through one tree at a time."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from visual_aid.fasteners.trees import Trees

COLUMNS = 4


def grown(rng: np.random.Generator, count: int, depth: int) -> Trees:
    nodes = 2**depth - 1
    return Trees(
        rng.integers(0, COLUMNS, (count, nodes)).astype(np.int16),
        rng.normal(size=(count, nodes)).astype(np.float32),
        rng.normal(size=(count, nodes + 1)).astype(np.float32),
        np.asarray(0.25, np.float32),
    )


def naive(trees: Trees, row: np.ndarray) -> float:
    total = float(trees.base)
    for feature, threshold, value in zip(trees.feature, trees.threshold, trees.value, strict=True):
        node = 0
        while node < len(feature):
            node = 2 * node + (2 if row[feature[node]] > threshold[node] else 1)
        total += float(value[node - len(feature)])
    return total


@settings(derandomize=True, deadline=None)
@given(seed=st.integers(0, 10_000), depth=st.integers(1, 5), count=st.integers(1, 9), rows=st.integers(0, 9))
def test_equals_walking_one_row_at_a_time(seed, depth, count, rows) -> None:
    rng = np.random.default_rng(seed)
    trees = grown(rng, count, depth)
    x = rng.normal(size=(rows, COLUMNS)).astype(np.float32)
    assert trees(x).tolist() == pytest.approx([naive(trees, row) for row in x], abs=1e-4)


def test_many_rows_are_walked_in_blocks_with_the_same_result() -> None:
    rng = np.random.default_rng(1)
    trees = grown(rng, 300, 4)
    x = rng.normal(size=(1000, COLUMNS)).astype(np.float32)
    assert trees(x) == pytest.approx(np.concatenate([trees(x[:3]), trees(x[3:])]), abs=1e-4)


def test_a_value_at_the_threshold_goes_left() -> None:
    trees = Trees(
        np.zeros((1, 1), np.int16), np.ones((1, 1), "f4"), np.array([[2.0, 3.0]], "f4"), np.asarray(0, "f4")
    )
    assert trees(np.array([[1.0], [np.nextafter(np.float32(1), np.float32(2))]], "f4")).tolist() == [2, 3]


def test_rows_with_too_few_features_are_refused() -> None:
    trees = Trees(
        np.array([[0, 0, 2]], np.int16), np.zeros((1, 3), "f4"), np.zeros((1, 4), "f4"), np.asarray(0, "f4")
    )
    assert trees(np.zeros((2, 3), "f4")).tolist() == [0, 0]
    with pytest.raises(IndexError, match="feature 2, rows have 2"):
        trees(np.zeros((2, 2), "f4"))


def test_read_back_from_a_file(tmp_path) -> None:
    trees = grown(np.random.default_rng(2), 3, 2)
    x = np.zeros((2, COLUMNS), np.float32)
    np.savez(tmp_path / "trees.npz", **trees.arrays("only"))
    with np.load(tmp_path / "trees.npz") as arrays:
        assert Trees.from_arrays(arrays, "only")(x).tolist() == trees(x).tolist()
        with pytest.raises(KeyError):
            Trees.from_arrays(arrays, "other")


@settings(derandomize=True, deadline=None)
@given(seed=st.integers(0, 10_000), first=st.integers(1, 12), most=st.integers(1, 30))
def test_a_cascade_gives_the_whole_sum_of_the_rows_that_the_first_trees_think_best_of(
    seed, first, most
) -> None:
    rng = np.random.default_rng(seed)
    trees = grown(rng, 12, 3)
    x = rng.normal(size=(20, COLUMNS)).astype(np.float32)
    few = Trees(trees.feature[:first], trees.threshold[:first], trees.value[:first], trees.base)
    early = np.array([naive(few, row) for row in x])
    cascaded = trees.of_best(x, first, most)
    kept = np.isfinite(cascaded)
    assert kept.sum() == min(most, len(x))
    assert cascaded[kept] == pytest.approx(trees(x)[kept], abs=1e-4)
    assert (early[kept].min() >= early[~kept] - 1e-4).all()
