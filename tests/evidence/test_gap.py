"""Gap: drawn nuts that stand along a known axis, tight or lifted, on a textured surface."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from visual_aid.evidence import gap
from visual_aid.evidence.scene import Scene
from visual_aid.photo import Photo

R = 40.0
# ISO 4032: an M16 nut is 24 mm across flats and 14.8 mm high. ISO 7089: its washer is 3 mm thick.
NUT_HEIGHT, WASHER_HEIGHT = 14.8 / 12, 3 / 12
FIRST = (160, 170)
LIFTED = (0.3, 0, 0, 0)
TIGHT = (0, 0, 0, 0)


def measured(drawn):
    pixels, fasteners = drawn
    found = gap.measure(Scene.build(Photo.from_array(pixels), fasteners))
    assert not found.not_judged
    return found.measurements


def test_a_slit_under_one_nut_is_dark_and_its_neighbours_are_not(draw_joint):
    lifted, *tight = measured(draw_joint(LIFTED))
    for other in tight:
        assert lifted.measures["depth_l"] > other.measures["depth_l"] + 15
        assert lifted.features["excess"] > other.features["excess"] + 0.2
        assert lifted.features["darkest"] < other.features["darkest"] - 0.2


@given(lift=st.floats(0.2, 0.45), tilt=st.floats(35, 55))
def test_the_slit_is_measured_in_nut_radii(draw_joint, lift, tilt):
    found = measured(draw_joint((lift, 0, 0, 0), tilt=tilt))[0]
    assert found.measures["width_r"] == pytest.approx(lift, abs=0.12)
    assert found.measures["height_r"] == pytest.approx(NUT_HEIGHT + lift / 2, abs=0.2)


def test_the_shadow_of_a_tight_nut_is_no_dark_band(draw_joint):
    lifted = measured(draw_joint(LIFTED))[0].measures
    for shaded in (m.measures for m in measured(draw_joint(TIGHT, shadow=True))):
        assert shaded["depth_l"] < lifted["depth_l"] / 2


def test_a_washers_own_rim_is_no_dark_band(draw_joint):
    for tight in measured(draw_joint(TIGHT)):
        assert tight.measures["depth_l"] < 12


def test_a_gap_does_not_depend_on_the_exposure(draw_joint):
    pixels, fasteners = draw_joint(LIFTED)
    darker = (pixels * 0.6).astype(np.uint8)
    bright, dim = (measured((p, fasteners))[0] for p in (pixels, darker))
    assert dim.features["below_edge"] == pytest.approx(bright.features["below_edge"], abs=0.1)
    assert dim.measures["width_r"] == pytest.approx(bright.measures["width_r"], abs=0.06)


def test_the_outline_lies_on_the_slit(draw_joint):
    outline = np.array(measured(draw_joint((0.35, 0, 0, 0)))[0].outline)
    x, y = FIRST
    rise = R * math.sin(math.radians(45))
    slit = y - (WASHER_HEIGHT + 0.35 / 2) * rise + R * math.cos(math.radians(45))
    middle = outline[np.abs(outline[:, 0] - x) < 0.3 * R]
    assert middle[:, 1].mean() == pytest.approx(slit, abs=0.15 * R)


def test_nuts_seen_from_the_front_are_not_judged(draw_joint):
    pixels, fasteners = draw_joint(TIGHT, tilt=5.0)
    found = gap.measure(Scene.build(Photo.from_array(pixels), fasteners))
    assert not found.measurements
    assert [n.cue for n in found.not_judged] == ["gap"]
    assert "front" in found.not_judged[0].why


def test_a_single_nut_has_no_neighbours_to_compare_with(draw_joint):
    pixels, fasteners = draw_joint(LIFTED)
    (alone,) = measured((pixels, fasteners[:1]))
    assert math.isnan(alone.features["excess"])
    assert alone.measures["depth_l"] > 15


def test_a_photo_without_fasteners_gives_nothing_and_says_so(draw_joint):
    found = gap.measure(Scene.build(Photo.from_array(draw_joint(TIGHT)[0]), []))
    assert (found.measurements, found.not_judged[0].cue) == ((), "gap")


def test_measuring_twice_gives_the_same(draw_joint):
    assert [m.features for m in measured(draw_joint(LIFTED))] == [
        m.features for m in measured(draw_joint(LIFTED))
    ]
