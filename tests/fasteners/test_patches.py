"""Sampling follows the picture's geometry, and features tell hexagons from circles at any tilt and size."""

import math

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from visual_aid.fasteners.patches import (
    FEATURES,
    HEX_FEATURES,
    Octaves,
    features,
    hexagon_features,
    lab_octaves,
    lengths_and_bins,
    plane,
    sample,
)

STEPS = np.linspace(-1.5, 1.5, 7).astype(np.float32)
X, Y = (a.astype(np.float32) for a in np.meshgrid(STEPS, STEPS))


@settings(derandomize=True, deadline=None)
@given(cx=st.floats(250, 380), cy=st.floats(200, 300), r=st.floats(6, 120))
def test_a_ramp_is_sampled_where_it_lies(cx, cy, r) -> None:
    """On a plane of grey values every octave and every interpolation gives the plane's own value."""
    rows, columns = np.mgrid[:512, :640]
    ramp = np.round(0.2 * columns + 0.15 * rows).astype(np.uint8)
    octaves = lab_octaves(np.dstack([ramp] * 3))
    got = sample(octaves.lab, np.array([[cx, cy, r]], np.float32), X, Y, 10.0)
    assert got.shape == (1, 7, 7, 3)
    expected = 0.2 * (cx + r * X) + 0.15 * (cy + r * Y)
    assert np.abs(got[0, ..., 0] - expected).max() < 1.0
    light = sample(octaves.light, np.array([[cx, cy, r]], np.float32), X, Y, 10.0)
    assert light.shape == (1, 7, 7)
    assert (light == got[..., 0]).all()


def drawn(shape: str, tilt: float, axis: float, radius: float = 40.0) -> Octaves:
    turns = np.linspace(0, 2 * np.pi, 6 if shape == "hexagon" else 90, endpoint=False) + 0.2
    size = radius / math.cos(math.pi / 6) if shape == "hexagon" else 1.05 * radius
    points = np.stack([np.cos(turns), np.sin(turns)], axis=1) @ plane(tilt, axis).T * size + 160
    grey = np.full((320, 320), 80, np.uint8)
    cv2.fillPoly(grey, [np.round(points * 16).astype(np.int32)], 170, cv2.LINE_AA, 4)
    return lab_octaves(np.dstack([cv2.GaussianBlur(grey, (0, 0), 1.2), *(np.full_like(grey, 128),) * 2]))


@pytest.mark.parametrize("tilt", [0.0, 30.0, 40.0])
@pytest.mark.parametrize("axis", [0.0, 60.0, 120.0])
def test_a_hexagon_stands_out_from_an_ellipse(tilt, axis) -> None:
    circle = np.array([[160, 160, 40]], np.float32)
    hexagon = hexagon_features(drawn("hexagon", tilt, axis), circle)[0]
    ellipse = hexagon_features(drawn("ellipse", tilt, axis), circle)[0]
    views = (HEX_FEATURES - 4) // 3
    assert hexagon[views : 2 * views].max() > 0.5
    assert hexagon[views : 2 * views].max() > 1.5 * ellipse[views : 2 * views].max()


def test_features_do_not_depend_on_size_and_hardly_on_exposure() -> None:
    small = drawn("hexagon", 20, 30, 40.0).lab[0]
    large = cv2.resize(small, None, fx=2, fy=2, interpolation=cv2.INTER_CUBIC)
    one = features(lab_octaves(small), np.array([[160, 160, 40]], np.float32))[0]
    two = features(lab_octaves(large), np.array([[320.5, 320.5, 80]], np.float32))[0]
    assert one[0] != pytest.approx(two[0])  # the size itself is the first feature
    assert np.abs(one[4:] - two[4:]).mean() < 0.05
    darker = small.copy()
    darker[..., 0] = small[..., 0] // 2
    three = features(lab_octaves(darker), np.array([[160, 160, 40]], np.float32))[0]
    assert np.abs(one[7:] - three[7:]).mean() < 0.08


def test_shapes_and_no_circles() -> None:
    octaves = drawn("hexagon", 0, 0)
    none = np.zeros((0, 3), np.float32)
    assert features(octaves, none).shape == (0, FEATURES)
    assert hexagon_features(octaves, none).shape == (0, HEX_FEATURES)
    beyond = np.array([[-50, 400, 90], [10, 10, 300], [160, 160, 3]], np.float32)
    assert np.isfinite(features(octaves, beyond)).all()
    assert features(octaves, beyond).shape == (3, FEATURES)
    assert np.isfinite(hexagon_features(octaves, beyond)).all()


def test_directions_of_gradients_are_right_to_float32():
    # Against NumPy's arc tangent; opposite directions are one, and none at all stands at 0.
    rng = np.random.default_rng(4)
    dx, dy = (rng.normal(size=(3, 20, 20)).astype(np.float32) for _ in range(2))
    dx[0, 0], dy[0, 0] = 0, 0
    length, position = lengths_and_bins(dx, dy, 8)
    wanted = np.arctan2(dy.astype(float), dx) % np.pi * 8 / np.pi
    apart = np.abs(position - wanted)
    assert np.minimum(apart, 8 - apart).max() < 1e-5
    assert length == pytest.approx(np.hypot(dx, dy), rel=1e-6)
