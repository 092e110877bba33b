"""Patches turn with the lean; how gaps read is tested with the cue."""

import dataclasses
import math

import numpy as np

from visual_aid.evidence.resemblance import patches
from visual_aid.evidence.scene import Scene
from visual_aid.photo import Photo


def test_a_patch_turns_with_the_lean(draw_joint):
    pixels, drawn = draw_joint(tilt=30)
    fasteners = [dataclasses.replace(f, seat=(f.cx, f.cy + 0.5 * f.radius)) for f in drawn]
    upright = Photo.from_array(pixels, name="a.png")
    turned = Photo.from_array(np.ascontiguousarray(np.rot90(pixels)), name="b.png")
    width = pixels.shape[1]

    def quarter(x, y):
        return y, width - 1 - x

    there = []
    for f in fasteners:
        x, y = quarter(f.cx, f.cy)
        there.append(dataclasses.replace(f, cx=x, cy=y, seat=quarter(*f.seat)))
    here = patches(Scene.build(upright, fasteners).octaves, upright, fasteners).astype(float)
    away = patches(Scene.build(turned, there).octaves, turned, there).astype(float)
    # Alike but for the sampling; another nut's patch, or this one upright, is several times further off.
    plain = [dataclasses.replace(f, seat=None) for f in there]
    not_turned = patches(Scene.build(turned, plain).octaves, turned, plain).astype(float)
    for a, b, c in zip(here, away, not_turned, strict=True):
        assert math.dist(a, b) < 0.5 * math.dist(a, c)


def test_nothing_to_compare():
    photo = Photo.from_array(np.zeros((80, 80, 3), np.uint8), name="black.png")
    scene = Scene.build(photo, [])
    assert scene.resemblance(scene.patches([])).shape == (0,)
