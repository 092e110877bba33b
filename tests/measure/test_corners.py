"""Where the corners of drawn hexagons point, which is known exactly."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.measure.test_turn import BEARINGS, TILTS, modulo, view
from visual_aid.measure.corners import (
    SHAPE,
    STEP,
    at_turns,
    corner_odds,
    edges_around,
    laid_on,
    shared_corner,
    turn_odds,
)

CORNER = 10.0  # of the nut that ``view`` draws, unturned
ANGLES = st.floats(-90, 90)


@settings(max_examples=12)
@given(turn=ANGLES, tilt=TILTS, axis=BEARINGS)
def test_the_corners_of_a_drawn_nut_are_read_off_it(draw_plate, camera, turn, tilt, axis):
    seen = view(camera(tilt, axis), draw_plate, turn)
    odds = corner_odds(seen)
    assert np.exp(odds).sum() == pytest.approx(1.0)
    assert abs(modulo(shared_corner([(odds, 0.0)]) - CORNER - turn, 60)) <= 1.5 * STEP


@settings(max_examples=12)
@given(turn=ANGLES, tilts=st.tuples(TILTS, TILTS))
def test_two_views_make_the_true_turn_likeliest(draw_plate, camera, turn, tilts):
    a, b = (
        corner_odds(view(camera(tilt, 40, roll=k * 15), draw_plate, k * turn, seed=k))
        for k, tilt in enumerate(tilts)
    )
    odds = turn_odds(a, b)
    assert abs(modulo(STEP * int(odds.argmax()) - turn, 60)) <= 2 * STEP
    assert odds.max() > 1  # natural logarithm: nearly three times as likely as by chance
    assert float(at_turns(odds, turn + 30)) < -1
    assert shared_corner([(a, 0.0), (b, turn)]) == pytest.approx(CORNER, abs=1.5 * STEP)


def test_a_disc_without_corners_points_nowhere(draw_plate, camera):
    canvas = draw_plate([], marks=False)
    y, x = np.mgrid[: len(canvas), : len(canvas)] - (len(canvas) - 1) / 2
    nut = view(camera(0, 0), lambda *_, **__: np.where(np.hypot(x, y) < 126, 180, 90).astype(np.float32), 0.0)
    assert np.exp(corner_odds(nut)).max() < 0.2
    assert np.abs(turn_odds(corner_odds(nut), corner_odds(nut))).max() < 1


def test_turning_the_template_turns_the_odds():
    rng = np.random.default_rng(2)
    template, counts = rng.normal(size=SHAPE), rng.random((3, *SHAPE))
    # By hand: the sum of products with the template moved along by so many bearings.
    by_hand = [[(one * np.roll(template, k, axis=-1)).sum() for k in range(SHAPE[-1])] for one in counts]
    assert laid_on(template, counts) == pytest.approx(np.array(by_hand))


def test_a_patch_without_edges_counts_none(camera):
    flat = view(camera(0, 0), lambda *_, **__: np.full((1920, 1920), 90, np.float32), 0.0)
    flat = type(flat)([np.full_like(o, 90) for o in flat.octaves], flat.centre, flat.matrix, flat.lean)
    assert np.abs(edges_around(flat)).max() < 1e-3
    assert corner_odds(flat) == pytest.approx(np.log(1 / SHAPE[-1]), abs=0.01)
