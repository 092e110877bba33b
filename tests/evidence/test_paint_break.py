"""Paint break: painted nuts whose paint is whole, or flaked along an arc around the foot."""

import math

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from visual_aid.evidence import paint_break
from visual_aid.evidence.paint_break import _longest_run
from visual_aid.evidence.scene import Scene
from visual_aid.photo import Photo

R = 40.0
PAINT = (70, 96, 120)
FIRST = (160, 170)
# sRGB of bare steel under a sky, and of rust: from memory of photos, not measured.
BARE, RUST = (205, 203, 198), (140, 74, 34)


def flakes(arc_deg, centre_deg=90.0, squash=1.0, first_only=True, reach=1.35):
    """Ragged bare and rusty flakes around a seat, within an arc about a bearing (90 is image-down)."""

    def under(canvas, x, y):
        if first_only and (x, y) != FIRST:
            return
        rng = np.random.default_rng(11)
        for bearing in rng.uniform(centre_deg - arc_deg / 2, centre_deg + arc_deg / 2, round(arc_deg / 3)):
            radius = rng.uniform(1.0, reach) * R
            at = (
                x + radius * math.cos(math.radians(bearing)),
                y + squash * radius * math.sin(math.radians(bearing)),
            )
            colour = BARE if rng.random() < 0.5 else RUST
            size = rng.uniform(0.04, 0.09) * R
            cv2.circle(
                canvas, (round(at[0] * 16), round(at[1] * 16)), round(size * 16), colour, -1, cv2.LINE_AA, 4
            )

    return under


def general_rust(canvas, x, y):
    rng = np.random.default_rng(round(x + y))
    for dx, dy, size in zip(
        rng.uniform(-110, 110, 150), rng.uniform(-110, 110, 150), rng.uniform(1.5, 4, 150), strict=True
    ):
        cv2.circle(canvas, (round(x + dx), round(y + dy)), round(size), RUST, -1, cv2.LINE_AA)


def scratch(canvas, x, y):
    cv2.line(canvas, (round(x - 100), round(y + 20)), (round(x + 100), round(y + 95)), BARE, 2, cv2.LINE_AA)


def chipped_edge(canvas, x, y):
    canvas[:, round(x + 80) :] = (40, 40, 42)
    rng = np.random.default_rng(2)
    for dy in rng.uniform(-90, 90, 60):
        cv2.circle(canvas, (round(x + 80 - rng.uniform(0, 6)), round(y + dy)), 4, BARE, -1, cv2.LINE_AA)


@pytest.fixture(scope="session")
def look(draw_joint):
    def measured(**drawing):
        drawing = {"tilt": 8.0, "washer": False, "paint": PAINT, "nut": PAINT, **drawing}
        pixels, fasteners = draw_joint(**drawing)
        return paint_break.measure(Scene.build(Photo.from_array(pixels), fasteners)).measurements

    return measured


def test_flaked_paint_around_one_nut_stands_out_from_its_neighbours(look):
    broken, *whole = (m.features for m in look(under=flakes(360)))
    for other in whole:
        assert broken["either_share"] > other["either_share"] + 0.4
        assert broken["rough_rim"] > 1.3 * other["rough_rim"]


@pytest.mark.parametrize("arc", [90, 180, 270])
def test_the_arc_is_measured_in_degrees(look, arc):
    assert look(under=flakes(arc))[0].measures["arc_deg"] == pytest.approx(arc, abs=45)


@given(bearing=st.floats(20, 160))
def test_the_outline_lies_on_the_arc(look, bearing):
    outline = np.array(look(under=flakes(100, bearing))[0].outline)
    x, y = outline.mean(axis=0) - FIRST
    assert math.degrees(math.atan2(y, x)) == pytest.approx(bearing, abs=35)


def test_under_tilt_the_arc_is_looked_for_at_the_foot(look):
    squash = math.cos(math.radians(45))
    broken, *whole = (m.features for m in look(tilt=45.0, under=flakes(150, squash=squash)))
    for other in whole:
        assert broken["either_share"] > other["either_share"] + 0.25


@pytest.mark.parametrize(
    "drawing",
    [
        {"under": scratch},
        {"under": chipped_edge},
        {"under": general_rust},
        {"shadow": True},
        {"washer": True},
    ],
    ids=["scratch", "chipped edge of the plate", "general rust", "shadow line", "washer's rim"],
)
def test_look_alikes_do_not_break_the_ring(look, drawing):
    broken = look(under=flakes(360))[0].features
    for m in look(**drawing):
        assert m.features["either_share"] < 0.7 * broken["either_share"]


def test_the_paint_that_counts_is_this_photos_own(look):
    """Rust-red flakes on blue and bare flakes on red oxide both stand out from their own paint."""
    for paint in ((70, 96, 120), (110, 55, 45), (200, 195, 185), (60, 60, 62)):
        broken, *whole = (m.features for m in look(paint=paint, nut=paint, under=flakes(360)))
        assert broken["either_share"] > max(w["either_share"] for w in whole) + 0.3


def test_a_nut_painted_with_its_surface_has_its_tint(look):
    same = look(nut=PAINT)[0].features["nut_tint"]
    other = look(nut=(196, 160, 70))[0].features["nut_tint"]
    assert same < 4
    assert other > 20


def run_of_rust(canvas, x, y):
    if (x, y) == FIRST:
        cv2.line(canvas, (round(x + 8), round(y + 20)), (round(x + 8), round(y + 120)), RUST, 14, cv2.LINE_AA)


def test_a_run_that_crosses_the_foot_is_told_from_flakes_along_it(look):
    run, *dry = (m.features for m in look(under=run_of_rust))
    flaked, *_ = (m.features for m in look(under=flakes(360)))
    for name in ("rust_run_contrast", "rust_streak"):
        assert run[name] > 2 * max(abs(other[name]) for other in (*dry, flaked))
    assert run["either_share"] < 0.5 * flaked["either_share"]


@given(st.lists(st.booleans(), min_size=1, max_size=40), st.integers(0, 39))
def test_the_longest_run_does_not_depend_on_where_the_ring_starts(flags, shift):
    ring = np.array(flags)
    rolled = np.roll(ring, shift)
    first, length = _longest_run(rolled)
    assert length == _longest_run(ring)[1]
    assert all(rolled[(first + k) % len(rolled)] for k in range(length))


def test_every_fastener_in_place_is_measured_with_the_same_features(look):
    found = look(under=flakes(360))
    assert len(found) == 4
    assert len({tuple(m.features) for m in found}) == 1
    assert "°" in found[0].reason


def test_nothing_in_place_nothing_measured(draw_joint):
    pixels, _ = draw_joint()
    assert paint_break.measure(Scene.build(Photo.from_array(pixels), [])).measurements == ()
