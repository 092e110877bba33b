import cv2
import numpy as np
import pytest

from visual_aid.evidence.frame import RADIUS, U, V, build_frames
from visual_aid.evidence.surroundings import below_against_elsewhere, fan_fit, look_around, soft_step
from visual_aid.model import Fastener
from visual_aid.photo import Photo

R = 40
RUST = (120, 62, 30)


def frame_of(paint, add=None, gain=1.0):
    """A flat painted surface with a round head in its middle; ``add(pixels, x, y)`` in nut radii."""
    rng = np.random.default_rng(1)
    y, x = np.mgrid[0:420, 0:320].astype(np.float32)
    x, y = (x - 160) / R, (y - 150) / R
    pixels = np.full((420, 320, 3), paint, np.float32)
    pixels += cv2.GaussianBlur(rng.normal(0, 12, pixels.shape).astype(np.float32), (0, 0), 2)
    if add is not None:
        add(pixels, x, y)
    pixels[np.hypot(x, y) < 1.1] = (130, 130, 130)
    photo = Photo.from_array(np.clip(gain * pixels, 0, 255).astype(np.uint8), name="joint.png")
    (frame,) = build_frames(photo, [Fastener(1, "bolt_head", 160, 150, R)], on_seat=True)
    return frame


def stain_below(pixels, x, y):
    pixels[(np.abs(x) < 0.6) & (y > 1) & (y < 3.5)] = RUST


def stain_all_round(pixels, x, y):
    pixels[np.hypot(x, y) < 2.2] = RUST


@pytest.mark.parametrize("paint", [(70, 90, 140), (215, 215, 210), (60, 62, 60), (90, 120, 90)])
@pytest.mark.parametrize("gain", [0.5, 1.0])
def test_rust_is_told_from_the_paint_under_half_the_light(paint, gain):
    around = look_around(frame_of(paint, stain_below, gain))
    stained = (np.abs(U) < 0.4) & (V > 1.6) & (V < 3)
    clean = (RADIUS > 1.8) & (V < 0)
    assert np.median(around.rust[stained]) > 0.5
    assert np.median(around.rust[clean]) < 0.1
    assert np.median(around.red_to_green[stained]) > 0.3


def test_a_shadow_is_neither_rust_nor_a_change_of_colour_ratio():
    def shade(pixels, x, y):
        pixels[(x > -0.5) & (x < 1.2) & (y > 0.5) & (y < 3)] *= 0.45

    around = look_around(frame_of((150, 150, 160), shade))
    shaded = (U > 0) & (U < 0.9) & (V > 1.6) & (V < 2.6)
    assert np.median(around.lighter[shaded]) < -15
    assert np.median(around.rust[shaded]) < 0.1
    assert abs(np.median(around.red_to_green[shaded])) < 0.1


def test_a_fan_below_and_a_stain_all_round_are_different_terms():
    fan = fan_fit(a := look_around(frame_of((150, 150, 160), stain_below)), {"rust": a.rust})
    ring = fan_fit(b := look_around(frame_of((150, 150, 160), stain_all_round)), {"rust": b.rust})
    assert fan["rust_below"] > 0.5
    assert fan["rust_below_less_above"] > 3 * abs(ring["rust_below_less_above"])


def test_a_gradient_across_the_part_is_no_fan():
    def darker_downwards(pixels, x, y):
        pixels -= 12 * y[..., None]

    around = look_around(frame_of((150, 150, 160), darker_downwards))
    fit = fan_fit(around, {"light": around.lighter})
    assert fit["light_down"] == pytest.approx(-5, abs=1.5)
    assert abs(fit["light_below"]) < 3


def test_quantiles_below_against_elsewhere():
    around = look_around(frame_of((150, 150, 160), stain_below))
    difference = below_against_elsewhere(around, {"rust": around.rust})
    assert difference["rust"] > 0.5
    clean = look_around(frame_of((150, 150, 160)))
    assert abs(below_against_elsewhere(clean, {"rust": clean.rust})["rust"]) < 0.1


def test_nothing_is_made_of_a_surface_that_is_not_seen():
    photo = Photo.from_array(np.full((80, 80, 3), 120, np.uint8), name="tight.png")
    (frame,) = build_frames(photo, [Fastener(1, "bolt_head", 40, 40, 46)], on_seat=True)
    around = look_around(frame)
    assert np.isnan(list(fan_fit(around, {"rust": around.rust}).values())).all()
    assert np.isnan(list(below_against_elsewhere(around, {"rust": around.rust}).values())).all()


def test_the_soft_step_is_half_at_its_half():
    assert soft_step(np.float32([3.0]), 3.0, 0.5)[0] == pytest.approx(0.5)
