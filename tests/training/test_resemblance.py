"""What gaps look like, learned with and without some of the examples; the fit takes more than one thing."""

import numpy as np
import pytest

from visual_aid.evaluation.truth import TruthPhoto
from visual_aid.evidence.scene import Scene
from visual_aid.photo import Photo
from visual_aid.training import resemblance
from visual_aid.training.resemblance import fit, without_each

FEATURES = 12


@pytest.fixture
def labelled(tmp_path, monkeypatch):
    """Give eight photos of five places each; what two things are shows in the patches, nearly."""
    rng = np.random.default_rng(5)
    shows = rng.random((40, 2)) < 0.3
    described = rng.integers(60, 190, (40, FEATURES)) + 40 * np.repeat(shows, FEATURES // 2, axis=1)
    parts = [(described[i : i + 5].astype(np.uint8), shows[i : i + 5]) for i in range(0, 40, 5)]
    truths = [TruthPhoto(tmp_path / f"{n}.jpg", 800, 600) for n in range(len(parts))]
    monkeypatch.setattr(resemblance, "examples", lambda truth, seed: parts[seed])
    return truths, parts


def both(parts):
    described, shows = zip(*parts, strict=True)
    return np.concatenate(described), np.concatenate(shows)


def test_what_is_sought_reads_higher_than_what_is_not(labelled):
    described, shows = both(labelled[1])
    readings = fit(described, shows)(described)
    for k in (0, 1):
        assert readings[shows[:, k], k].mean() > readings[~shows[:, k], k].mean() + 0.2


def test_a_photo_left_out_is_as_if_it_had_never_been_there(labelled):
    truths, parts = labelled
    described, shows = both(parts)
    learned = without_each(truths)
    # The system of equations that is solved for the rest alone, with its width and its balance kept.
    whole = fit(described, shows)
    for n, truth in enumerate(truths):
        rest = np.setdiff1d(np.arange(40), np.arange(5 * n, 5 * n + 5))
        alike = whole.likeness(described).astype(float)
        for k in (0, 1):
            counts = np.where(shows[:, k], 1 / shows[:, k].mean(), 1 / (1 - shows[:, k].mean()))
            system = alike + np.diag(resemblance.RIDGE * counts.mean() / counts)
            weights = np.linalg.solve(system[np.ix_(rest, rest)], shows[rest, k] - 0.5)
            assert learned[truth.path].weights[rest, k] == pytest.approx(weights, abs=1e-4)
        assert np.abs(learned[truth.path].weights[5 * n : 5 * n + 5]).max() < 1e-5


def test_what_was_learned_elsewhere_is_read_where_it_is_given(draw_joint):
    pixels, fasteners = draw_joint(tilt=20)
    photo = Photo.from_array(pixels)
    usual = Scene.build(photo, fasteners)
    described = resemblance.patches(usual.octaves, photo, fasteners)
    learned = fit(described, np.array([[True], *[[False]] * (len(fasteners) - 1)]))
    readings = Scene.build(photo, fasteners, learned=learned).resemblance(described)
    assert readings[0] == readings.max() > 0.5
    assert (readings != usual.resemblance(described)).all()
