"""One clean nut among dusty ones, and what only looks like it: shadow, light, a rusty stud, equal nuts."""

import dataclasses
import math

import cv2
import numpy as np
import pytest

from visual_aid.evidence.clean_outlier import measure
from visual_aid.evidence.scene import Scene
from visual_aid.photo import Photo

PLACES = ((160, 170), (400, 170), (160, 400), (400, 400))
# Linear reflectances from memory: pale road dust, zinc and yellow-passivated steel, oxide-black steel.
DUSTY, ZINC, PASSIVATED, BLACK = (150, 138, 118), (168, 172, 178), (176, 140, 62), (52, 52, 54)
ODD = 2


def scene(draw_joint, nuts, change=None, tilt=30.0):
    """Four nuts of the given colours on a dusty surface; ``change`` paints over the finished pixels."""
    drawn = {colour: draw_joint(nut=colour, paint=(138, 128, 110), tilt=tilt) for colour in set(nuts)}
    picture = drawn[nuts[0]][0].astype(np.float32)
    for (x, y), colour in zip(PLACES, nuts, strict=True):
        window = np.s_[y - 115 : y + 115, x - 115 : x + 115]
        picture[window] = drawn[colour][0][window]
    fasteners = [
        dataclasses.replace(f, seat=(float(x), float(y)), group=1)
        for f, (x, y) in zip(drawn[nuts[0]][1], PLACES, strict=True)
    ]
    if change is not None:
        change(picture, fasteners)
    return Scene.build(Photo.from_array(np.clip(picture, 0, 255).astype(np.uint8)), fasteners)


def features(found, name):
    return np.array([m.features[name] for m in found.measurements])


def linear(encoded):
    encoded = encoded / 255
    return np.where(encoded <= 0.04045, encoded / 12.92, ((encoded + 0.055) / 1.055) ** 2.4)


def encoded(light):
    return 255 * np.where(
        light <= 0.0031308, 12.92 * light, 1.055 * np.maximum(light, 0) ** (1 / 2.4) - 0.055
    )


def shade(picture, share, where=np.s_[:, :]):
    picture[where] = encoded(share * linear(picture[where]))


@pytest.mark.parametrize("clean", [ZINC, PASSIVATED])
@pytest.mark.parametrize("light", [1.0, 0.3])
def test_a_clean_nut_shares_fewest_colours_in_bright_and_in_dim_light(draw_joint, clean, light):
    nuts = [DUSTY, DUSTY, clean, DUSTY]
    found = measure(scene(draw_joint, nuts, lambda picture, _: shade(picture, light)))
    odd = features(found, "colour_odd_to_nearest")
    assert odd.argmax() == ODD
    assert odd[ODD] > 1 > np.delete(odd, ODD).max()
    assert features(found, "contrast_to_surface").argmax() == ODD


def test_a_clean_black_nut_is_told_by_its_brightness(draw_joint):
    found = measure(scene(draw_joint, [DUSTY, DUSTY, BLACK, DUSTY]))
    assert features(found, "lighter").argmin() == ODD
    measured = found.measurements[ODD]
    assert measured.measures["lighter_share"] < -0.5
    assert "darker" in measured.reason


@pytest.mark.parametrize("colour", [DUSTY, ZINC])
def test_equally_dirty_and_equally_clean_nuts_are_not_odd(draw_joint, colour):
    found = measure(scene(draw_joint, [colour] * 4))
    assert np.abs(features(found, "colour_odd_to_nearest")).max() < 0.5
    assert all(m.measures["shared_share"] > 0.85 for m in found.measurements)


def test_a_nut_in_shadow_with_its_surface_keeps_its_colours(draw_joint):
    def shadow(picture, _):
        x, y = PLACES[ODD]
        shade(picture, 0.35, np.s_[y - 115 : y + 115, x - 115 : x + 115])

    lit, shaded = (measure(scene(draw_joint, [DUSTY] * 4, c)) for c in (None, shadow))
    assert features(shaded, "lighter")[ODD] < -0.6
    name = "colour_odd_to_nearest"
    assert features(shaded, name)[ODD] < features(lit, name)[ODD] + 0.7


def test_a_rusty_stud_end_does_not_make_its_nut_odd(draw_joint):
    def rust(picture, fasteners):
        f = fasteners[ODD]
        # ISO 4032: the thread is two thirds of the width across flats.
        axes = (0.62 * 40, 0.62 * 40 * math.cos(math.radians(30)))
        cv2.ellipse(picture, ((f.cx, f.cy - 8), (2 * axes[0], 2 * axes[1]), 0), (120, 66, 34), -1)

    found = measure(scene(draw_joint, [DUSTY] * 4, rust))
    assert features(found, "colour_odd_to_nearest")[ODD] < 0.7


def test_a_highlight_leaves_most_colours_shared(draw_joint):
    def glint(picture, fasteners):
        f = fasteners[ODD]
        cv2.circle(picture, (round(f.cx - 28), round(f.cy)), 5, (255, 255, 255), -1, cv2.LINE_AA)

    found = measure(scene(draw_joint, [DUSTY] * 4, glint))
    assert found.measurements[ODD].measures["shared_share"] > 0.8


def test_figures_say_how_much_is_shared(draw_joint):
    found = measure(scene(draw_joint, [DUSTY, DUSTY, PASSIVATED, DUSTY]))
    odd, usual = found.measurements[ODD], found.measurements[0]
    assert odd.measures["shared_share"] < 0.5 < 0.8 < odd.measures["neighbours_shared_share"]
    assert usual.measures["shared_share"] > 0.8
    assert odd.measures["neighbours"] == 3
    assert f"{100 * odd.measures['shared_share']:.0f} %" in odd.reason
    assert cv2.pointPolygonTest(np.float32(odd.outline), (odd.fastener.cx, odd.fastener.cy), False) > 0


def test_two_nuts_are_not_compared(draw_joint):
    four = scene(draw_joint, [DUSTY] * 4)
    two = Scene(four.photo, four.fasteners[:2], four.frames[:2], four.seats[:2])
    found = measure(two)
    assert not found.measurements
    assert found.not_judged[0].cue == "clean_outlier"


def test_nuts_are_compared_within_their_group_alone(draw_joint):
    drawn = scene(draw_joint, [DUSTY, DUSTY, ZINC, DUSTY])

    def in_groups(*groups):
        frames = tuple(
            dataclasses.replace(f, fastener=dataclasses.replace(f.fastener, group=g))
            for f, g in zip(drawn.frames, groups, strict=True)
        )
        return measure(Scene(drawn.photo, tuple(f.fastener for f in frames), frames, drawn.seats))

    of_another_group = in_groups(1, 1, 2, 1)
    assert [m.fastener.id for m in of_another_group.measurements] == [1, 2, 4]
    assert np.abs(features(of_another_group, "colour_odd_to_nearest")).max() < 0.5
    assert in_groups(1, 1, 2, 2).not_judged[0].why == "fewer than three like nuts"
    assert not in_groups(None, None, None, None).measurements  # each stands alone


def test_a_surface_that_is_not_seen_leaves_the_rest_measured(draw_joint):
    whole = scene(draw_joint, [DUSTY, DUSTY, ZINC, DUSTY])
    hidden = tuple(dataclasses.replace(s, valid=np.zeros_like(s.valid)) for s in whole.seats)
    found = measure(Scene(whole.photo, whole.fasteners, whole.frames, hidden))
    assert np.isnan(features(found, "contrast_to_surface")).all()
    assert features(found, "colour_odd_to_nearest").argmax() == ODD
