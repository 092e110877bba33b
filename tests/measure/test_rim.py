"""Rims as ellipses: known ellipses, and scikit-image's fit to the same points."""

import math

import cv2
import numpy as np
import pytest
from skimage.measure import EllipseModel

from visual_aid.measure.rim import find_rim, misses


def drawn(cx, cy, long, short, angle, inside=20.0, outside=60.0, size=300, noise=2.0):
    y, x = np.mgrid[0:size, 0:size].astype(float)
    c, s = math.cos(math.radians(angle)), math.sin(math.radians(angle))
    u, v = (x - cx) * c + (y - cy) * s, -(x - cx) * s + (y - cy) * c
    reach = np.hypot(u / long, v / short)
    share = np.clip(0.5 - (reach - 1) * reach / np.hypot(u / long**2, v / short**2).clip(1e-6), 0, 1)
    picture = outside + (inside - outside) * share + np.random.default_rng(1).normal(0, noise, x.shape)
    return cv2.GaussianBlur(picture.astype(np.float32), (0, 0), 0.8)


def found(light, squeezed=True):
    return find_rim(light, (60, 130), -1, about=(150, 150), stray=25, squeezed=squeezed)


@pytest.mark.parametrize(
    "ellipse", [(150.3, 148.6, 100, 100, 0), (141.2, 155.7, 110, 84, 35), (155, 149, 96, 75, 120)]
)
def test_the_ellipse_is_found_to_a_fraction_of_a_pixel(ellipse):
    cx, cy, long, short, angle = ellipse
    rim = found(drawn(*ellipse))
    assert (rim.cx, rim.cy) == pytest.approx((cx, cy), abs=0.3)
    assert (rim.long, rim.short) == pytest.approx((long, short), abs=0.6)
    if long > short:
        assert abs((rim.angle - angle + 90) % 180 - 90) < 1.5


def test_scikit_image_fits_the_same_ellipse_to_the_same_points():
    """Outside check: skimage.measure.EllipseModel on the rim's points."""
    rim = found(drawn(146, 152, 108, 85, 25))
    xc, yc, a, b, _ = EllipseModel.from_estimate(rim.points).params
    assert (rim.cx, rim.cy) == pytest.approx((xc, yc), abs=0.1)
    assert (rim.long, rim.short) == pytest.approx((max(a, b), min(a, b)), abs=0.2)


def test_a_third_of_the_rim_may_be_hidden():
    light = drawn(150, 150, 100, 90, 0)
    light[:, 200:] = 35 + np.random.default_rng(2).normal(0, 5, light[:, 200:].shape)
    rim = found(light)
    assert (rim.cx, rim.cy) == pytest.approx((150, 150), abs=1.0)
    assert rim.kept < 0.9


def test_nothing_is_found_where_nothing_is_round():
    noise = np.random.default_rng(3).normal(50, 3, (300, 300)).astype(np.float32)
    assert found(noise) is None
    step = noise.copy()
    step[:, :150] -= 30
    assert found(step) is None


def test_misses_are_distances():
    rim = found(drawn(150, 150, 100, 100, 0), squeezed=False)
    bearing = np.linspace(0, 6, 7)
    outside = 3 + rim.radius
    points = np.column_stack([rim.cx + outside * np.cos(bearing), rim.cy + outside * np.sin(bearing)])
    assert misses(rim, points) == pytest.approx(np.full(7, 3.0), abs=0.6)
