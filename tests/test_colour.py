"""Colour against a table of the standard's formulas and a reference library."""

import numpy as np
import pytest
from skimage import color

from visual_aid.colour import srgb_to_lab, srgb_to_linear

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
