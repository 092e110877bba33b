"""Registering drawn plates, whose homography is known exactly."""

import itertools

import cv2
import numpy as np
import pytest

from tests.measure.conftest import DRAWN
from visual_aid.measure import laying
from visual_aid.measure.laying import redness, register, registrations
from visual_aid.photo import Photo

NUTS = [(200.0, 220.0, 40.0, 10.0), (430.0, 230.0, 40.0, 35.0), (320.0, 430.0, 40.0, 50.0)]


def photo(look, canvas, seed=0, name="photo"):
    return Photo.from_array(np.repeat(look.photo(canvas, seed)[..., None], 3, axis=2), name)


@pytest.mark.parametrize("tilt", [0, 25, 40])
def test_two_views_of_a_plate_are_laid_on_each_other(draw_plate, camera, tilt):
    here, there = camera(10, 20), camera(tilt, 80, roll=12, zoom=1.15)
    canvas = draw_plate(NUTS)
    laid = register(photo(here, canvas, 1), photo(there, 0.8 * canvas, 2))
    assert laid is not None
    for place in ((150, 150), (500, 150), (320, 320), (150, 500), (500, 500)):
        (x, y), _ = here.see(*place)
        assert laid.to_after(x, y)[0] == pytest.approx(there.see(*place)[0], abs=1.5)
        assert laid.inverse().to_after(*laid.to_after(x, y)[0])[0] == pytest.approx((x, y), abs=1e-6)


def test_the_jacobian_is_the_slope_of_the_map(draw_plate, camera):
    laid = register(photo(camera(30, 20), draw_plate(NUTS), 1), photo(camera(0, 0), draw_plate(NUTS), 2))
    place, jacobian = laid.to_after(250, 300)
    step = 1e-4
    slope = [(laid.to_after(250 + dx, 300 + dy)[0] - place) / step for dx, dy in ((step, 0), (0, step))]
    assert np.column_stack(slope) == pytest.approx(jacobian, rel=1e-3, abs=1e-6)


def test_other_plates_and_empty_photos_are_refused(draw_plate, camera):
    look = camera(10, 0)
    one = photo(look, draw_plate(NUTS, seed=1))
    for other in range(2, 6):
        assert register(one, photo(look, draw_plate(NUTS[:2], seed=other))) is None
    flat = Photo.from_array(np.full((480, 640, 3), 120, np.uint8))
    assert register(one, flat) is None
    assert register(flat, one) is None


def test_a_narrow_part_is_laid_on_itself(draw_plate, camera):
    here, there = camera(10, 20), camera(20, 80, roll=8)
    canvas = draw_plate(NUTS)
    canvas[: 270 * DRAWN] = canvas[370 * DRAWN :] = canvas.mean()
    laid = register(photo(here, canvas, 1), photo(there, canvas, 2))
    assert laid is not None
    for place in ((150, 320), (500, 320)):
        (x, y), _ = here.see(*place)
        assert laid.to_after(x, y)[0] == pytest.approx(there.see(*place)[0], abs=2.0)


def test_stains_of_one_colour_lay_photos_in_other_light_on_each_other(draw_plate, camera, monkeypatch):
    # Bright where it was dark and shaded across: only the colour of rust is alike in both.
    monkeypatch.setattr(laying, "_corners", lambda photo: None)
    monkeypatch.setattr(laying, "_blobs", lambda photo: None)
    here, there = camera(10, 20), camera(30, 80, roll=8)
    rust = draw_plate(NUTS)
    shade = np.linspace(0.4, 1.2, 640)[:, None, None]

    def stained(look, light, seed):
        bare = 1 - look.photo(rust, seed)[..., None] / 255.0
        return Photo.from_array(np.clip(light * (150 + bare * (40, -60, -90)), 0, 255).astype(np.uint8))

    laid = register(stained(here, shade, 1), stained(there, 1.1 - 0.5 * shade[::-1], 2))
    assert laid is not None
    (x, y), _ = here.see(320, 320)
    assert laid.to_after(x, y)[0] == pytest.approx(there.see(320, 320)[0], abs=2.0)


def test_ways_to_lay_photos_are_tried_one_after_the_other(draw_plate, camera):
    one, two = (photo(camera(tilt, 20), draw_plate(NUTS), tilt) for tilt in (10, 20))
    ways = registrations(one, two)
    corners, blobs = next(ways), next(ways)
    assert corners.homography == pytest.approx(register(one, two).homography)
    assert not np.array_equal(corners.homography, blobs.homography)
    assert blobs.to_after(320, 320)[0] == pytest.approx(corners.to_after(320, 320)[0], abs=1.0)
    assert next(ways, None) is None


def test_redness_is_the_same_in_any_light_and_none_in_grey():
    rng = np.random.default_rng(1)
    surface = cv2.GaussianBlur(rng.uniform(40, 200, (120, 160, 3)).astype(np.float32), (0, 0), 4)
    bright, dim = (redness(np.clip(light * surface, 0, 255).astype(np.uint8)) for light in (1.0, 0.5))
    assert np.corrcoef(bright.ravel(), dim.ravel())[0, 1] > 0.95
    grey = np.repeat(surface[..., :1], 3, axis=2).astype(np.uint8)
    assert np.ptp(redness(grey).astype(int)) <= 1


def test_where_corners_have_nothing_in_common_blobs_may(draw_plate, camera, monkeypatch):
    monkeypatch.setattr(laying, "_corners", lambda photo: None)
    here, there = camera(10, 20), camera(30, 80, roll=8)
    canvas = draw_plate(NUTS)
    laid = register(photo(here, canvas, 1), photo(there, 0.7 * canvas, 2))
    assert laid is not None
    (x, y), _ = here.see(320, 320)
    assert laid.to_after(x, y)[0] == pytest.approx(there.see(320, 320)[0], abs=2.0)
    assert (
        register(photo(here, canvas, 1), photo(here, draw_plate([(250.0, 300.0, 45.0, 20.0)], seed=3), 2))
        is None
    )


def test_what_does_not_lie_on_the_first_plane_is_laid_by_itself(draw_plate, camera):
    here, near, far = camera(0, 0), camera(10, 20), camera(10, 20, roll=6, zoom=1.2)
    left, right = (draw_plate(NUTS, seed=seed) for seed in (1, 2))
    two = np.hstack([photo(here, left, 1).working, photo(here, right, 2).working])
    moved = np.hstack([photo(near, left, 3).working, photo(far, right, 4).working])
    first, second = itertools.islice(registrations(Photo.from_array(two), Photo.from_array(moved)), 2)
    for x, y in ((200, 200), (320, 320), (450, 400)):
        expected = near.see(*here_to_plate(here, x, y))[0], far.see(*here_to_plate(here, x, y))[0] + (640, 0)
        found = first.to_after(x, y)[0], second.to_after(x + 640, y)[0]
        other = second.to_after(x, y)[0], first.to_after(x + 640, y)[0]
        assert any(np.allclose(pair, expected, atol=2.0) for pair in (found, other))


def here_to_plate(look, x, y):
    place = np.linalg.inv(look.matrix) @ (x, y, 1.0)
    return place[:2] / place[2]


def test_a_photo_has_one_plane_in_common_with_itself(draw_plate, camera):
    one = photo(camera(10, 20), draw_plate(NUTS))
    for laid in registrations(one, one):
        assert laid.to_after(200, 300)[0] == pytest.approx((200, 300), abs=0.1)


def test_matches_of_a_plane_are_asked_once_even_if_the_plane_moves_off_them(draw_plate, camera, monkeypatch):
    monkeypatch.setattr(laying, "_closer", lambda a, b, fit: (np.diag([3.0, 3.0, 1.0]) @ fit[0], fit[1]))
    one, two = (photo(camera(tilt, 20), draw_plate(NUTS), tilt) for tilt in (10, 20))
    assert 0 < len(list(itertools.islice(registrations(one, two), 30))) < 30
