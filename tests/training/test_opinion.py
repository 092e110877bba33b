"""What teaches the second opinion on finds, and that it is learned alike every time."""

from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from tests.fasteners.test_find import CENTRES, joint
from visual_aid.evaluation.truth import TruthFastener, TruthPhoto
from visual_aid.training.finder import scenes
from visual_aid.training.opinion import examples, fit, held_out

NUTS = tuple(TruthFastener(i, "hex_nut", x, y, 42.0) for i, (x, y) in enumerate(CENTRES))


@pytest.fixture(scope="module")
def photo(tmp_path_factory):
    path = tmp_path_factory.mktemp("photos") / "joint.png"
    pixels = joint(CENTRES, 42.0)
    Image.fromarray(pixels).save(path)
    return TruthPhoto(path, *pixels.shape[1::-1], NUTS)


def test_finds_teach_what_they_stand_on_and_once_more_mirrored(photo):
    (scene,) = scenes([photo], views=0)
    described, there = examples(scene)
    assert described.shape[0] == there.shape[0] > 0
    first, second = np.split(there[:, 0], 2)
    assert (first == second).all()
    assert 5 <= first.sum() <= len(CENTRES)
    one, other = np.split(described, 2)
    # A mirrored nut is no other nut, but is not described by the same numbers either.
    assert not np.allclose(one, other)
    spread = described.std(axis=0) + 1e-6
    nuts = np.flatnonzero(first)
    near = np.abs((one[nuts] - other[nuts]) / spread).mean()
    far = np.abs((one[nuts] - other[np.roll(nuts, 1)]) / spread).mean()
    assert near < far


def test_labels_that_count_neither_way_do_not_teach(photo):
    unsure = TruthPhoto(
        photo.path, photo.width, photo.height, ignore_regions=((0, 0, photo.width, photo.height),)
    )
    (scene,) = scenes([unsure], views=0)
    described, there = examples(scene)
    assert len(described) == len(there) == 0


@pytest.fixture(scope="module")
def parts():
    rng = np.random.default_rng(4)
    there = rng.random((12, 10, 1)) < 0.3
    described = rng.normal(50, 10, (12, 10, 8)) + 15 * there
    return [(d.astype(np.float32), t) for d, t in zip(described, there, strict=True)]


def test_each_half_is_read_off_the_other(parts):
    truths = [TruthPhoto(Path(f"{n}.jpg"), 10, 10) for n in range(len(parts))]
    read = list(held_out(truths, parts))
    assert len(read) == len(parts)
    readings, there = (np.concatenate(part) for part in zip(*read, strict=True))
    assert readings[there].mean() > readings[~there].mean() + 0.2
    learned = fit(parts)
    seen = np.concatenate([learned(described) - shows[:, 0] for described, shows in parts])
    assert np.abs(readings - there).mean() > np.abs(seen).mean()


def test_training_is_repeatable(parts):
    one, other = fit(parts), fit(parts)
    assert all(np.array_equal(value, other.arrays()[name]) for name, value in one.arrays().items())
