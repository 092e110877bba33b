"""Hexagons drawn under a known tilt come back with their centre, size and angle.

Across corners = across flats / cos 30 degrees: geometry of the regular hexagon.
"""

import math

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from visual_aid.fasteners.patches import lab_octaves, plane
from visual_aid.fasteners.pose import pose

SIZE = 400


def drawn(cx, cy, radius, angle, tilt, axis, noise=4.0):
    """A light hexagon (half width across flats ``radius`` in the plane's own scale) on a dark plate."""
    turns = np.radians(angle) + np.arange(6) * np.pi / 3
    corners = np.stack([np.cos(turns), np.sin(turns)], axis=1) / math.cos(math.pi / 6)
    seen = corners @ plane(tilt, axis).T * radius + (cx, cy)
    grey = np.full((SIZE, SIZE), 90, np.uint8)
    cv2.fillPoly(grey, [np.round(seen * 16).astype(np.int32)], 170, cv2.LINE_AA, 4)
    grey = cv2.GaussianBlur(grey, (0, 0), 1.0)
    grey = grey + np.random.default_rng(0).normal(0, noise, grey.shape)
    lab = np.stack([grey, np.full_like(grey, 128), np.full_like(grey, 128)], axis=-1)
    return lab_octaves(np.clip(lab, 0, 255).astype(np.uint8)), seen


def apart(a: float, b: float) -> float:
    return abs((a - b + 30) % 60 - 30)


@settings(derandomize=True, deadline=None, max_examples=40)
@given(
    angle=st.floats(0, 59.9),
    tilt=st.floats(0, 50),
    axis=st.floats(0, 179.9),
    radius=st.floats(18, 80),
    off=st.tuples(st.floats(-0.08, 0.08), st.floats(-0.08, 0.08), st.floats(-0.08, 0.08)),
)
def test_tilted_hexagon_comes_back(angle, tilt, axis, radius, off) -> None:
    octaves, corners = drawn(200.3, 190.6, radius, angle, tilt, axis)
    rough = (200.3 + off[0] * radius, 190.6 + off[1] * radius, radius * math.exp(off[2]))
    found = pose(octaves, *rough, tilt, axis)
    assert found.angle is not None
    assert apart(found.angle, angle) < 2.5
    assert math.dist((found.cx, found.cy), (200.3, 190.6)) < 0.06 * radius
    assert found.radius == pytest.approx(radius, rel=0.05, abs=1.2)
    # r = sqrt(hexagon area / (2 sqrt 3)), whatever the tilt
    area = cv2.contourArea(corners.astype(np.float32))
    assert math.sqrt(area / (2 * math.sqrt(3))) == pytest.approx(radius, rel=0.001)


def test_a_circle_has_no_angle() -> None:
    grey = np.full((SIZE, SIZE), 90, np.uint8)
    cv2.circle(grey, (200, 200), 40, 170, -1, cv2.LINE_AA)
    lab = np.dstack([cv2.GaussianBlur(grey, (0, 0), 1.0), *(np.full_like(grey, 128),) * 2])
    found = pose(lab_octaves(lab), 200, 200, 40)
    assert found.angle is None
    assert found.hexness < 0.1
    assert (found.cx, found.cy, found.radius) == (200, 200, 40)


def test_plain_plate_has_no_angle() -> None:
    assert pose(lab_octaves(np.full((SIZE, SIZE, 3), 128, np.uint8)), 200, 200, 40).angle is None


def test_the_plane_keeps_areas_and_squeezes_across_the_axis() -> None:
    matrix = plane(60.0, 30.0)
    assert np.linalg.det(matrix) == pytest.approx(1.0)
    along = np.array([math.cos(math.radians(30)), math.sin(math.radians(30))])
    assert np.linalg.norm(matrix @ along) == pytest.approx(math.sqrt(2))
    assert np.linalg.norm(matrix @ (-along[1], along[0])) == pytest.approx(math.sqrt(0.5))
