"""Powder below one nut, and what only looks like it: even dust, edges, rims, rust, water marks, paint."""

import dataclasses
import math

import cv2
import numpy as np
import pytest

from visual_aid.evidence.dust_trail import measure
from visual_aid.evidence.scene import Scene
from visual_aid.model import Fastener
from visual_aid.photo import Photo

R = 40.0
PLACES = ((160, 170), (400, 170), (160, 400), (400, 400))
PAINT = (70, 84, 104)
# sRGB of ground paint and road dust, and of fretted steel (red-brown): from memory.
PALE, RED_BROWN, DARK = (188, 182, 170), (112, 66, 50), (42, 40, 38)
DUSTED = 1


def cover(canvas, amount, colour):
    canvas += amount[..., None] * (np.asarray(colour, np.float32) - canvas)


def grains(shape, seed=3):
    """0..1, a fine grain of about 0.07 r."""
    noise = cv2.GaussianBlur(np.random.default_rng(seed).normal(0, 1, shape).astype(np.float32), (0, 0), 1.1)
    return np.clip(0.5 + 0.5 * noise / noise.std(), 0, 1)


def about(canvas, x, y):
    rows, columns = np.mgrid[: canvas.shape[0], : canvas.shape[1]]
    return (columns - x) / R, (rows - y) / R


def fan(colour, *, downwards=1.0):
    def paint(canvas, x, y):
        u, v = about(canvas, x, y)
        v = v * downwards
        # Wider and thinner with the distance fallen, none above the nut's middle: common practice, no source.
        amount = (
            np.exp(-np.maximum(v - 1, 0) / 0.8)
            * np.exp(-((np.abs(u) / (1 + 0.3 * np.abs(v))) ** 4))
            * (v > 0)
        )
        cover(canvas, (0.9 * amount * grains(canvas.shape[:2])).astype(np.float32), colour)

    return paint


def scene(draw_joint, *paintings, tilt=20.0):
    """Four nuts; each painting (function, index of its nut or None for all) goes on before the nuts."""
    order = iter(range(len(PLACES)))

    def under(canvas, x, y):
        here = next(order)
        for paint, which in paintings:
            if which is None or which == here:
                paint(canvas, x, y)

    pixels, fasteners = draw_joint(tilt=tilt, paint=PAINT, under=under)
    seated = [
        dataclasses.replace(f, seat=(float(x), float(y))) for f, (x, y) in zip(fasteners, PLACES, strict=True)
    ]
    return Scene.build(Photo.from_array(pixels), seated)


def features(found, name):
    return np.array([m.features[name] for m in found.measurements])


GRAINS = ("grains_below_t", "plain_grains_near", "grains_below_only")


@pytest.mark.parametrize("name", GRAINS)
def test_pale_powder_lies_in_grains_below_its_nut(draw_joint, name):
    value = features(measure(scene(draw_joint, (fan(PALE), DUSTED))), name)
    assert value.argmax() == DUSTED
    assert value[DUSTED] > 2 * np.delete(value, DUSTED).max() + 0.2


@pytest.mark.parametrize(
    ("colour", "name"),
    [(RED_BROWN, "redder_below_t"), (RED_BROWN, "red_ratio_below_t"), (DARK, "darker_below_t")],
)
def test_powder_of_steel_is_told_by_its_colour(draw_joint, colour, name):
    value = features(measure(scene(draw_joint, (fan(colour), DUSTED))), name)
    assert value.argmax() == DUSTED
    assert value[DUSTED] > 2 * np.delete(value, DUSTED).max() + 0.2


def powder_and(draw_joint, lookalike):
    """Grains below the nut with true powder, and below the same nut with a look-alike."""
    powder = measure(scene(draw_joint, (fan(PALE), DUSTED)))
    other = measure(scene(draw_joint, (lookalike, DUSTED)))
    return tuple(
        np.array([found.measurements[DUSTED].features[name] for name in GRAINS]) for found in (powder, other)
    )


def even_dust(canvas, x, y):
    u, v = about(canvas, x, y)
    cover(canvas, (0.6 * (np.hypot(u, v) < 2.6) * grains(canvas.shape[:2])).astype(np.float32), PALE)


def water_mark(canvas, x, y):
    cv2.ellipse(canvas, ((x, y + 1.2 * R), (2.6 * R, 2 * R), 0), PALE, 3, cv2.LINE_AA)


def edge_below(canvas, x, y):
    top = round(y + 1.8 * R)
    canvas[top : top + round(1.5 * R), round(x - 2.5 * R) : round(x + 2.5 * R)] += 60


def scratches(canvas, x, y):
    for k in range(6):
        start = (round(x + (0.5 * k - 1.4) * R), round(y + 1.3 * R))
        cv2.line(canvas, start, (start[0] + round(0.4 * R), start[1] + round(0.9 * R)), PALE, 2, cv2.LINE_AA)


def smooth_overspray(canvas, x, y):
    u, v = about(canvas, x, y)
    cover(canvas, (0.7 * np.exp(-(u**2) / 2 - (v - 1.3) ** 2)).astype(np.float32), PALE)


def dust_above(canvas, x, y):
    fan(PALE, downwards=-1.0)(canvas, x, y)


@pytest.mark.parametrize("lookalike", [even_dust, water_mark, scratches, dust_above])
def test_what_lies_elsewhere_as_well_or_in_lines_has_no_grains_below_alone(draw_joint, lookalike):
    powder, other = powder_and(draw_joint, lookalike)
    only = GRAINS.index("grains_below_only")
    assert other[only] < 0.5 * powder[only]


@pytest.mark.parametrize("lookalike", [water_mark, edge_below, smooth_overspray, dust_above])
def test_what_has_no_grains_below_raises_no_feature(draw_joint, lookalike):
    powder, other = powder_and(draw_joint, lookalike)
    assert (other < 0.5 * powder).all(), dict(zip(GRAINS, zip(powder, other, strict=True), strict=True))


def test_rust_spots_are_no_pale_grains(draw_joint):
    def rust(canvas, x, y):
        u, v = about(canvas, x, y)
        spots = (grains(canvas.shape[:2]) > 0.6) & (np.abs(u) < 1.5) & (v > 0) & (v < 2.8)
        cover(canvas, spots.astype(np.float32), (150, 84, 38))

    powder, other = powder_and(draw_joint, rust)
    assert other[0] < 0.5 * powder[0]
    assert other[1] < 0.5 * powder[1]


def test_measures_and_outline_follow_the_fan(draw_joint):
    found = measure(scene(draw_joint, (fan(PALE), DUSTED)))
    dusted, plain = found.measurements[DUSTED], found.measurements[0]
    assert dusted.measures["covered_share"] > 0.4 > dusted.measures["covered_above_share"] + 0.2
    assert plain.measures["covered_share"] < 0.2
    # The fan falls to a quarter after 0.8 ln(4), about 1.1 r.
    assert 0.4 < dusted.measures["length_r"] < 2.5
    assert dusted.reason.startswith("pale powder")
    x, y = PLACES[DUSTED]
    assert cv2.pointPolygonTest(np.float32(dusted.outline), (x, y + 1.5 * R), False) > 0


def test_bare_studs_are_not_measured_and_an_empty_scene_says_so(draw_joint):
    whole = scene(draw_joint, (fan(PALE), DUSTED))
    studs = tuple(
        dataclasses.replace(s, fastener=dataclasses.replace(s.fastener, kind="bare_stud"))
        for s in whole.seats
    )
    found = measure(Scene(whole.photo, whole.fasteners, whole.frames, studs))
    assert not found.measurements
    assert found.not_judged[0].cue == "dust_trail"


def test_a_nut_in_the_photos_corner_has_unknown_values_not_wrong_ones():
    pixels = np.random.default_rng(1).integers(80, 110, (64, 64, 3), dtype=np.uint8)
    fastener = Fastener(1, "hex_nut", 63.0, 63.0, 32.0, seat=(63.0, 63.0))
    (only,) = measure(Scene.build(Photo.from_array(pixels), [fastener])).measurements
    assert math.isnan(only.features["plain_grains_near"])
    assert math.isnan(only.features["paler_near"])
