"""A boxed part drawn from near, with what was measured on it."""

import numpy as np
from PIL import ImageColor

from visual_aid.measure.measurement import Mark, Measurement
from visual_aid.outputs.measured import MARK_COLOUR, NEAR, draw_part
from visual_aid.photo import Photo

BOX = (100.0, 80.0, 40.0, 20.0)


def measured(photo=0):
    mark = Mark("rim", ((110.0, 85.0), (130.0, 85.0)), closed=False, photo=photo)
    return Measurement("leaf_shift", ("a.png",), (BOX,), "no_limit", "", marks=(mark,))


def drawn(box, measurement):
    grey = Photo.from_array(np.full((300, 400, 3), 90, np.uint8), "a.png")
    return draw_part(grey, measurement, 0, box)


def test_the_part_fills_the_picture_and_its_marks_lie_where_they_were_measured():
    picture = drawn(BOX, measured())
    h, w = picture.shape[:2]
    assert w == NEAR
    assert abs(w / h - 52 / 26) < 0.02  # a box of 40 x 20 with 15 % around it on every side
    ys, xs = np.nonzero((picture == ImageColor.getrgb(MARK_COLOUR)).all(axis=2))
    scale = w / 52
    assert abs(xs.min() - (110.5 - 94) * scale) < 3
    assert abs(xs.max() - (130.5 - 94) * scale) < 3
    assert abs(ys.mean() - (85.5 - 77) * scale) < 3


def test_marks_of_the_other_photo_are_left_out():
    assert not (drawn(BOX, measured(1)) == ImageColor.getrgb(MARK_COLOUR)).all(axis=2).any()


def test_a_box_over_the_edge_is_drawn_as_far_as_there_is_photo():
    assert max(drawn((380.0, 280.0, 40.0, 40.0), measured()).shape) == NEAR
