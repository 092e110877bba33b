"""A drawn part that moves by known pixels, under light that falls otherwise in the second photo."""

import cv2
import numpy as np
import pytest

from visual_aid.measure import movement
from visual_aid.measure.measurement import CannotMeasure, View
from visual_aid.measure.scale import Scale
from visual_aid.photo import Photo

SIZE = (600, 800)
MIDDLE, RADIUS = (400, 300), 90
BOX = (290.0, 190.0, 220.0, 220.0)


def drawn(dx, dy, shade, contrast=2.2):
    """Draw specked surroundings and a specked round part before them, one half shaded by a factor.

    ``contrast`` is that of the surroundings.
    """
    rng = np.random.default_rng(3)
    behind, part = (
        cv2.GaussianBlur(rng.uniform(0.1, 0.9, SIZE).astype(np.float32), (0, 0), 2.5) for _ in range(2)
    )
    # The part's specks are the fainter ones: the surroundings in the box's corners stand out more.
    behind, part = 0.4 + contrast * (behind - 0.5), 0.45 + 1.1 * (part - 0.5)
    disc = np.zeros(SIZE, np.float32)
    cv2.circle(disc, MIDDLE, RADIUS, 1.0, -1, cv2.LINE_AA)
    shift = np.array([[1, 0, dx], [0, 1, dy]], np.float32)
    part, disc = (cv2.warpAffine(p, shift, SIZE[::-1]) for p in (part, disc))
    light = behind + (part - behind) * disc
    ramp = 1 / (1 + np.exp(-(np.arange(SIZE[1]) - 380) / 25.0))
    light = light * (1 + (shade - 1) * ramp)
    grey = (255 * light.clip(0, 1)).round().astype(np.uint8)
    return Photo.from_array(np.repeat(grey[..., None], 3, 2), f"{dx}.png")


@pytest.mark.parametrize("shade", [1.0, 0.45])
@pytest.mark.parametrize(("dx", "dy"), [(0.0, 0.0), (9.0, -4.0), (-3.0, 11.0)])
def test_a_part_is_followed_whatever_the_light(dx, dy, shade):
    views = [View(photo, BOX, None, "") for photo in (drawn(0, 0, 1.0), drawn(dx, dy, shade))]
    figures = {figure.name: figure for figure in movement.measure(views).figures}
    moved = figures["movement_px"]
    assert moved.value == pytest.approx(np.hypot(dx, dy), abs=0.4)
    assert moved.uncertainty < 0.6


@pytest.mark.parametrize("off", [(60, 0), (0, 60)], ids=["left", "upper"])
def test_what_is_boxed_over_the_photo_s_edge_is_not_taken_to_stand_still(off):
    """The photo cuts the part, shows little beside it, and that faintly."""
    x, y, w, h = BOX
    left, top = (round(start) + (by or -40) for start, by in zip((x, y), off, strict=True))
    shown = slice(top, round(y + h) + 40), slice(left, round(x + w) + 40)
    views = [
        View(
            Photo.from_array(np.ascontiguousarray(photo.full[shown]), photo.info.name),
            (x - left, y - top, w, h),
        )
        for photo in (drawn(0, 0, 1.0, 0.5), drawn(9.0, -4.0, 1.0, 0.5))
    ]
    assert movement.measure(views).figures[0].value == pytest.approx(np.hypot(9, 4), abs=1.0)


@pytest.mark.parametrize("card", [(330, 230, 470, 330), (40, 40, 70, 60)], ids=["boxed", "hidden"])
def test_a_card_on_which_too_little_is_followed_is_no_ground_to_stand_on(card):
    left, top, right, bottom = card
    outline = np.array([(left, top), (right, top), (right, bottom), (left, bottom)], float)
    scale = Scale(np.eye(3), np.zeros((8, 8)), 0.0, True, "card", outline)
    views = [View(photo, BOX, scale) for photo in (drawn(0, 0, 1.0), drawn(9.0, -4.0, 1.0))]
    with pytest.raises(CannotMeasure, match="leave it out of the box"):
        movement.measure(views)
