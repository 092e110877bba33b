import dataclasses
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from visual_aid.evidence.frame import (
    PIXELS_PER_RADIUS,
    RADIUS,
    U,
    V,
    box_of,
    build_frames,
    plane_to_image,
)
from visual_aid.model import Fastener
from visual_aid.photo import Photo

tilts = st.floats(0, 55)
turns = st.floats(0, 179.9)
radii = st.floats(8, 200)


@given(tilts, turns, radii)
def test_the_tilt_ellipse_keeps_the_seen_area(tilt, axis, radius):
    # The area of an ellipse is the determinant of its map times that of the unit circle.
    matrix = plane_to_image(Fastener(1, "hex_nut", 0, 0, radius, tilt=tilt, tilt_axis=axis))
    assert np.linalg.det(matrix) == pytest.approx(radius**2)
    long, short = np.linalg.svd(matrix)[1]
    assert short / long == pytest.approx(math.cos(math.radians(tilt)))


@given(tilts, turns, st.floats(-180, 180), st.floats(-2, 2), st.floats(-2, 2))
def test_frame_coordinates_come_back(tilt, axis, gravity, u, v):
    photo = Photo.from_array(np.zeros((200, 300, 3), np.uint8), name="black.png")
    fastener = Fastener(1, "hex_nut", 120, 90, 25, tilt=tilt, tilt_axis=axis)
    down = (math.sin(math.radians(gravity)), math.cos(math.radians(gravity)))
    (frame,) = build_frames(photo, [fastener], down)
    x, y = frame.to_photo([(u, v)])[0]
    assert frame.from_photo(x, y) == pytest.approx((u, v), abs=1e-6)
    fallen = frame.to_photo([(0, 1)])[0] - (120, 90)
    assert np.cross(np.append(fallen, 0), np.append(down, 0))[2] == pytest.approx(0, abs=1e-6)
    assert fallen @ down > 0
    right = frame.to_photo([(1, 0)])[0] - (120, 90)
    assert right[0] * fallen[1] - right[1] * fallen[0] > 0, "mirrored"


def test_a_tilted_ring_is_round_in_the_frame():
    pixels = np.full((400, 400, 3), 200, np.uint8)
    fastener = Fastener(1, "hex_nut", 200, 200, 40, tilt=40, tilt_axis=30)
    inverse = np.linalg.inv(plane_to_image(fastener))
    y, x = np.mgrid[0:400, 0:400]
    plane = np.stack([x - 200, y - 200], -1) @ inverse.T
    pixels[np.hypot(plane[..., 0], plane[..., 1]) < 1.5] = 40
    (frame,) = build_frames(Photo.from_array(pixels, name="disc.png"), [fastener])
    dark = frame.rgb[..., 0] < 120
    assert RADIUS[dark].max() == pytest.approx(1.5, abs=2.5 / PIXELS_PER_RADIUS)
    assert RADIUS[~dark & frame.valid].min() == pytest.approx(1.5, abs=2.5 / PIXELS_PER_RADIUS)


def test_a_seat_frame_is_centred_on_the_seat_and_knows_the_body(draw_joint):
    pixels, (first, *others) = draw_joint()
    seated = dataclasses.replace(first, seat=(160.0, 170.0))
    photo = Photo.from_array(pixels, name="joint.png")
    (frame, *_) = build_frames(photo, [seated, *others], on_seat=True)
    assert frame.origin == (160.0, 170.0)
    u, v = frame.from_photo(first.cx, first.cy)
    assert frame.body[np.unravel_index(np.argmin(np.hypot(U - u, V - v)), U.shape)]
    assert frame.body[np.unravel_index(np.argmin(RADIUS), U.shape)]
    assert not frame.body[RADIUS > 3.2].any()


def test_other_fasteners_and_the_world_outside_are_not_valid():
    photo = Photo.from_array(np.zeros((200, 200, 3), np.uint8), name="black.png")
    pair = [Fastener(1, "hex_nut", 30, 100, 20), Fastener(2, "hex_nut", 80, 100, 20)]
    frame, _ = build_frames(photo, pair)
    assert not frame.valid[np.hypot(U - 2.5, V) < 1.4].any()
    assert not frame.valid[U < -1.6].any()
    assert frame.valid[(np.abs(U) < 0.9) & (np.abs(V) < 0.9)].all()


def test_the_box_of_an_outline():
    assert box_of(((3.0, 4.0), (1.0, 9.0), (2.0, 5.0))) == (1.0, 4.0, 2.0, 5.0)
