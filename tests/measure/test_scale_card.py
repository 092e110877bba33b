"""The scale card on made pictures with exact truth, and against OpenCV's own board."""

import dataclasses

import cv2
import numpy as np
import pytest

from visual_aid.evaluation.made.camera import Camera, Development
from visual_aid.evaluation.made.case import blotch
from visual_aid.evaluation.made.surfaces import Canvas, card, painted
from visual_aid.measure.scale import project
from visual_aid.measure.scale_card import (
    BOARDS,
    COLUMNS,
    LARGE,
    MARK_SHARE,
    ROWS,
    SMALL,
    Card,
    black_parts,
    find_card,
)
from visual_aid.photo import Photo, read_photo_bytes

CAMERA = Camera(900, 700, 1100.0, 480.0, tilt=0.0, tilt_axis=30.0, roll=8.0, curve=0.01)
PLAIN = Development(blur=0.7, noise=2.0, quality=92)


def picture(camera=CAMERA, development=PLAIN, board=LARGE, over=()):
    rng = np.random.default_rng(3)
    canvas = Canvas(620, 520, 1.0)
    layers = [canvas.layer(painted(rng, canvas)), card(rng, board, turn=12.0), *over]
    return read_photo_bytes(development.develop(camera.render(layers)), "card.jpg")


def length_error(photo, camera, ends):
    found = find_card(photo)
    assert isinstance(found, Card), found
    a, b = camera.project(np.array(ends, float))
    value, doubt = found.scale.length(tuple(a), tuple(b), 0.0)
    true = float(np.hypot(*np.subtract(*ends)))
    return abs(value / true - 1), doubt / true


@pytest.mark.parametrize("board", BOARDS, ids=lambda board: board.name)
def test_opencv_s_own_detector_knows_the_boards(board):
    """An outside reader of the same marks: cv2.aruco.CharucoDetector on a plain raster of the card."""
    raster = np.full((ROWS * 100 + 100, COLUMNS * 100 + 100), 255, np.uint8)
    for x, y, w, h in black_parts(board):
        x0, y0, x1, y1 = (round(v / board.square * 100) + 50 for v in (x, y, x + w, y + h))
        raster[y0:y1, x0:x1] = 0
    marks = np.arange(board.first, board.first + COLUMNS * ROWS // 2)
    book = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    same = cv2.aruco.CharucoBoard((COLUMNS, ROWS), board.square, MARK_SHARE * board.square, book, marks)
    corners, ids, _, _ = cv2.aruco.CharucoDetector(same).detectBoard(raster)
    assert len(ids) == (COLUMNS - 1) * (ROWS - 1)
    expected = np.asarray(same.getChessboardCorners())[ids.ravel(), :2] / board.square * 100 + 49.5
    assert np.abs(corners.reshape(-1, 2) - expected).max() < 0.6


@pytest.mark.parametrize("tilt", [0, 30, 45])
def test_lengths_beside_the_card_are_within_a_hundredth(tilt):
    camera = dataclasses.replace(CAMERA, tilt=float(tilt))
    error, doubt = length_error(picture(camera), camera, [(-120, -70), (60, 80)])
    assert error < 0.01
    assert error < 3 * doubt < 0.05


def test_it_works_partly_covered_at_50_degrees_in_motion_blur():
    camera = dataclasses.replace(CAMERA, tilt=50.0)
    rng = np.random.default_rng(5)
    development = dataclasses.replace(PLAIN, moved=3.0, moved_to=40.0)
    photo = picture(camera, development, over=[blotch(rng, (-60.0, -30.0), 35.0)])
    error, _ = length_error(photo, camera, [(-90, 60), (90, -60)])
    assert error < 0.02


def test_the_small_card_is_told_from_the_large_one():
    near = dataclasses.replace(CAMERA, distance=240.0)
    found = find_card(picture(near, board=SMALL))
    assert found.board == SMALL
    a, b = near.project(np.array([(-30.0, 0), (30, 0)]))
    assert found.scale.length(tuple(a), tuple(b), 0.0)[0] == pytest.approx(60, rel=0.01)


def test_a_print_that_came_out_larger_is_set_right_by_its_ruler():
    photo = picture()
    plain, grown = find_card(photo), find_card(photo, ruler=153.0)
    ends = (300.0, 300.0), (500.0, 420.0)
    assert grown.scale.length(*ends)[0] == pytest.approx(1.02 * plain.scale.length(*ends)[0], rel=1e-3)
    assert np.allclose(grown.outline, plain.outline, atol=0.5)
    with pytest.raises(ValueError, match="measure all 150 mm"):
        find_card(photo, ruler=15.0)


def test_no_card_is_said_with_the_mend():
    rng = np.random.default_rng(1)
    grey = rng.integers(60, 190, (400, 500, 1), np.uint8).repeat(3, 2)
    assert "lay the card flat" in find_card(Photo.from_array(grey))


def test_the_homography_is_that_of_the_camera():
    camera = dataclasses.replace(CAMERA, tilt=35.0, curve=0.0)
    found = find_card(picture(camera))
    # Millimetres of the card are those of the scene, turned and shifted: lengths between any points agree.
    points = np.array([(-100.0, -60), (110, -40), (70, 90), (-80, 75)])
    mm = found.scale.to_mm(camera.project(points))
    apart = np.hypot(*(mm[:, None] - mm[None]).transpose(2, 0, 1))
    true = np.hypot(*(points[:, None] - points[None]).transpose(2, 0, 1))
    assert np.abs(apart - true).max() < 1.0
    assert np.allclose(project(found.scale.to_px, mm), camera.project(points), atol=1e-6)
    assert found.scale.tilt((450, 350)) == pytest.approx(35, abs=2.5)
