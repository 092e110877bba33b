"""How large nuts are seen, on drawn plates whose nuts' sizes are known."""

import dataclasses

import numpy as np
import pytest

from visual_aid.measure.hexagon_size import SIZES, common_size
from visual_aid.measure.nut_view import NutView, octaves

STEP = SIZES[1] - SIZES[0]


def views(camera, draw_plate, factor):
    """See two nuts, taken for smaller or larger than they are."""
    seen = []
    for turn, tilt in ((0.0, 10), (17.0, 30)):
        look = camera(tilt, 40)
        photo = look.photo(draw_plate([(320.0, 320.0, 40.0, turn)], True), 3)
        place, jacobian = look.see(320.0, 320.0)
        seen.append(NutView(octaves(photo), place, jacobian * 40.0 * factor, np.zeros(2)))
    return seen


@pytest.mark.parametrize("factor", [0.8, 0.9, 1.0, 1.08])
def test_a_radius_that_is_off_is_made_up_for(camera, draw_plate, factor):
    found = common_size(views(camera, draw_plate, factor))
    assert np.log(found * factor) == pytest.approx(0.0, abs=STEP)


def test_a_circle_about_the_nut_is_not_taken_for_its_rim(camera, draw_plate):
    seen = views(camera, draw_plate, 1.0)
    y, x = np.mgrid[: seen[0].octaves[0].shape[0], : seen[0].octaves[0].shape[1]]
    ringed = []
    for view in seen:
        u, v = np.tensordot(
            np.linalg.inv(view.matrix), np.array([x - view.centre[0], y - view.centre[1]]), axes=1
        )
        bright = view.octaves[0].copy()
        bright[np.abs(np.hypot(u, v) - 0.75) < 0.04] = 255
        ringed.append(dataclasses.replace(view, octaves=octaves(bright)))
    assert np.log(common_size(ringed)) == pytest.approx(0.0, abs=STEP)
