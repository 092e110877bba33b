"""Principal components keep what tells descriptions apart."""

import numpy as np
import pytest
from sklearn.decomposition import PCA

from visual_aid.fasteners.regression import centred, squared_distances
from visual_aid.training import kernels
from visual_aid.training.kernels import principal


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
