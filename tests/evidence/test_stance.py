"""Stance: which way the body of a drawn nut leans, from its picture alone."""

import dataclasses
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from visual_aid.evidence.scene import Scene
from visual_aid.evidence.stance import HEIGHT_OF_NUT, find_stances
from visual_aid.photo import Photo


def stances(pixels, fasteners):
    scene = Scene.build(Photo.from_array(pixels), fasteners)
    return scene.in_place, find_stances(scene.in_place)


def turned(pixels, fasteners, quarters):
    """The same joint with the camera rolled by quarter turns anticlockwise (square pictures)."""
    last = pixels.shape[0] - 1
    for _ in range(quarters):
        pixels = np.rot90(pixels)
        fasteners = [
            dataclasses.replace(f, cx=f.cy, cy=last - f.cx, tilt_axis=(f.tilt_axis - 90) % 180)
            for f in fasteners
        ]
    return np.ascontiguousarray(pixels), fasteners


@pytest.mark.parametrize("quarters", range(4))
def test_the_base_is_found_on_the_side_where_the_flats_show(draw_joint, quarters):
    pixels, fasteners = turned(*draw_joint(tilt=45.0), quarters)
    frames, found = stances(pixels, fasteners)
    # The drawn axis rises towards image-up, so the base lies below, here turned along with the picture.
    expected = [(0, 1), (1, 0), (0, -1), (-1, 0)][quarters]
    for frame, stance in zip(frames, found, strict=True):
        way = frame.matrix @ np.array(stance.toward)
        assert np.dot(way / np.hypot(*way), expected) > 0.99
        assert stance.certainty > 2


@given(tilt=st.floats(25, 55))
def test_the_seat_is_where_it_was_drawn(draw_joint, tilt):
    pixels, fasteners = draw_joint(tilt=tilt, washer=False)
    frames, found = stances(pixels, fasteners)
    x, y = frames[0].to_photo([found[0].at(HEIGHT_OF_NUT)])[0]
    # ISO 4032, M16: 14.8 mm high, 24 mm across flats; drawn with a radius of 40 px over (160, 170).
    assert (x, y) == pytest.approx((160, 170), abs=0.1 * 40)


def test_head_on_nothing_is_certain(draw_joint):
    _, found = stances(*draw_joint(tilt=2.0))
    for stance in found:
        assert stance.certainty < 1.5
        assert math.hypot(*stance.likely(HEIGHT_OF_NUT)) < 0.1


def test_neighbours_on_one_surface_settle_a_hidden_one(draw_joint):
    pixels, fasteners = draw_joint(tilt=45.0)
    pixels[:280, :280] = pixels[:280, :280].mean(axis=(0, 1)).astype(np.uint8)
    frames, found = stances(pixels, fasteners)
    assert found[0].certainty > 2
    assert (frames[0].matrix @ np.array(found[0].toward))[1] > 0


def test_a_known_seat_is_believed_where_the_picture_is_silent(draw_joint):
    _, fasteners = draw_joint(tilt=45.0)
    blank = np.full((560, 560, 3), 120, np.uint8)
    for side in (-1, 1):
        told = [dataclasses.replace(f, seat=(f.cx, f.cy + side * 30.0)) for f in fasteners]
        frames, found = stances(blank, told)
        for frame, stance in zip(frames, found, strict=True):
            assert side * (frame.matrix @ np.array(stance.toward))[1] > 0


def test_axes_are_a_rotation_onto_the_base(draw_joint):
    _, found = stances(*draw_joint(tilt=45.0))
    for stance in found:
        assert stance.axes @ (0, 1) == pytest.approx(np.array(stance.toward))
        assert stance.axes @ stance.axes.T == pytest.approx(np.eye(2), abs=1e-9)


def test_no_fasteners_no_stances():
    assert find_stances([]) == ()
