import dataclasses
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from visual_aid.fasteners.lean import add_lean, seated
from visual_aid.model import Fastener
from visual_aid.photo import Photo


@given(st.floats(0.02, 1.2), st.floats(0, 2 * math.pi), st.floats(0.5, 1.5), st.floats(10, 150))
def test_tilt_axis_and_seat_tell_of_the_same_lean(lean, bearing, height, radius):
    slope = np.array([lean * math.cos(bearing), lean * math.sin(bearing)])
    fastener = seated(Fastener(1, "hex_nut", 500, 400, radius), slope, height)
    tilt = math.radians(fastener.tilt)
    # A height h R is seen as h R sin t; the seen radius is R sqrt(cos t).
    assert math.sin(tilt) / math.sqrt(math.cos(tilt)) == pytest.approx(lean, rel=1e-6)
    across = math.radians(fastener.tilt_axis)
    assert math.cos(across) * slope[0] + math.sin(across) * slope[1] == pytest.approx(0, abs=1e-6)
    shift = np.array([500, 400]) - fastener.seat
    assert shift == pytest.approx(slope * height * radius)


def test_head_on_there_is_no_tilt():
    fastener = seated(Fastener(1, "hex_nut", 50, 40, 20), np.zeros(2), 1.3)
    assert fastener.tilt == 0
    assert fastener.seat == (50, 40)


@pytest.mark.parametrize("tilt", [25, 40])
def test_drawn_nuts_lean_the_way_they_were_drawn(draw_joint, tilt):
    pixels, fasteners = draw_joint(tilt=tilt)
    bare = [dataclasses.replace(f, tilt=None, tilt_axis=None) for f in fasteners]
    leaning = add_lean(Photo.from_array(pixels, name="joint.png"), bare)
    for found, true in zip(leaning, fasteners, strict=True):
        # The drawn axis rises straight up in the picture: the seat lies below the top.
        assert found.seat[1] - true.cy > 0.25 * true.radius
        assert abs(found.seat[0] - true.cx) < 0.6 * true.radius
        assert found.tilt == pytest.approx(tilt, abs=20)
    # The drawing has no perspective; what is added for it to each side evens out.
    assert np.median([found.tilt for found in leaning]) == pytest.approx(tilt, abs=15)


def test_a_mirrored_photo_leans_the_other_way(draw_joint):
    pixels, fasteners = draw_joint(tilt=35)
    width = pixels.shape[1]
    flipped = [dataclasses.replace(f, cx=width - 1 - f.cx) for f in fasteners]
    straight = add_lean(Photo.from_array(pixels, name="a.png"), fasteners)
    mirrored = add_lean(Photo.from_array(np.ascontiguousarray(pixels[:, ::-1]), name="b.png"), flipped)
    for a, b in zip(straight, mirrored, strict=True):
        assert a.seat[1] == pytest.approx(b.seat[1], abs=0.25 * a.radius)


def test_no_fasteners_no_lean():
    assert add_lean(Photo.from_array(np.zeros((80, 80, 3), np.uint8), name="black.png"), []) == ()
