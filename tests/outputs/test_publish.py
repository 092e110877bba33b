import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from visual_aid.outputs.publish import CELLS, blurred


def letters(seed=0):
    """Give a photo of noise in which nothing repeats."""
    return np.random.default_rng(seed).integers(0, 256, (120, 200, 3), np.uint8)


def test_nothing_but_a_few_means_is_left():
    # Two photos that differ in every pixel of the box and agree in the means of its cells look the same.
    one = letters()
    other = one.copy()
    cell = 60 // CELLS
    box = (20, 30, 60, 60)
    for row in range(30, 90, cell):
        for column in range(20, 80, cell):
            piece = other[row : row + cell, column : column + cell]
            piece[:] = piece[::-1, ::-1]
    assert (one != other).any()
    assert (blurred(one, [box]) == blurred(other, [box])).all()


def test_the_rest_and_the_original_stay():
    one = letters()
    before = one.copy()
    out = blurred(one, [(20.4, 30.6, 60, 40)])
    assert (one == before).all()
    outside = np.ones(one.shape[:2], bool)
    outside[30:71, 20:81] = False
    assert (out[outside] == one[outside]).all()
    assert np.ptp(out[30:71, 20:81].astype(int)) < np.ptp(one[30:71, 20:81].astype(int)) / 2


def test_without_boxes_the_photo_is_itself():
    one = letters()
    assert blurred(one, []) is one


@given(st.tuples(*2 * [st.floats(-300, 300)], *2 * [st.floats(0.1, 500)]))
def test_any_box_is_cut_to_the_photo(box):
    assert blurred(letters(), [box]).shape == (120, 200, 3)


def test_a_plate_of_seven_letters_is_gone():
    # Black letters on white, each told from a blank by its middle: no column is darker where one stands.
    plate = np.full((40, 210, 3), 255, np.uint8)
    for k in range(7):
        plate[5:35, 30 * k + 5 : 30 * k + 25 : 4 + k % 3] = 0
    out = blurred(plate, [(0, 0, 210, 40)]).astype(float).mean(axis=(0, 2))
    assert np.abs(np.diff(out)).max() == pytest.approx(0, abs=3)
