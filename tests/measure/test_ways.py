"""The best ways down small pictures, beside all ways there are."""

import itertools
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from visual_aid.measure.ways import ways_down

WORTH = arrays(float, st.tuples(st.integers(1, 4), st.integers(1, 4)), elements=st.floats(-1, 1, width=16))


def gathered(worth, columns, most, aside):
    """Add up one way by its definition; -inf where it steps too far."""
    steps = np.abs(np.diff(columns))
    if (steps > 1).any():
        return -math.inf
    along = worth[np.arange(len(worth)), columns]
    return along[0] + np.minimum(along[1:], most).sum() - aside * steps.sum()


@given(WORTH, st.sampled_from([0.3, math.inf]), st.sampled_from([0.0, 0.1]))
def test_no_way_gathers_more(worth, most, aside):
    h, w = worth.shape
    columns, total = ways_down(worth, most=most, aside=aside)
    for end in range(w):
        ways = (np.array([*way, end]) for way in itertools.product(range(w), repeat=h - 1))
        assert total[end] == pytest.approx(max(gathered(worth, way, most, aside) for way in ways))
        assert columns[-1, end] == end
        assert gathered(worth, columns[:, end], most, aside) == pytest.approx(total[end])
