"""Empty holes of the samples, which taught nothing."""

from pathlib import Path

import numpy as np

from visual_aid.evaluation.truth import read_truths
from visual_aid.evidence.scene import Scene
from visual_aid.evidence.vacancy import describe, learned
from visual_aid.fasteners.regression import FARTHEST, STEP
from visual_aid.model import NOT_IN_PLACE, Fastener
from visual_aid.photo import Photo, read_photo

SAMPLES = Path(__file__).parents[2] / "sample_images"


def test_empty_holes_look_vacant_and_nuts_do_not():
    empty, vacant = [], []
    for truth in read_truths(SAMPLES):
        seen = [f for f in truth.fasteners if f.teaches and not f.ignore]
        photo = read_photo(truth.path)
        fasteners = [Fastener(i, f.kind, f.cx, f.cy, f.radius) for i, f in enumerate(seen, 1)]
        empty += [f.kind in NOT_IN_PLACE for f in fasteners]
        scene = Scene.build(photo, fasteners)
        vacant += list(scene.vacancy(fasteners, scene.patches(fasteners)))
    empty, vacant = np.array(empty), np.array(vacant)
    # The chance that an empty hole reads higher than a nut (Mann and Whitney's U), 0.5 for guessing.
    higher = (vacant[empty][:, None] > vacant[~empty]).mean()
    assert empty.sum() == 5
    assert higher > 0.9


def test_sums_over_a_description_stay_exact_in_float32():
    # Whole numbers up to 2 ** 24 are exact (IEEE 754, binary32): squared distances of coded descriptions.
    assert learned().centre.size * (STEP * FARTHEST) ** 2 < 2**24


def test_nothing_to_look_at():
    photo = Photo.from_array(np.zeros((80, 80, 3), np.uint8), name="black.png")
    scene = Scene.build(photo, [])
    none = scene.patches([])
    assert describe(scene.octaves, photo, [], none).shape == (0, learned().centre.size)
    assert scene.vacancy([], none).shape == (0,)
