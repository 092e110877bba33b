"""What vacant places look like, learned with and without some of the photos."""

import numpy as np
import pytest
from PIL import Image

from tests.evidence.test_missing_nut import R, row_pixels
from visual_aid.evaluation.truth import TruthCue, TruthFastener, TruthPhoto
from visual_aid.fasteners.regression import coded
from visual_aid.training.vacancy import PLAIN_KEPT, examples, fit

PHOTOS, EACH, FEATURES = 12, 10, 8


@pytest.fixture
def parts():
    """Give photos of ten places each; what is vacant shows in the descriptions, nearly."""
    rng = np.random.default_rng(4)
    vacant = rng.random((PHOTOS, EACH, 1)) < 0.2
    described = rng.normal(50, 10, (PHOTOS, EACH, FEATURES)) + 15 * vacant
    return [(d.astype(np.float32), v) for d, v in zip(described, vacant, strict=True)]


def test_vacant_places_read_higher_and_plain_ones_that_weigh_little_are_gone(parts):
    (learned,) = fit(parts)
    described, vacant = (np.concatenate(part) for part in zip(*parts, strict=True))
    readings, there = learned(described), vacant[:, 0]
    assert readings[there].mean() > readings[~there].mean() + 0.3
    plain = len(learned.regression.examples) - there.sum()
    assert plain == pytest.approx(PLAIN_KEPT * (~there).sum(), abs=1)


def test_a_photo_left_out_taught_nothing(parts):
    learned = fit(parts, each_left_out=True)
    assert len(learned) == PHOTOS
    gone = [np.abs(without.regression.weights[:, 0]) < 1e-5 for without in learned]
    for (described, _), out, without in zip(parts, gone, learned, strict=True):
        own = without.regression.components(coded(described, without.centre, without.spread))
        taught = without.regression.examples[~out]
        assert out.any()
        assert not (own[:, None] == taught[None]).all(axis=2).any()
    assert (np.sum(gone, axis=0) == 1).all()  # each example goes with its own photo alone


def test_a_photo_without_such_places_has_its_fit_too(parts):
    empty = np.zeros((0, FEATURES), np.float32), np.zeros((0, 1), bool)
    assert len(fit([*parts, empty], each_left_out=True)) == PHOTOS + 1


def test_training_is_repeatable(parts):
    (one,), (other,) = fit(parts), fit(parts)
    assert all(np.array_equal(value, other.arrays()[name]) for name, value in one.arrays().items())


def test_the_places_of_a_photo_are_described_with_their_labels(tmp_path):
    pixels, places = row_pixels("nut", "nut", "hole", "nut")
    path = tmp_path / "row.png"
    Image.fromarray(pixels).save(path)
    fasteners = tuple(
        TruthFastener(i, "empty_hole" if i == 2 else "hex_nut", x, y, R, cues=missing(x, y) if i == 2 else ())
        for i, (x, y) in enumerate(places)
    )
    described, vacant = examples(TruthPhoto(path, *pixels.shape[1::-1], fasteners), 0)
    assert len(described) == len(vacant) >= len(places)
    # Found, and once more where the labels complete what was found.
    assert 1 <= vacant.sum() <= 2


def missing(x, y):
    return (TruthCue("missing_nut", (x - R, y - R, 2 * R, 2 * R)),)
