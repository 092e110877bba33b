import dataclasses
import math
from pathlib import Path

import numpy as np
import pytest

from visual_aid.evaluation.truth import read_truths
from visual_aid.evidence.resemblance import VACANT, patches
from visual_aid.evidence.scene import Scene
from visual_aid.model import NOT_IN_PLACE, Fastener
from visual_aid.photo import Photo, read_photo

SAMPLES = Path(__file__).parents[2] / "sample_images"


def labelled(unit):
    (truth,) = (t for t in read_truths(SAMPLES) if unit in t.name)
    photo = read_photo(truth.path)
    seen = [f for f in truth.fasteners if f.teaches]
    fasteners = [Fastener(i, f.kind, f.cx, f.cy, f.radius) for i, f in enumerate(seen, 1)]
    return photo, fasteners


@pytest.mark.parametrize("unit", ["unit116", "unit235"])
def test_empty_holes_of_photos_that_taught_nothing_resemble_vacant_places(unit):
    photo, fasteners = labelled(unit)
    scene = Scene.build(photo, fasteners)
    alike = scene.resemblance(scene.patches(fasteners))[:, VACANT]
    empty = np.array([f.kind in NOT_IN_PLACE for f in fasteners])
    assert 0 < empty.sum() < len(empty)
    assert alike[empty].min() > alike[~empty].max()


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
    assert scene.resemblance(scene.patches([])).shape == (0, 2)
