import cv2
import numpy as np
import pytest

from visual_aid.evidence import zones
from visual_aid.evidence.frame import build_frames
from visual_aid.evidence.surroundings import look_around
from visual_aid.model import Fastener
from visual_aid.photo import Photo

R = 40
LIGHTER, RUST = 0, 3
# Rings from the nut outwards, each cut into sectors from below to above; the outermost is seen below alone.
BELOW = [0, 4, 8, 12, 16]
ABOVE = [3, 7, 11, 15]


def describe(stain=lambda x, y: np.zeros(x.shape, bool), *, flip=False, at=(160, 150)):
    """A head on grey paint with a rust-coloured stain, given in nut radii from the head."""
    rng = np.random.default_rng(1)
    y, x = np.mgrid[0:420, 0:320].astype(np.float32)
    x, y = (x - at[0]) / R, (y - at[1]) / R
    pixels = np.full((420, 320, 3), (140, 145, 150), np.float32)
    pixels += cv2.GaussianBlur(rng.normal(0, 12, pixels.shape).astype(np.float32), (0, 0), 2)
    pixels[stain(x, y)] = (120, 62, 30)
    pixels[np.hypot(x, y) < 1.1] = (130, 130, 130)
    if flip:
        pixels = pixels[:, ::-1]
    centre = 319 - at[0] if flip else at[0]
    photo = Photo.from_array(np.clip(pixels, 0, 255).astype(np.uint8), name="joint.png")
    (frame,) = build_frames(photo, [Fastener(1, "bolt_head", centre, at[1], R)], on_seat=True)
    return zones.describe(frame, look_around(frame))


def means(description):
    return description[: (zones.SIZE - 3) // 2].reshape(-1, zones.MAPS)


def spreads(description):
    return description[(zones.SIZE - 3) // 2 : -3].reshape(-1, zones.MAPS)


def test_a_stain_shows_in_the_zones_it_lies_in():
    stained = describe(lambda x, y: (np.abs(x) < 1.2) & (y > 1) & (y < 5))
    assert (means(stained)[BELOW[:4], RUST] > 0.8).all()
    assert (means(stained)[ABOVE, RUST] < 0.1).all()
    assert (means(stained)[BELOW[1:4], LIGHTER] < -15).all()


def test_what_changes_within_a_zone_is_its_spread():
    striped = describe(lambda x, y: (np.abs(x) < 0.2) & (y > 1) & (y < 5))
    assert spreads(striped)[BELOW[2], RUST] > 0.3
    assert spreads(striped)[ABOVE[2], RUST] < 0.1


def test_left_and_right_are_told_alike():
    def left(x, y):
        return (x > -3) & (x < -1) & (y > 0) & (y < 3)

    one, other = means(describe(left)), means(describe(left, flip=True))
    assert np.ptp(one[:, RUST]) > 0.4
    np.testing.assert_allclose(one[:, RUST], other[:, RUST], atol=0.05)
    np.testing.assert_allclose(one[:, LIGHTER], other[:, LIGHTER], atol=2)


def test_what_the_photo_does_not_show_is_unknown():
    at_the_edge = describe(at=(160, 375))
    assert np.isnan(means(at_the_edge)[BELOW[2:]]).all()
    assert np.isfinite(means(at_the_edge)[ABOVE]).all()
    assert len(at_the_edge) == zones.SIZE


@pytest.mark.parametrize("paint", [(60, 62, 60), (215, 215, 210)])
def test_the_surface_s_own_colour_comes_last(paint):
    photo = Photo.from_array(np.full((420, 320, 3), paint, np.uint8), name="joint.png")
    (frame,) = build_frames(photo, [Fastener(1, "bolt_head", 160, 150, R)], on_seat=True)
    expected = cv2.cvtColor(np.float32([[paint]]) / 255, cv2.COLOR_RGB2LAB)[0, 0]
    # Reference: OpenCV's own conversion to CIELAB D65.
    np.testing.assert_allclose(zones.describe(frame, look_around(frame))[-3:], expected, atol=0.5)
