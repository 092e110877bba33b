"""The quick medians and percentiles are NumPy's."""

import warnings

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from visual_aid.quantiles import median, nanmedian, percentile


@settings(derandomize=True, deadline=None)
@given(seed=st.integers(0, 10_000), rows=st.integers(1, 40), axis=st.sampled_from([None, 0, 1, -1]))
def test_a_median_is_numpys(seed, rows, axis) -> None:
    # Few whole numbers, so that many values are equal.
    values = np.random.default_rng(seed).integers(-4, 4, (rows, 5)).astype(np.float32) / 3
    ours, theirs = median(values, axis), np.median(values, axis=axis)
    assert np.array_equal(ours, theirs)
    assert ours.dtype == theirs.dtype


@settings(derandomize=True, deadline=None)
@given(seed=st.integers(0, 10_000), rows=st.integers(1, 9), axis=st.sampled_from([0, 1, -1]))
def test_a_median_of_what_is_known_is_numpys(seed, rows, axis) -> None:
    rng = np.random.default_rng(seed)
    values = np.where(rng.random((rows, 5)) < 0.4, np.nan, rng.normal(size=(rows, 5)))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)  # where nothing is known
        theirs = np.nanmedian(values, axis=axis)
    assert nanmedian(values, axis) == pytest.approx(theirs, nan_ok=True)


@settings(derandomize=True, deadline=None)
@given(seed=st.integers(0, 10_000), count=st.integers(1, 60), percent=st.integers(0, 100))
def test_a_percentile_is_numpys(seed, count, percent) -> None:
    values = np.random.default_rng(seed).normal(size=count).astype(np.float32)
    assert percentile(values, percent) == pytest.approx(np.percentile(values, percent), abs=1e-6)


def test_values_are_left_in_their_order() -> None:
    values = np.array([3.0, 1.0, 2.0, 5.0])
    assert (median(values), percentile(values, 50)) == (2.5, 2.5)
    assert values.tolist() == [3, 1, 2, 5]
