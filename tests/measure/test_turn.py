"""Turns of drawn hexagons, whose angles are known exactly."""

import dataclasses
import math

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from visual_aid.measure.laying import Registration
from visual_aid.measure.nut_view import NutView, octaves
from visual_aid.measure.turn import Turn, measure_turn

RADIUS = 40.0
MIDDLE = (320.0, 320.0)
TILTS = st.floats(0, 45)
BEARINGS = st.floats(0, 180)


def view(look, draw_plate, degrees, *, seed=0, marks=True, light=1.0, clear=1.6):
    """See one flat nut in the middle of a plate."""
    nut = (*MIDDLE, RADIUS, 10.0 + degrees)
    photo = look.photo(light * draw_plate([nut], marks, clear=clear), seed)
    place, jacobian = look.see(*MIDDLE)
    return NutView(octaves(photo), place, jacobian * RADIUS, np.zeros(2))


def laid_on(a, before, b, after):
    """See the second nut in the first one's plane, with the perspective between the two photos."""
    laid = Registration(after.matrix @ np.linalg.inv(before.matrix), 0)
    return dataclasses.replace(b, away=laid.away(*a.centre) @ a.matrix)


def modulo(degrees, period):
    return (degrees + period / 2) % period - period / 2


@settings(max_examples=12)
@given(turn=st.floats(-29, 29), tilts=st.tuples(TILTS, TILTS), axes=st.tuples(BEARINGS, BEARINGS))
def test_a_turn_comes_back_under_any_tilt(draw_plate, camera, turn, tilts, axes):
    # Bound: the project's own target for drawn hexagons.
    before, after = camera(tilts[0], axes[0]), camera(tilts[1], axes[1], roll=15, zoom=1.1)
    a = view(before, draw_plate, 0.0, seed=1)
    b = view(after, draw_plate, turn, seed=2, light=0.8)
    assert abs(modulo(measure_turn(a, laid_on(a, before, b, after)).degrees - turn, 60)) <= 0.3


@pytest.mark.parametrize("turn", [-17, 5, 10])
def test_spots_beside_the_nut_hardly_draw_the_turn_to_none(draw_plate, camera, turn):
    # Bound: a fifth of the 5 degrees from which turns are told apart.
    a = view(camera(20, 30), draw_plate, 0.0, seed=1, clear=0)
    b = view(camera(0, 0, roll=15), draw_plate, turn, seed=2, clear=0)
    assert measure_turn(a, b).degrees == pytest.approx(turn, abs=1.0)


def under_mud(canvas, share, seed=5):
    """Cover a share of all that is around the middle with bold mud that is the same whatever the nut did."""
    height, width = canvas.shape
    grain = np.random.default_rng(seed).normal(0, 1, canvas.shape).astype(np.float32)
    mud = cv2.GaussianBlur(grain, (0, 0), 9)
    y, x = np.mgrid[:height, :width]
    bearing = np.degrees(np.arctan2(y - height / 2, x - width / 2)) % 360
    return np.where(bearing < 360 * share, 110 + 60 * mud / mud.std(), canvas).astype(np.float32)


@pytest.mark.parametrize("turn", [-24, -15, 0, 12, 20])
def test_a_turn_shows_beside_much_that_stayed(draw_plate, camera, turn):
    # Taken as a whole the edges agree best unturned: the mud's outweigh the nut's.
    looks = camera(20, 30), camera(12, 40, roll=5)
    views = []
    for seed, (look, degrees) in enumerate(zip(looks, (0, turn), strict=True)):
        canvas = draw_plate([(*MIDDLE, RADIUS, 10.0 + degrees)], marks=True)
        place, jacobian = look.see(*MIDDLE)
        photo = look.photo(under_mud(canvas, 0.3), seed)
        views.append(NutView(octaves(photo), place, jacobian * RADIUS, np.zeros(2)))
    assert measure_turn(*views).degrees == pytest.approx(turn, abs=0.6)


@settings(max_examples=8)
@given(turn=st.floats(-25, 25), tilt=TILTS, axis=BEARINGS)
def test_swapping_the_visits_flips_the_sign(draw_plate, camera, turn, tilt, axis):
    a = view(camera(tilt, axis), draw_plate, 0.0, seed=1)
    b = view(camera(10, 0, roll=-20), draw_plate, turn, seed=2)
    assert measure_turn(a, b).degrees == pytest.approx(-measure_turn(b, a).degrees, abs=0.1)


@settings(max_examples=6)
@given(tilt=TILTS, axis=BEARINGS)
def test_the_same_photo_gives_no_turn(draw_plate, camera, tilt, axis):
    a = view(camera(tilt, axis), draw_plate, 0.0)
    measured = measure_turn(a, a)
    assert measured.degrees == pytest.approx(0.0, abs=0.01)
    assert measured.agreement > 0.95


@pytest.mark.parametrize("turn", [-150, -75, 75, 130, 178])
def test_marks_on_the_nut_tell_the_sixths_apart(draw_plate, camera, turn):
    a = view(camera(20, 30), draw_plate, 0.0, seed=1)
    b = view(camera(5, 100), draw_plate, turn, seed=2)
    assert modulo(measure_turn(a, b).degrees - turn, 360) == pytest.approx(0, abs=0.5)


def test_without_marks_the_turn_is_told_modulo_60(draw_plate, camera):
    a = view(camera(20, 30), draw_plate, 0.0, seed=1, marks=False)
    b = view(camera(5, 100), draw_plate, 72.0, seed=2, marks=False)
    assert measure_turn(a, b).degrees == pytest.approx(12.0, abs=0.5)


def test_a_place_that_is_somewhat_off_is_made_up_for(draw_plate, camera):
    a = view(camera(0, 0), draw_plate, 0.0, seed=1)
    b = view(camera(0, 0), draw_plate, 8.0, seed=2)
    off = NutView(b.octaves, b.centre - b.matrix @ (0.12, -0.1), b.matrix, b.lean)
    assert measure_turn(a, off).degrees == pytest.approx(8.0, abs=0.8)


def test_a_rougher_agreement_is_less_certain():
    doubts = [Turn(5.0, agreement).uncertainty for agreement in (0.9, 0.6, 0.3, 0.0, -0.2)]
    assert doubts == sorted(doubts)
    assert all(math.isfinite(d) and d > 0 for d in doubts)
