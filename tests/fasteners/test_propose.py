"""Ring sums forget which way a window is turned; overlapping circles give way to the better one."""

import itertools

import numpy as np
import pytest

from visual_aid.fasteners import propose
from visual_aid.fasteners.channels import CHANNELS, REACH, pyramid, windows
from visual_aid.fasteners.propose import best_distinct, peaks, response, ring_sums

SIDE = 2 * REACH + 1


def test_ring_sums_stay_when_the_window_is_turned_by_a_quarter() -> None:
    cut = np.random.default_rng(0).normal(size=(5, CHANNELS, SIDE, SIDE)).astype(np.float32)
    turned = np.rot90(cut, axes=(2, 3)).copy()
    turned[:, 1:3] *= -1  # cosine and sine of twice the direction change sign with a quarter turn
    one, two = (ring_sums(c.reshape(5, -1)) for c in (cut, turned))
    plain = 7 * 4 + 6 * 13
    kept = np.delete(np.arange(plain), [1, 3])  # at the very centre no direction points outwards
    assert one[:, kept] == pytest.approx(two[:, kept], abs=1e-5)
    assert np.abs(one[:, plain:] - two[:, plain:]).max() > 0.01


def test_response_equals_the_sum_over_each_window() -> None:
    rng = np.random.default_rng(1)
    level = pyramid(rng.integers(0, 255, (90, 130)).astype(np.uint8))[0]
    template = rng.normal(size=(CHANNELS, SIDE, SIDE)).astype(np.float32)
    strength = response(level, template)
    rows, columns = np.array([0, 7, 12, 20]), np.array([3, 0, 20, 31])
    direct = windows(level, rows, columns) @ template.ravel()
    assert strength[rows, columns] == pytest.approx(direct, rel=1e-3, abs=1e-3)


def test_levels_cover_the_sizes_sought() -> None:
    levels = pyramid(np.zeros((1200, 1600), np.uint8))
    radii = [level.radius for level in levels]
    assert radii[0] <= 10
    assert radii[-1] >= 150
    assert all(b / a == pytest.approx(1.26) for a, b in itertools.pairwise(radii))
    for level in levels:
        assert level.cells.shape[1] * level.pitch[1] == pytest.approx(1200)
        assert level.cells.shape[2] * level.pitch[0] == pytest.approx(1600)


def test_a_photo_smaller_than_a_window_has_no_peaks() -> None:
    circles, seen = peaks(np.zeros((12, 12), np.uint8), np.ones((CHANNELS, SIDE, SIDE), np.float32))
    assert circles.shape == (0, 3)
    assert len(seen) == 0


def test_of_overlapping_circles_the_better_stays() -> None:
    circles = np.array([[0, 0, 10], [3, 0, 10], [3, 0, 20], [50, 0, 10]], np.float32)
    assert best_distinct(circles, np.array([1, 2, 0, -1.0]), 4, 0.35, 1.2) == [1, 2, 3]
    assert best_distinct(circles, np.array([1, 2, 0, -1.0]), 4, 0.75, np.inf) == [1, 3]
    assert best_distinct(circles, np.array([1, 2, 0, -1.0]), 1, 0.35, 1.2) == [1]
    assert best_distinct(circles[:0], np.zeros(0), 5, 0.35, 1.2) == []


def test_ring_sums_are_exact_in_any_order() -> None:
    # The largest cells there can be: whole multiples of the steps, and every partial sum under 2 ** 53.
    cut = np.full((1, CHANNELS * SIDE * SIDE), 2.0**8 - 1, np.float32)
    steps = np.abs(propose._BASIS).sum(axis=0) * (cut[0, 0] / propose._CELL_STEP)
    assert steps.max() < 2**53
    assert (np.rint(propose._BASIS) == propose._BASIS).all()
