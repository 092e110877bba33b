import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from visual_aid.evidence.frame import RADIUS, U, V
from visual_aid.evidence.runs import leaning_columns, streak, strongest_run

SEEN = RADIUS > 1.2
COLUMNS = leaning_columns(SEEN)


def painted(offset=0.0, width=0.4, length=2.0, slant=0.0, upward=False):
    """A run of full strength that starts under the head at ``offset`` and leans by ``slant``."""
    v = -V if upward else V
    middle = offset - np.tan(np.radians(slant)) * v
    run = (np.abs(U - middle) < width / 2) & (v > 0) & (RADIUS < 10) & (v < 1.2 + length)
    return cv2.GaussianBlur(run.astype(np.float32), (0, 0), 1)


@given(st.floats(-0.7, 0.7), st.floats(0.3, 0.8), st.floats(1.0, 3.5))
def test_a_run_is_measured(offset, width, length):
    run = strongest_run(painted(offset, width, length), SEEN, COLUMNS)
    assert run.strength > 0.7
    assert run.contrast > 0.7
    assert abs(run.offset_r - offset) < width / 2 + 0.15
    # It ends 1.2 + length below the centre and is followed from where the head's round edge lets it out.
    edge = np.sqrt(1.2**2 - offset**2)
    assert run.length_r == pytest.approx(1.2 + length - edge, abs=0.45)
    assert run.width_r == pytest.approx(width, abs=0.3)


@pytest.mark.parametrize("slant", [-15, -8, 8, 15])
def test_a_tilted_phone_does_not_lose_it(slant):
    run = strongest_run(painted(0.0, 0.3, 3.0, slant), SEEN, COLUMNS)
    assert run.strength > 0.7
    assert run.slant_deg == pytest.approx(slant, abs=4.1)


def test_what_lies_above_is_no_run_below():
    assert strongest_run(painted(upward=True), SEEN, COLUMNS).strength < 0.05


def test_an_even_coat_has_no_contrast():
    assert strongest_run(np.full(U.shape, 0.8, np.float32), SEEN, COLUMNS).contrast < 0.05


def test_a_run_that_begins_elsewhere_is_weaker():
    from_an_edge = painted(length=4.0) * (V > 2.6)
    assert strongest_run(from_an_edge, SEEN, COLUMNS).strength < 0.4


def test_its_outline_hangs_below_the_head():
    corners = np.array(strongest_run(painted(0.5, 0.4, 2.0), SEEN, COLUMNS).polygon())
    assert corners[:, 1].min() > 0.8
    assert corners[:, 1].max() > 2.5
    assert abs(corners[:, 0].mean() - 0.5) < 0.3


def test_a_narrow_streak_stands_out_and_a_broad_one_does_not():
    narrow = streak(painted(0.2, 0.25, 2.5), SEEN)
    broad = streak(painted(0.2, 2.4, 2.5), SEEN)
    assert narrow > 0.3
    assert broad < 0.75 * narrow


def test_an_unseen_surface_gives_no_streak():
    assert np.isnan(streak(painted(), np.zeros(U.shape, bool)))
