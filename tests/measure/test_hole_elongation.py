"""Holes drawn head on, whose widths are known, with a card that lies over a part of their rim."""

import cv2
import numpy as np
import pytest

from visual_aid.measure import hole_elongation
from visual_aid.measure.measurement import View
from visual_aid.measure.scale import Scale
from visual_aid.photo import Photo

SIZE, FINER = 480, 4
PX = 10.0
"""Pixels a millimetre."""


def seen(long, short, covered=None):
    """Give a view of a hole of two widths in mm, the longer one level, the card up to ``covered`` mm of it.

    The paper's edge stands upright, ``covered`` mm inside the rim at its right; the pattern, 8 squares of 5
    mm wide, begins 2 mm further right.
    """
    middle = SIZE / 2
    grey = np.full((SIZE * FINER, SIZE * FINER), 120, np.uint8)
    half = round(long / 2 * PX * FINER), round(short / 2 * PX * FINER)
    cv2.ellipse(grey, (round(middle * FINER),) * 2, half, 0, 0, 360, 25, -1)
    outline = None
    if covered is not None:
        edge, side = middle + (long / 2 - covered) * PX, 400.0
        grey[:, round(edge * FINER) :] = 225
        left = edge + 2 * PX
        top = middle - side / 2
        outline = np.array([(left, top), (left + side, top), (left + side, top + side), (left, top + side)])
    # A lens blurs light; 2.2 is the exponent that sRGB comes to.
    light = cv2.GaussianBlur((grey / 255.0) ** 2.2, (0, 0), FINER)
    grey = 255 * cv2.resize(light, (SIZE, SIZE), interpolation=cv2.INTER_AREA) ** (1 / 2.2)
    grey = np.clip(grey + np.random.default_rng(4).normal(0, 2, grey.shape), 0, 255).astype(np.uint8)
    photo = Photo.from_array(np.repeat(grey[..., None], 3, 2), "hole.png")
    scale = Scale(np.diag([PX, PX, 1.0]), np.zeros((8, 8)), 0.002, True, "the card", outline)
    w, h = long * PX, short * PX
    return View(photo, (middle - w / 2, middle - h / 2, w, h), scale, "")


def measured(view):
    found = hole_elongation.measure([view])
    return {figure.name: figure.value for figure in found.figures}


@pytest.mark.parametrize("covered", [None, 0.0, 0.4, 1.0, 2.5])
@pytest.mark.parametrize(("long", "short"), [(20.0, 20.0), (22.0, 20.0)])
def test_what_the_card_covers_of_a_hole_is_no_rim(long, short, covered):
    figures = measured(seen(long, short, covered))
    assert figures["axis_ratio"] == pytest.approx(long / short, abs=0.012)
    assert figures["longest_mm"] == pytest.approx(long, abs=0.2)
    assert figures["shortest_mm"] == pytest.approx(short, abs=0.2)
