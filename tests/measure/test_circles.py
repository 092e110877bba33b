"""Circles of one plane against a pinhole camera: the truth is the camera's own."""

import math

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from visual_aid.measure.circles import offset_of

SIZE = (1600, 1200)


def seen(circles, tilt, axis, focal, distance=400.0):
    """See circles (x, y, radius in millimetres) of one plane as a tilted camera does."""
    turned, _ = cv2.Rodrigues(
        math.radians(tilt) * np.array([math.cos(math.radians(axis)), math.sin(math.radians(axis)), 0])
    )
    around = np.linspace(0, 2 * math.pi, 120, endpoint=False)
    rims = []
    for x, y, r in circles:
        flat = np.column_stack([x + r * np.cos(around), y + r * np.sin(around), np.zeros(120)])
        there = flat @ turned.T + (0, 0, distance)
        rims.append(
            focal * SIZE[0] * there[:, :2] / there[:, 2:] + np.array([(SIZE[0] - 1) / 2, (SIZE[1] - 1) / 2])
        )
    return rims


@settings(max_examples=12)
@given(
    tilt=st.floats(0, 25),
    axis=st.floats(0, 360),
    off=st.floats(0.2, 0.9),
    bearing=st.floats(0, 6.28),
    focal=st.floats(0.8, 1.4),
)
def test_an_offset_is_found_whatever_the_tilt(tilt, axis, off, bearing, focal):
    x, y = off * 18 * math.cos(bearing), off * 18 * math.sin(bearing)
    outer, inner, bore = seen([(0, 0, 36), (x, y, 18), (x, y, 10)], tilt, axis, focal)
    found = offset_of(outer, inner, SIZE, bore)
    assert found is not None
    assert np.hypot(*found.by) == pytest.approx(off, abs=0.03)
    assert found.inner == pytest.approx(0.5, abs=0.02)


def test_ellipses_centres_alone_would_be_wrong_by_more():
    """The centre of a circle seen at a tilt is not that of its ellipse: a fact of projective geometry."""
    outer, inner, bore = seen([(0, 0, 36), (0, 0, 18), (0, 0, 10)], 22, 30, 1.0, 250.0)
    (ox, oy), one, _ = cv2.fitEllipse(outer.astype(np.float32))
    (ix, iy), other, _ = cv2.fitEllipse(inner.astype(np.float32))
    naive = 2 * math.hypot(ox - ix, oy - iy) / (math.sqrt(math.prod(one)) - math.sqrt(math.prod(other)))
    found = offset_of(outer, inner, SIZE, bore)
    assert naive > 0.04
    assert np.hypot(*found.by) < naive / 4


def test_rims_that_are_no_circles_of_one_plane_are_refused():
    outer, inner = seen([(0, 0, 36), (5, 0, 18)], 10, 0, 1.0)
    squeezed = (inner - inner.mean(axis=0)) * (1.0, 0.7) + inner.mean(axis=0)
    assert offset_of(outer, squeezed, SIZE) is None
