import numpy as np
import pytest

from visual_aid.fasteners.regression import Regression, centred, likeness, shares

FEATURES, READINGS = 40, 3


def regression(examples, width, weights=None, slopes=None, base=None):
    return Regression(
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


def test_distances_are_whole_numbers_that_float32_holds():
    # As far apart as bytes can be, with the most features: the sums still fit into 24 bits.
    far = np.zeros((1, 1024), np.uint8)
    assert float((centred(far) ** 2).sum()) == 2**24
    here, there = some(3, 8), some(5, 9)
    exact = ((here[:, None].astype(int) - there) ** 2).sum(axis=2)
    assert likeness(centred(here), centred(there), np.float32(2)) == pytest.approx(
        np.exp(-exact / (2 * 255**2)), rel=1e-5
    )
