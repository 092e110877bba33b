import dataclasses

import cv2
import numpy as np
import pytest

from visual_aid.evidence.frame import build_frames
from visual_aid.evidence.look import LENGTH, describe
from visual_aid.exif import Capture
from visual_aid.model import PhotoInfo
from visual_aid.photo import Photo


def photo(pixels):
    height, width = pixels.shape[:2]
    return Photo(PhotoInfo("x.png", "", "0", width, height), pixels, 1.0, Capture(), lambda: pixels)


def looks(pixels, fasteners):
    found = [describe(frame) for frame in build_frames(photo(pixels), fasteners)]
    assert {len(look) for look in found} == {LENGTH}
    return np.array([np.frombuffer(look, np.uint8) for look in found], float)


def away(a, b):
    return float(np.linalg.norm(a - b))


def rusty(canvas, x, y):
    if x > 300 and y < 300:
        cv2.rectangle(canvas, (x - 12, y), (x + 12, y + 150), (140, 70, 30), -1)


@pytest.fixture
def scene(draw_joint):
    return draw_joint(tilt=0.0, under=rusty)


def test_like_nuts_look_alike_and_a_rust_run_does_not(scene):
    found = looks(*scene)
    assert away(found[0], found[2]) < 0.5 * away(found[0], found[1])
    assert away(found[2], found[3]) < 0.5 * away(found[1], found[3])


def test_size_does_not_matter(scene):
    pixels, fasteners = scene
    half = cv2.resize(pixels, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    smaller = [
        dataclasses.replace(f, cx=f.cx / 2 - 0.25, cy=f.cy / 2 - 0.25, radius=f.radius / 2) for f in fasteners
    ]
    large, small = looks(pixels, fasteners), looks(half, smaller)
    assert away(large[1], small[1]) < 0.5 * min(away(large[1], small[i]) for i in (0, 2, 3))


def test_exposure_matters_less_than_a_run(scene):
    pixels, fasteners = scene
    plain, darker = looks(pixels, fasteners), looks(np.uint8(pixels * 0.8), fasteners)
    assert away(plain[0], darker[0]) < 0.7 * away(plain[0], plain[1])


def test_a_nut_at_the_edge_of_the_photo_has_a_look(scene):
    pixels, fasteners = scene
    corner = dataclasses.replace(fasteners[0], cx=0.0, cy=float(pixels.shape[0]))
    assert looks(pixels, [corner]).shape == (1, LENGTH)
