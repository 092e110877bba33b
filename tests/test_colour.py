"""Colour against published pairs, a table of the standard's formulas and a reference library."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from skimage import color

from visual_aid.colour import ciede2000, delta_e76, srgb_to_lab, srgb_to_linear

# L1, a1, b1, L2, a2, b2 and the difference to four decimals.
# Source: Sharma, Wu, Dalal, Color Res. Appl. 30(1):21-30 (2005), Table 1.
SHARMA = np.array(
    [
        (50.0, 2.6772, -79.7751, 50.0, 0.0, -82.7485, 2.0425),
        (50.0, 3.1571, -77.2803, 50.0, 0.0, -82.7485, 2.8615),
        (50.0, 2.8361, -74.02, 50.0, 0.0, -82.7485, 3.4412),
        (50.0, -1.3802, -84.2814, 50.0, 0.0, -82.7485, 1.0),
        (50.0, -1.1848, -84.8006, 50.0, 0.0, -82.7485, 1.0),
        (50.0, -0.9009, -85.5211, 50.0, 0.0, -82.7485, 1.0),
        (50.0, 0.0, 0.0, 50.0, -1.0, 2.0, 2.3669),
        (50.0, -1.0, 2.0, 50.0, 0.0, 0.0, 2.3669),
        (50.0, 2.49, -0.001, 50.0, -2.49, 0.0009, 7.1792),
        (50.0, 2.49, -0.001, 50.0, -2.49, 0.001, 7.1792),
        (50.0, 2.49, -0.001, 50.0, -2.49, 0.0011, 7.2195),
        (50.0, 2.49, -0.001, 50.0, -2.49, 0.0012, 7.2195),
        (50.0, -0.001, 2.49, 50.0, 0.0009, -2.49, 4.8045),
        (50.0, -0.001, 2.49, 50.0, 0.001, -2.49, 4.8045),
        (50.0, -0.001, 2.49, 50.0, 0.0011, -2.49, 4.7461),
        (50.0, 2.5, 0.0, 50.0, 0.0, -2.5, 4.3065),
        (50.0, 2.5, 0.0, 73.0, 25.0, -18.0, 27.1492),
        (50.0, 2.5, 0.0, 61.0, -5.0, 29.0, 22.8977),
        (50.0, 2.5, 0.0, 56.0, -27.0, -3.0, 31.903),
        (50.0, 2.5, 0.0, 58.0, 24.0, 15.0, 19.4535),
        (50.0, 2.5, 0.0, 50.0, 3.1736, 0.5854, 1.0),
        (50.0, 2.5, 0.0, 50.0, 3.2972, 0.0, 1.0),
        (50.0, 2.5, 0.0, 50.0, 1.8634, 0.5757, 1.0),
        (50.0, 2.5, 0.0, 50.0, 3.2592, 0.335, 1.0),
        (60.2574, -34.0099, 36.2677, 60.4626, -34.1751, 39.4387, 1.2644),
        (63.0109, -31.0961, -5.8663, 62.8187, -29.7946, -4.0864, 1.263),
        (61.2901, 3.7196, -5.3901, 61.4292, 2.248, -4.962, 1.8731),
        (35.0831, -44.1164, 3.7933, 35.0232, -40.0716, 1.5901, 1.8645),
        (22.7233, 20.0904, -46.694, 23.0331, 14.973, -42.5619, 2.0373),
        (36.4612, 47.858, 18.3852, 36.2715, 50.5065, 21.2231, 1.4146),
        (90.8027, -2.0831, 1.441, 91.1528, -1.6435, 0.0447, 1.4441),
        (90.9257, -0.5406, -0.9208, 88.6381, -0.8985, -0.7239, 1.5381),
        (6.7747, -0.2908, -2.4247, 5.8714, -0.0985, -2.2286, 0.6377),
        (2.0776, 0.0795, -1.135, 0.9033, -0.0636, -0.5514, 0.9082),
    ]
)

# sRGB against L, a, b. Source: IEC 61966-2-1 and CIE 1976 formulas, D65 2 degrees, computed with two
# libraries that differ by up to 0.03; hence the tolerance of 0.05.
SRGB_LAB = [
    ((255, 255, 255), (100.0, 0.0, 0.0)),
    ((0, 0, 0), (0.0, 0.0, 0.0)),
    ((119, 119, 119), (50.034, 0.0, 0.0)),
    ((128, 128, 128), (53.585, 0.0, 0.0)),
    ((255, 0, 0), (53.24, 80.10, 67.21)),
    ((0, 255, 0), (87.735, -86.183, 83.18)),
    ((0, 0, 255), (32.30, 79.19, -107.855)),
    ((255, 255, 0), (97.14, -21.555, 94.485)),
    ((0, 255, 255), (91.113, -48.09, -14.12)),
    ((255, 0, 255), (60.322, 98.245, -60.825)),
    ((183, 65, 14), (44.062, 45.76, 51.122)),
    ((139, 69, 19), (37.47, 26.445, 40.987)),
    ((30, 60, 140), (27.847, 19.417, -47.655)),
    ((240, 200, 30), (81.80, -0.334, 78.989)),
    ((150, 40, 40), (34.305, 45.455, 27.293)),
]

labs = hnp.arrays(float, (3,), elements=st.floats(-100, 100)).map(lambda v: np.array([abs(v[0]), v[1], v[2]]))


def test_ciede2000_meets_the_published_pairs():
    found = ciede2000(SHARMA[:, :3], SHARMA[:, 3:6])
    np.testing.assert_allclose(found, SHARMA[:, 6], atol=1e-4)


@given(labs, labs)
def test_ciede2000_agrees_with_the_reference_library(one, other):
    assert ciede2000(one, other) == pytest.approx(color.deltaE_ciede2000(one, other), abs=1e-6)


@given(labs, labs)
def test_differences_are_symmetric_and_zero_only_to_themselves(one, other):
    for difference in (delta_e76, ciede2000):
        assert difference(one, other) == pytest.approx(difference(other, one), abs=1e-9)
        assert difference(one, one) == 0


def test_differences_broadcast_over_images():
    image = np.zeros((4, 5, 3), np.float32)
    image[..., 0] = 50
    plate = np.array([50, 3, 4], np.float32)
    assert delta_e76(image, plate).shape == (4, 5)
    assert delta_e76(image, plate) == pytest.approx(5.0)
    assert ciede2000(image, plate).shape == (4, 5)


@pytest.mark.parametrize(("rgb", "lab"), SRGB_LAB)
def test_srgb_to_lab_meets_the_table(rgb, lab):
    assert srgb_to_lab(np.array(rgb, np.uint8)) == pytest.approx(np.array(lab), abs=0.05)


def test_every_grey_is_neutral():
    greys = np.repeat(np.arange(256, dtype=np.uint8)[:, None], 3, axis=1)
    assert np.abs(srgb_to_lab(greys)[:, 1:]).max() < 0.02


def test_srgb_to_lab_agrees_with_the_reference_library():
    rgb = np.random.default_rng(1).integers(0, 256, (120, 130, 3), dtype=np.uint8)
    lab = srgb_to_lab(rgb)
    assert lab.dtype == np.float32
    np.testing.assert_allclose(lab, color.rgb2lab(rgb), atol=0.05)


def test_srgb_to_linear_follows_the_standard_for_all_256_values():
    # IEC 61966-2-1: a straight line up to 0.04045, then ((v + 0.055) / 1.055) ** 2.4.
    values = np.arange(256, dtype=np.uint8)
    expected = [
        v / 255 / 12.92 if v / 255 <= 0.04045 else ((v / 255 + 0.055) / 1.055) ** 2.4 for v in range(256)
    ]
    np.testing.assert_allclose(srgb_to_linear(values), expected, rtol=1e-6)


@pytest.mark.parametrize("shape", [(3,), (7, 3), (0, 3), (2, 5, 3), (2, 2, 2, 3)])
def test_any_stack_of_colours_keeps_its_shape(shape):
    rgb = np.full(shape, 119, np.uint8)
    assert srgb_to_linear(rgb).shape == shape
    assert srgb_to_lab(rgb).shape == shape
