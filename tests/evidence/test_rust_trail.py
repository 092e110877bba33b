import dataclasses

import cv2
import numpy as np
import pytest

from visual_aid.evidence import rust_trail
from visual_aid.evidence.scene import Scene
from visual_aid.photo import Photo

R = 40
# BGR does not matter here: the canvas is RGB. A mid iron oxide, Munsell 2.5YR 4/8 or so in daylight.
RUST = (140, 70, 38)
SEATS = ((160.0, 170.0), (400.0, 170.0), (160.0, 400.0), (400.0, 400.0))


def measured(draw_joint, at_first=None, everywhere=None, tilt=15, **look):
    """Measurements of four drawn nuts; ``at_first`` paints below the first alone, in nut radii."""

    def under(canvas, x, y):
        rows, columns = np.mgrid[0 : canvas.shape[0], 0 : canvas.shape[1]].astype(np.float32)
        u, v = (columns - x) / R, (rows - y) / R
        if everywhere is not None:
            everywhere(canvas, u, v)
        if at_first is not None and (x, y) == (160, 170):
            at_first(canvas, u, v)

    pixels, fasteners = draw_joint(tilt=tilt, under=under, **look)
    seated = [dataclasses.replace(f, seat=s) for f, s in zip(fasteners, SEATS, strict=True)]
    return rust_trail.measure(Scene.build(Photo.from_array(pixels, name="joint.png"), seated)).measurements


def trail(canvas, u, v, lean=0.0):
    run = (np.abs(u - lean * v - 0.2) < 0.22) & (v > 0.8) & (v < 3.6)
    soft = cv2.GaussianBlur(run.astype(np.float32), (0, 0), 2)[..., None]
    canvas[:] = canvas * (1 - 0.85 * soft) + np.array(RUST, np.float32) * 0.85 * soft


def test_a_trail_stands_out_from_the_neighbours(draw_joint):
    first, *others = measured(draw_joint, trail)
    for feature in ("run_contrast", "rust_below_t", "red_to_green_below_t", "streak_less_elsewhere"):
        assert first.features[feature] > 2 * max(abs(o.features[feature]) for o in others), feature
    assert first.measures["length_r"] == pytest.approx(2.4, abs=0.8)
    assert first.measures["rust_share"] > 0.5
    assert "nut radii" in first.reason


def test_where_no_run_can_be_followed_the_reason_says_so(draw_joint):
    faint = [m for m in measured(draw_joint) if m.measures["length_r"] == 0]
    assert faint
    assert all("too faint to follow" in m.reason and "0.0" not in m.reason for m in faint)


@pytest.mark.parametrize("lean", [-0.26, 0.26])
def test_a_phone_tilted_by_fifteen_degrees_does_not_lose_it(draw_joint, lean):
    first, *others = measured(draw_joint, lambda c, u, v: trail(c, u, v, lean))
    assert first.features["run_contrast"] > 0.4
    assert max(o.features["run_contrast"] for o in others) < 0.15


def test_its_outline_lies_below_the_nut_in_the_photo(draw_joint):
    first, *_ = measured(draw_joint, trail)
    outline = np.array(first.outline)
    assert outline[:, 1].min() > 170 + 0.5 * R
    assert outline[:, 0].min() > 160 - R
    assert outline[:, 0].max() < 160 + 1.5 * R


def even_rust(canvas, u, v):
    spots = cv2.GaussianBlur(np.random.default_rng(2).normal(size=canvas.shape[:2]), (0, 0), 6)
    canvas[spots > 0.02] = RUST


def red_paint_line(canvas, u, v):
    canvas[(v > 2.4) & (v < 3.0)] = (170, 40, 35)


def brown_mud(canvas, u, v):
    canvas[np.hypot(u - 1.5, v + 2.2) < 0.9] = (92, 78, 62)


def above_only(canvas, u, v):
    trail(canvas, u, -v)


@pytest.mark.parametrize("look_alike", [even_rust, red_paint_line, brown_mud, above_only])
def test_look_alikes_are_weaker_than_a_trail(draw_joint, look_alike):
    real, *_ = measured(draw_joint, trail)
    other, *_ = measured(draw_joint, at_first=look_alike)
    assert other.features["rust_below_t"] < 0.6 * real.features["rust_below_t"]
    assert other.features["streak_less_elsewhere"] < 0.6 * real.features["streak_less_elsewhere"]


def pale_grit(canvas, u, v):
    grains = np.random.default_rng(4).random(canvas.shape[:2]) < 0.12
    canvas[grains & (np.abs(u) < 1.2) & (v > 0.6) & (v < 2.2)] = (190, 186, 178)


def soot(canvas, u, v):
    canvas[(np.abs(u) < 1.2) & (v > 0.6) & (v < 2.2)] = (30, 30, 30)


@pytest.mark.parametrize(("powder", "feature"), [(pale_grit, "plain_grains_near"), (soot, "darker_below_t")])
def test_powder_is_told_from_a_run(draw_joint, powder, feature):
    wet, *_ = measured(draw_joint, trail)
    dusty, *_ = measured(draw_joint, at_first=powder)
    assert dusty.features[feature] > 2 * wet.features[feature] + 0.5
    assert dusty.features["run_contrast"] < 0.5 * wet.features["run_contrast"]


def test_the_shadow_of_a_nut_is_no_trail(draw_joint):
    shaded, *_ = measured(draw_joint, shadow=True)
    assert shaded.measures["rust_share"] < 0.15
    assert shaded.features["run_contrast"] < 0.15


def test_without_fasteners_it_stays_silent():
    empty = rust_trail.measure(
        Scene.build(Photo.from_array(np.zeros((80, 80, 3), np.uint8), name="a.png"), [])
    )
    assert empty.measurements == ()
    assert empty.not_judged[0].cue == "rust_trail"
