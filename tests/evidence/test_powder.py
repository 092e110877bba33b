"""Small spots are told from lines, whatever their direction."""

import math

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from visual_aid.evidence.powder import pale_grains


@given(
    st.floats(5, 60),
    st.floats(2, 20),
    st.sampled_from([0, 45, 90, 135]),
    st.integers(1, 5),
    st.integers(0, 20),
)
def test_a_line_is_no_grain_and_a_dot_is_one(level, height, angle, width, shift):
    picture = np.full((80, 80), level, np.float32)
    direction = np.array([math.cos(math.radians(angle)), math.sin(math.radians(angle))])
    middle = np.array([30 + shift, 40])
    ends = np.int32(np.round(np.outer([-99, 99], direction) + middle))
    line = cv2.line(picture.copy(), ends[0].tolist(), ends[1].tolist(), level + height, width)
    assert pale_grains(line).max() < 1e-3
    dot = picture.copy()
    dot[40:42, 30 + shift : 32 + shift] += height
    assert pale_grains(dot).max() == pytest.approx(height, rel=1e-4)
    assert (pale_grains(dot) > 1e-3).sum() == 4
