"""What is bare rubber by its lightness, and what is not."""

import numpy as np
import pytest

from visual_aid.measure.measurement import CannotMeasure, View
from visual_aid.measure.patch import Patch
from visual_aid.measure.rubber import LEAST_LIGHT, MOST_LIGHT, rubber_light
from visual_aid.measure.wear import WEAR_KINDS
from visual_aid.photo import Photo


def patch(grey):
    return Patch(np.full((40, 60, 3), grey, np.uint8), np.eye(3), None)


def test_the_lightness_of_rubber_is_that_of_cielab():
    """An sRGB grey of 50 has L* = 20.79: IEC 61966-2-1 for the light, CIE 15 for the rest."""
    assert rubber_light(patch(50), "cracks") == pytest.approx(np.full((40, 60), 20.79), abs=0.1)
    assert LEAST_LIGHT < 20.8 < MOST_LIGHT


@pytest.mark.parametrize(
    ("grey", "say"), [(150, "too light for bare rubber"), (8, "too dark to show cracks")]
)
def test_what_shows_no_bare_rubber_is_refused_with_the_mend(grey, say):
    with pytest.raises(CannotMeasure, match=f"{say}.*: .*"):
        rubber_light(patch(grey), "cracks")


@pytest.mark.parametrize("grey", [135, 150])
def test_cracks_and_scuffs_are_looked_for_on_the_same_rubber(grey):
    pixels = np.random.default_rng(0).normal(grey, 4, (300, 300, 1)).round().astype(np.uint8).repeat(3, 2)
    view = View(Photo.from_array(pixels), (0.0, 0.0, 300.0, 300.0))
    for wear in ("chafe", "rubber_crack"):
        with pytest.raises(CannotMeasure, match="too light for bare rubber"):
            WEAR_KINDS[wear].measure([view])
