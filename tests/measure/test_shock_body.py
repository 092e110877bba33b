"""A drawn body is found between its sides however it leans, and laid flat."""

import numpy as np
import pytest

from visual_aid.measure.measurement import CannotMeasure
from visual_aid.measure.scale import project
from visual_aid.measure.shock_body import ENDS, INNER, TALL, WIDE, laid_flat, sides


def body(left, right, h=400, w=140, seed=0):
    """Draw a body between two lines, each by its columns at the upper and the lower edge."""
    y, x = np.mgrid[0:h, 0:w].astype(float)
    lo, hi = (a + (b - a) * y / (h - 1) for a, b in (left, right))
    across = (2 * x - lo - hi) / (hi - lo)
    light = np.where(np.abs(across) < 1, 20 + 30 * np.sqrt(np.maximum(1 - across**2, 0)), 45)
    return (light + np.random.default_rng(seed).normal(0, 1.5, light.shape)).astype(np.float32)


@pytest.mark.parametrize(
    ("left", "right"),
    [((4, 4), (135, 135)), ((30, 3), (136, 109)), ((3, 25), (115, 136)), ((4, 12), (136, 129))],
)
def test_sides_are_found_where_the_body_leans_or_tapers(left, right):
    found = sides(body(left, right))
    assert found[0] == pytest.approx(left, abs=4)
    assert found[1] == pytest.approx(right, abs=4)


def test_the_flat_body_maps_back_into_the_box():
    light = body((30, 3), (136, 109))
    flat, to_box = laid_flat(light)
    assert flat.shape == (TALL, WIDE)
    (x, y), (x2, y2) = project(to_box, np.array([(0.0, 0.0), (WIDE - 1.0, TALL - 1.0)]))
    assert (y, y2) == pytest.approx((ENDS * 399, (1 - ENDS) * 399), abs=0.1)
    assert x == pytest.approx(30 - 27 * ENDS + (1 - INNER) * 53, abs=4)
    assert x2 == pytest.approx(109 + 27 * ENDS - (1 - INNER) * 53, abs=4)


def test_a_body_too_small_to_tell_is_refused():
    with pytest.raises(CannotMeasure, match="too small"):
        laid_flat(body((2, 2), (30, 30), w=32))
