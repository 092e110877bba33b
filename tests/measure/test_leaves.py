"""Drawn packs, level, leaning and drawn together by perspective, are taken apart into their leaves."""

import cv2
import numpy as np
import pytest

from visual_aid.measure.broken_leaf import measure
from visual_aid.measure.leaves import take_apart
from visual_aid.measure.measurement import CannotMeasure, View
from visual_aid.measure.patch import cut
from visual_aid.photo import Photo

LEAVES, THICK, LONG = 4, 44, 900


def pack(corners, cracked=None, clip=False, seed=0):
    """Draw a pack with its corners (upper left, upper right, lower right, lower left) on a paler ground."""
    rng = np.random.default_rng(seed)
    light = np.full((LEAVES * THICK, LONG), 105.0)
    for k in range(1, LEAVES):
        light[k * THICK - 2 : k * THICK + 2] = 20
    if cracked is not None:
        light[cracked * THICK : (cracked + 1) * THICK, 300:304] = 15
    if clip:
        light[:, 600:660] = 150
        light[:, 596:600] = light[:, 660:664] = 30
    square = [(0, 0), (LONG - 1, 0), (LONG - 1, LEAVES * THICK - 1), (0, LEAVES * THICK - 1)]
    to_photo = cv2.getPerspectiveTransform(np.array(square, np.float32), np.array(corners, np.float32))
    ground = np.full((500, 1100), 140.0)
    photo = cv2.warpPerspective(light, to_photo, (1100, 500), ground, borderMode=cv2.BORDER_TRANSPARENT)
    photo = cv2.GaussianBlur(photo, (0, 0), 0.8) + rng.normal(0, 3, photo.shape)
    (left, top), (right, bottom) = np.min(corners, axis=0), np.max(corners, axis=0)
    pixels = photo.clip(0, 255).round().astype(np.uint8)[..., None].repeat(3, 2)
    return View(Photo.from_array(pixels), (float(left), float(top), float(right - left), float(bottom - top)))


LEVEL = [(100, 150), (999, 150), (999, 325), (100, 325)]
LEANING = [(100, 220), (990, 150), (1004, 324), (114, 394)]
DRAWN = [(100, 140), (999, 165), (999, 315), (100, 345)]
SEEN = pytest.mark.parametrize("corners", [LEVEL, LEANING, DRAWN], ids=["level", "leaning", "drawn"])


@SEEN
def test_leaves_are_counted_and_of_one_thickness(corners):
    patch = cut(pack(corners), 900)
    found = take_apart(patch)
    assert len(found.bands) == LEAVES
    thick = [b - a for a, b in found.bands]
    assert max(thick) < 1.25 * min(thick)


@SEEN
def test_points_of_the_level_pack_map_back(corners):
    patch = cut(pack(corners), 900)
    found = take_apart(patch)
    upper = found.bands[0][1] + 1.5  # in the first gap, a quarter down the pack's left and right side
    ends = patch.outline(found.back(np.array([[60.0, upper], [840.0, upper]])))
    upper_left, upper_right, lower_right, lower_left = np.array(corners, float)
    ax, ay = 0.75 * upper_left + 0.25 * lower_left
    bx, by = 0.75 * upper_right + 0.25 * lower_right
    for x, y in ends:
        assert y == pytest.approx(ay + (by - ay) * (x - ax) / (bx - ax), abs=6)


@SEEN
@pytest.mark.parametrize("leaf", range(LEAVES))
def test_a_break_is_found_in_its_leaf(corners, leaf):
    found = measure([pack(corners, cracked=leaf)])
    figures = {f.name: f.value for f in found.figures}
    assert figures["breaks"] == 1
    assert figures["leaf"] == leaf + 1


@SEEN
@pytest.mark.parametrize("clip", [False, True])
def test_a_whole_pack_is_passed_with_or_without_a_clip(corners, clip):
    assert measure([pack(corners, clip=clip)]).figures[0].value == 0


def test_a_long_pack_that_leans_beyond_its_box_is_refused():
    pixels = np.full((500, 1100, 3), 120, np.uint8)
    for k in range(-30, 60):
        cv2.line(pixels, (0, 20 * k), (1100, 20 * k + 290), (20, 20, 20), 3)
    with pytest.raises(CannotMeasure, match="told apart"):
        measure([View(Photo.from_array(pixels), (100.0, 180.0, 890.0, 60.0))])


def stacked(heights, gap, long, cracked=None):
    """Draw a level pack that fills its photo, one leaf cut through in the middle."""
    tops = np.cumsum([0, *(high + gap for high in heights)])
    light = np.full((tops[-1], long), 15.0)
    for k, high in enumerate(heights):
        light[tops[k] : tops[k] + high] = 110
    if cracked is not None:
        light[tops[cracked] : tops[cracked + 1], long // 2 - 3 : long // 2 + 3] = 15
    photo = cv2.GaussianBlur(light, (0, 0), 0.8) + np.random.default_rng(0).normal(0, 2, light.shape)
    return Photo.from_array(photo.clip(0, 255).round().astype(np.uint8)[..., None].repeat(3, 2))


@pytest.mark.parametrize("cracked", [None, 3], ids=["whole", "cracked"])
@pytest.mark.parametrize(
    ("photo", "wide"), [(([14] * 8, 5, 3000), 2900), (([90] * 20, 12, 400), 26)], ids=["thin", "narrow"]
)
def test_leaves_of_a_few_rows_or_columns_are_not_passed(photo, wide, cracked):
    seen = stacked(*photo, cracked)
    middle = seen.info.width / 2
    with pytest.raises(CannotMeasure, match="too small for a break"):
        measure([View(seen, (middle - wide / 2, 0.0, float(wide), float(seen.info.height)))])


def test_a_thin_leaf_within_the_pack_is_not_taken_for_a_gap():
    photo = stacked([60, 60, 15, 60, 60, 60], 10, 900)
    found = take_apart(cut(View(photo, (0.0, 0.0, 900.0, float(photo.info.height))), 900))
    assert len(found.bands) == 6
