"""What vacant places look like, learned with and without some of the photos."""

import numpy as np
import pytest
from PIL import Image

from tests.evidence.test_missing_nut import R, row_pixels
from visual_aid.evaluation.truth import TruthCue, TruthFastener, TruthPhoto
from visual_aid.fasteners.regression import centred, coded, likeness
from visual_aid.training.kernels import Taught, together
from visual_aid.training.learned import write_arrays
from visual_aid.training.vacancy import PLAIN_KEPT, RIDGE, examples, fit

PHOTOS, EACH, FEATURES = 12, 10, 8


@pytest.fixture
def parts():
    """Give photos of ten places each; what is vacant shows in the descriptions, nearly."""
    rng = np.random.default_rng(4)
    vacant = rng.random((PHOTOS, EACH, 1)) < 0.2
    described = rng.normal(50, 10, (PHOTOS, EACH, FEATURES)) + 15 * vacant
    return [(d.astype(np.float32), v) for d, v in zip(described, vacant, strict=True)]


def test_vacant_places_read_higher_and_plain_ones_that_weigh_little_are_gone(parts):
    learned = fit(parts).learned
    described, vacant = together(parts)
    readings, there = learned(described), vacant[:, 0]
    assert readings[there].mean() > readings[~there].mean() + 0.3
    plain = len(learned.regression.examples) - there.sum()
    assert plain == pytest.approx(PLAIN_KEPT * (~there).sum(), abs=1)


def test_what_a_photo_taught_can_be_taken_back(parts):
    taught = fit(parts)
    learned = taught.without([described for described, _ in parts], RIDGE)
    assert len(learned) == PHOTOS
    gone = [np.abs(without.regression.weights[:, 0]) < 1e-5 for without in learned]
    for (described, _), out, without in zip(parts, gone, learned, strict=True):
        own = without.regression.components(coded(described, without.centre, without.spread))
        rest = without.regression.examples[~out]
        assert out.any()
        assert not (own[:, None] == rest[None]).all(axis=2).any()
        # What the rest teaches alone, in the balance of all: the equations that are solved for it.
        patches = centred(taught.learned.regression.examples)
        alike = likeness(patches, patches, without.regression.width).astype(float)
        there = taught.shows[:, 0]
        counts = np.where(there, 1 / there.mean(), 1 / (1 - there.mean()))
        system = alike + np.diag(RIDGE * counts.mean() / counts)
        weights = np.linalg.solve(system[np.ix_(~out, ~out)], there[~out] - 0.5)
        assert without.regression.weights[~out, 0] == pytest.approx(weights, abs=1e-4)
    assert (np.sum(gone, axis=0) == 1).all()  # each example goes with its own photo alone


def test_what_taught_nothing_takes_nothing_back(parts):
    taught = fit(parts)
    empty, strange = np.zeros((0, FEATURES), np.float32), np.full((3, FEATURES), 500.0, np.float32)
    for without in taught.without([empty, strange], RIDGE):
        assert without.regression.weights == pytest.approx(taught.learned.regression.weights, abs=1e-6)


def test_learning_on_keeps_what_was_learned_and_adds_to_it(parts):
    earlier, rng = fit(parts[:6]), np.random.default_rng(8)
    # Vacant places of another look: in the second half of the features.
    vacant = rng.random((60, 1)) < 0.3
    described = (rng.normal(50, 10, (60, FEATURES)) - 25 * vacant).astype(np.float32)
    on = fit([(described, vacant)], earlier)
    assert np.array_equal(
        on.learned.regression.examples[: len(earlier.shows)], earlier.learned.regression.examples
    )
    assert on.shows.sum() == earlier.shows.sum() + vacant.sum()
    before, after = (each.learned(described) for each in (earlier, on))
    there = vacant[:, 0]
    assert after[there].mean() - after[~there].mean() > before[there].mean() - before[~there].mean() + 0.3
    old, known = together(parts[:6])
    assert on.learned(old)[known[:, 0]].mean() > on.learned(old)[~known[:, 0]].mean() + 0.3


def test_what_was_learned_is_read_as_it_was_written(parts, tmp_path):
    taught = fit(parts)
    write_arrays(tmp_path / "look.npz", taught.arrays())
    again = Taught.load(tmp_path / "look.npz")
    assert np.array_equal(again.shows, taught.shows)
    described, _ = together(parts)
    assert np.array_equal(again.learned(described), taught.learned(described))


def test_training_is_repeatable(parts):
    one, other = fit(parts), fit(parts)
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
