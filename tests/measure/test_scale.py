"""Lengths on a plane: against scikit-image's projective transform, and what a known length gives."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from skimage.transform import ProjectiveTransform

from visual_aid.measure.scale import ACROSS_FLATS, Scale, scale_of_length

TO_PX = np.array([[4.0, 0.3, 200.0], [-0.2, 3.6, 150.0], [2e-4, -3e-4, 1.0]])
places = st.tuples(st.floats(0, 600), st.floats(0, 500))


@given(places, places)
def test_lengths_are_those_of_scikit_image(a, b):
    """Outside check: skimage.transform.ProjectiveTransform maps the same ends."""
    scale = Scale(TO_PX, np.zeros((8, 8)), 0.0, True, "")
    there = ProjectiveTransform(TO_PX).inverse(np.array([a, b]))
    value, doubt = scale.length(a, b, 0.0)
    assert value == pytest.approx(float(np.hypot(*(there[1] - there[0]))), abs=1e-6)
    assert doubt < 1e-3


def test_doubt_grows_with_pointing_and_with_the_plane_s_own():
    sure = Scale(TO_PX, np.zeros((8, 8)), 0.0, True, "")
    unsure = Scale(TO_PX, np.diag([1e-4] * 6 + [1e-12] * 2), 0.01, True, "")
    ends = (100.0, 100.0), (400.0, 300.0)
    assert sure.length(*ends, 1.5)[1] > sure.length(*ends, 0.5)[1] > 0
    assert unsure.length(*ends, 0.0)[1] > 0.01 * unsure.length(*ends, 0.0)[0]


def test_doubt_is_what_shaking_the_ends_gives():
    scale = Scale(TO_PX, np.zeros((8, 8)), 0.0, True, "")
    ends = np.array([(100.0, 100.0), (400.0, 300.0)])
    rng = np.random.default_rng(0)
    shaken = ends + rng.normal(0, 1.5, (4000, 2, 2))
    lengths = np.hypot(*np.diff(scale.to_mm(shaken), axis=1)[:, 0].T)
    assert scale.length(*map(tuple, ends), 1.5)[1] == pytest.approx(lengths.std(), rel=0.05)


def test_a_known_length_gives_the_scale_but_no_tilt():
    scale = scale_of_length((100, 100), (180, 160), ACROSS_FLATS["M16"], "a nut")
    assert scale.length((100, 100), (180, 160))[0] == pytest.approx(24)  # ISO 4032: M16 is 24 across flats
    assert not scale.rectified
    assert scale.relative > 0.03
    for ends, length in ((((5, 5), (8, 8)), 24), (((5, 5), (80, 8)), 0)):
        with pytest.raises(ValueError, match="known length"):
            scale_of_length(*ends, length, "")


def test_how_well_the_ends_were_pointed_out_is_in_the_doubt():
    ends = (100, 100), (180, 160)
    mouse, finger = (scale_of_length(*ends, 24, "", miss) for miss in (1.5, 12))
    tilt = (1 - math.cos(math.radians(25))) / 2
    assert finger.relative**2 - tilt**2 == pytest.approx(2 * (12 / 100) ** 2)
    assert mouse.relative < finger.relative
    with pytest.raises(ValueError, match="too near"):
        scale_of_length(*ends, 24, "", 20)


def test_widths_across_flats_are_the_standards():
    """ISO 4032 and ASME B18.2.2 values as published; inch sizes exactly 25.4 mm to the inch."""
    assert [ACROSS_FLATS[f"M{d}"] for d in (8, 10, 12, 16, 20, 24, 30, 36)] == [
        13,
        16,
        18,
        24,
        30,
        36,
        46,
        55,
    ]
    assert ACROSS_FLATS["1/2 in nut"] == pytest.approx(0.75 * 25.4)
    assert ACROSS_FLATS["5/8 in nut"] == pytest.approx(15 / 16 * 25.4)
    assert ACROSS_FLATS["3/4 in nut"] == pytest.approx(1.125 * 25.4)
    assert ACROSS_FLATS["1 in nut"] == pytest.approx(1.5 * 25.4)
