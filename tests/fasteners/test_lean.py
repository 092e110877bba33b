import dataclasses
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from visual_aid.fasteners import lean
from visual_aid.fasteners.lean import HEIGHTS, add_lean, seated
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


def on_a_ring(tilt, axis, count=8, score=1.0):
    """Nuts on a ring seen at a tilt, in the middle of a photo and small, so that perspective adds little."""
    angles = 2 * math.pi * np.arange(count) / count
    squeezed = np.array([np.cos(angles), math.cos(math.radians(tilt)) * np.sin(angles)])
    c, s = math.cos(math.radians(axis)), math.sin(math.radians(axis))
    places = np.add((np.array([[c, -s], [s, c]]) @ (90 * squeezed)).T, (800, 600))
    return [
        Fastener(i, "hex_nut", float(x), float(y), 15.0, score=score) for i, (x, y) in enumerate(places, 1)
    ]


def leaning_as_read(monkeypatch, fasteners, slope):
    """Lean fasteners of which the closer look reads ``slope``, in r for each r of height."""
    monkeypatch.setattr(lean, "leans", lambda _octaves, circles: np.tile(slope, (len(circles), 1)))
    read = np.array(slope) / HEIGHTS["hex_nut"] * lean.STRETCH
    leaning = add_lean(Photo.from_array(np.zeros((1200, 1600, 3), np.uint8), name="black.png"), fasteners)
    tops = [np.subtract((f.cx, f.cy), f.seat) / f.radius / HEIGHTS["hex_nut"] for f in leaning]
    return leaning, np.mean(tops, axis=0), read


@pytest.mark.parametrize("axis", [0.0, 50.0, 140.0])
@pytest.mark.parametrize("side", [1, -1])
def test_a_ring_tells_the_tilt_and_the_nuts_on_it_the_side(monkeypatch, axis, side):
    across = np.radians(axis + 90)
    way = side * np.array([math.cos(across), math.sin(across)])
    leaning, slope, read = leaning_as_read(monkeypatch, on_a_ring(40, axis), 0.4 * way)
    # A circle under tilt t is an ellipse whose axes are as cos t to one (orthographic view).
    assert np.median([f.tilt for f in leaning]) == pytest.approx(40, abs=1.5)
    assert slope == pytest.approx(
        way * math.sin(math.radians(40)) / math.sqrt(math.cos(math.radians(40))), abs=0.03
    )
    assert math.dist(slope, read) > 0.2


def test_what_does_not_lie_on_a_ring_or_does_not_lean_with_it_is_read_off_the_nuts(monkeypatch):
    five = on_a_ring(40, 0.0, count=5)
    unsure = on_a_ring(40, 0.0, score=0.1)
    contrary = on_a_ring(60, 0.0)
    for fasteners, reading in ((five, (0.0, 0.4)), (unsure, (0.0, 0.4)), (contrary, (0.4, 0.0))):
        _, slope, read = leaning_as_read(monkeypatch, fasteners, np.array(reading))
        assert slope == pytest.approx(read, abs=0.02)
