import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from visual_aid.evidence import vacancy
from visual_aid.fasteners import opinion, refine
from visual_aid.fasteners.regression import (
    FARTHEST,
    STEP,
    Components,
    Regression,
    StandardRegression,
    centred,
    coded,
    likeness,
    shares,
)

FEATURES, READINGS = 40, 3


def all_features(count=FEATURES):
    """Components that are the features themselves."""
    directions = 127 * np.eye(count, dtype=np.int8)
    return Components(directions, np.zeros(count, np.float32), np.float32(127))


def regression(examples, width, weights=None, slopes=None, base=None):
    return Regression(
        all_features(),
        examples,
        np.float32(width),
        np.zeros((len(examples), READINGS), np.float32) if weights is None else weights,
        np.zeros((FEATURES, READINGS), np.float32) if slopes is None else slopes,
        np.zeros(READINGS, np.float32) if base is None else base,
    )


def some(count, seed):
    return np.random.default_rng(seed).integers(0, 256, (count, FEATURES)).astype(np.uint8)


def test_a_patch_is_most_like_itself():
    likeness = regression(some(5, 0), 2).likeness(some(5, 0))
    assert np.diag(likeness) == pytest.approx(1, abs=1e-3)
    assert (likeness.argmax(axis=1) == np.arange(5)).all()


def test_it_is_kernel_ridge_regression():
    # Against scikit-learn, with all examples and no linear part.
    from sklearn.kernel_ridge import KernelRidge

    examples, asked = some(30, 1), some(6, 2)
    wanted = np.random.default_rng(3).normal(size=(30, READINGS))
    other = KernelRidge(alpha=0.1, kernel="rbf", gamma=1 / 5).fit(shares(examples), wanted)
    ours = regression(examples, 5, weights=other.dual_coef_.astype(np.float32))
    assert ours(asked) == pytest.approx(other.predict(shares(asked)), abs=1e-3)


def test_far_from_all_examples_the_linear_part_is_left():
    rng = np.random.default_rng(4)
    slopes, base = rng.normal(size=(FEATURES, READINGS)), rng.normal(size=READINGS)
    lone = regression(
        np.zeros((1, FEATURES), np.uint8),
        0.1,
        weights=np.ones((1, READINGS), np.float32),
        slopes=slopes.astype(np.float32),
        base=base.astype(np.float32),
    )
    asked = some(4, 5) // 2 + 128
    assert lone(asked) == pytest.approx(asked / 255 @ slopes + base, abs=1e-3)


def test_what_is_saved_comes_back(tmp_path):
    saved = regression(some(4, 6), 3)
    np.savez_compressed(tmp_path / "a.npz", **saved.arrays())
    assert (Regression.load(tmp_path / "a.npz").likeness(some(2, 7)) == saved.likeness(some(2, 7))).all()


def test_components_count_steps_from_the_middle_along_their_directions():
    two = Components(np.array([[1, 0], [1, 2]], np.int8), np.array([4, -6], np.float32), np.float32(3))
    patches = np.array([[128, 128], [130, 126], [0, 0], [255, 255]], np.uint8)
    # (0, 0), (0, -4), (-256, -256) and (254, 254), less the middle, in threes about 128.
    assert two(patches).tolist() == [[127, 130], [127, 129], [41, 45], [211, 215]]


def test_components_too_far_out_stay_at_the_end_of_the_scale():
    one = Components(np.array([[2]], np.int8), np.zeros(1, np.float32), np.float32(1))
    assert one(np.array([[0], [255]], np.uint8)).tolist() == [[0], [255]]


@pytest.mark.parametrize(
    "learned", [opinion.learned().regression, vacancy.learned().regression, *refine.looks()]
)
def test_components_are_whole_numbers_that_float32_holds(learned):
    assert 128 * np.abs(learned.components.directions.astype(int)).sum(axis=0).max() < 2**24


def test_distances_are_whole_numbers_that_float32_holds():
    # As far apart as bytes can be, with the most features: the sums still fit into 24 bits.
    far = np.zeros((1, 1024), np.uint8)
    assert float((centred(far) ** 2).sum()) == 2**24
    here, there = some(3, 8), some(5, 9)
    exact = ((here[:, None].astype(int) - there) ** 2).sum(axis=2)
    assert likeness(centred(here), centred(there), np.float32(2)) == pytest.approx(
        np.exp(-exact / (2 * 255**2)), rel=1e-5
    )


@given(st.lists(st.floats(-6, 6), min_size=1, max_size=6))
def test_coded_descriptions_keep_their_order_and_step(values):
    away = np.array(values, np.float32)
    steps = coded(away[None] * 3 + 7, np.full(len(away), 7.0), np.full(len(away), 3.0))
    back = (steps[0].astype(float) - 128) / STEP
    assert back == pytest.approx(np.clip(away, -FARTHEST, FARTHEST), abs=0.5 / STEP + 1e-4)


def test_on_standard_features_units_do_not_count(tmp_path):
    rng = np.random.default_rng(10)
    described = rng.normal(size=(6, FEATURES)).astype(np.float32)
    zeros, ones = np.zeros(FEATURES, np.float32), np.ones(FEATURES, np.float32)
    weights = rng.normal(size=(6, READINGS)).astype(np.float32)
    plain = StandardRegression(zeros, ones, regression(coded(described, zeros, ones), 9, weights))
    units = np.exp(rng.normal(size=FEATURES)).astype(np.float32)
    other = StandardRegression(5 * units, units, plain.regression)
    np.savez_compressed(tmp_path / "a.npz", **other.arrays())
    other = StandardRegression.load(tmp_path / "a.npz")
    # What a rounding to the next step may change: nothing that counts.
    assert other((described + 5) * units) == pytest.approx(plain(described), abs=0.02)
    assert np.ptp(plain(described)) > 0.1
