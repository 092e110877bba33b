"""A drawn pack seen along its leaves, before a paler ground."""

import cv2
import numpy as np
import pytest

from visual_aid.measure.leaf_shift import measure
from visual_aid.measure.measurement import CannotMeasure, View
from visual_aid.photo import Photo

LEAVES, THICK, GAP = 6, 45, 6
LEFT, TOP, LONG = 150, 100, 500


def pack(pale=None, shifted=None, by=0):
    """Draw a pack with one leaf as pale as the ground, and one out of line by some pixels."""
    light = np.full((520, 800), 165.0)
    light[TOP : TOP + LEAVES * (THICK + GAP) - GAP, LEFT : LEFT + LONG] = 15
    for k in range(LEAVES):
        top, left = TOP + k * (THICK + GAP), LEFT + (by if k == shifted else 0)
        light[top : top + THICK, left : left + LONG] = 165 if k == pale else 90
    seen = cv2.GaussianBlur(light, (0, 0), 0.8) + np.random.default_rng(1).normal(0, 3, light.shape)
    photo = Photo.from_array(seen.clip(0, 255).round().astype(np.uint8)[..., None].repeat(3, 2))
    return [View(photo, (LEFT - 50.0, TOP - 4.0, LONG + 100.0, LEAVES * (THICK + GAP) + 2.0))]


@pytest.mark.parametrize("by", [0, 20, -20])
def test_the_leaf_out_of_line_and_the_gaps_are_measured(by):
    figures = {f.name: f for f in measure(pack(shifted=3, by=by)).figures}
    assert figures["leaves"].value == LEAVES
    assert figures["shift_share"].value == pytest.approx(abs(by) / THICK, abs=0.05)
    assert figures["gap_share"].value == pytest.approx(GAP / THICK, abs=figures["gap_share"].uncertainty)
    if by:
        assert figures["leaf"].value == 4


@pytest.mark.parametrize("pale", range(1, LEAVES - 1))
def test_a_leaf_within_the_pack_whose_ends_do_not_show_is_not_taken_for_a_gap(pale):
    with pytest.raises(CannotMeasure, match=f"leaf numbered {pale + 1} from above do not stand out"):
        measure(pack(pale=pale))


@pytest.mark.parametrize("pale", [0, LEAVES - 1])
def test_what_lies_beside_the_pack_is_left_out(pale):
    figures = {f.name: f.value for f in measure(pack(pale=pale)).figures}
    assert figures["leaves"] == LEAVES - 1
