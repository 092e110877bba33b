"""Principal components keep what tells descriptions apart."""

import numpy as np
import pytest
from sklearn.decomposition import PCA

from visual_aid.fasteners.regression import centred, coded, likeness, squared_distances
from visual_aid.training import kernels
from visual_aid.training.kernels import learned_on, most_telling, principal


@pytest.fixture
def described():
    """Descriptions of 60 features that vary along 5 directions, nearly."""
    rng = np.random.default_rng(2)
    along = rng.normal(size=(400, 5)) * [40, 30, 20, 15, 10]
    directions = np.linalg.qr(rng.normal(size=(60, 5)))[0]
    values = 100 + along @ directions.T * 2 + rng.normal(size=(400, 60))
    return np.clip(np.round(values), 0, 255).astype(np.uint8)


def test_they_are_those_of_the_reference_library(described, monkeypatch):
    monkeypatch.setattr(kernels, "COMPONENTS", 5)
    ours = principal(described).directions.astype(float)
    ours /= np.linalg.norm(ours, axis=0)
    theirs = PCA(5).fit(described).components_
    assert np.abs((theirs @ ours).diagonal()) == pytest.approx(1, abs=1e-3)


def test_distances_stay_in_proportion(described, monkeypatch):
    monkeypatch.setattr(kernels, "COMPONENTS", 5)
    few = principal(described)(described)
    whole, left = (squared_distances(centred(d), centred(d)) for d in (described, few))
    apart = ~np.eye(len(described), dtype=bool)
    assert np.corrcoef(whole[apart], left[apart])[0, 1] > 0.995


def test_with_fewer_features_all_are_kept(described):
    assert principal(described[:, :7]).directions.shape == (7, 7)


def parts_of(seed: int, photos: int):
    rng = np.random.default_rng(seed)
    there = rng.random((photos, 12, 1)) < 0.3
    described = rng.normal(50, 10, (photos, 12, 8)) + 12 * there
    return [(d.astype(np.float32), t) for d, t in zip(described, there, strict=True)]


def test_learning_on_is_a_fit_to_old_and_new_examples_together():
    first, later = parts_of(1, 10), parts_of(2, 10)
    (known,) = most_telling(first, 0.1, 0.35, 1.0)
    on = learned_on(known, later, 0.1, 1.0)
    described, there = (np.concatenate(part) for part in zip(*first, *later, strict=True))
    patches = known.regression.components(coded(described, known.centre, known.spread))
    assert np.array_equal(on.regression.examples, patches)
    # The fit itself, from its definition (Williams and Seeger 2001), with both classes in balance.
    here = centred(patches)
    alike = likeness(here, here, known.regression.width).astype(float)
    counts = np.where(there, 1 / there.mean(), 1 / (1 - there.mean()))[:, 0]
    weights = np.linalg.solve(alike + np.diag(0.1 * counts.mean() / counts), there[:, 0] - 0.5)
    assert on.regression.weights[:, 0] == pytest.approx(weights, abs=1e-4)


def test_of_later_examples_without_what_is_sought_the_most_telling_are_kept():
    first, later = parts_of(1, 10), parts_of(2, 10)
    (known,) = most_telling(first, 0.1, 0.35, 1.0)
    on = learned_on(known, later, 0.1, 0.25)
    sought = sum(int(there.sum()) for _, there in later)
    others = 120 - sought
    assert len(on.regression.examples) == pytest.approx(120 + sought + 0.25 * others, abs=1)
