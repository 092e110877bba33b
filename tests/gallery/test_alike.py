import numpy as np
import pytest
from sklearn.neighbors import NearestNeighbors

from visual_aid.gallery.alike import fastener_at, more_like
from visual_aid.records.gallery import Looks


def test_nearest_first_as_another_library_finds_them():
    rng = np.random.default_rng(1)
    owner = np.sort(rng.integers(0, 200, 3000))
    looks = Looks(
        tuple(f"p{i}" for i in range(200)),
        owner,
        rng.uniform(10, 900, (3000, 3)).astype(np.float32),
        rng.integers(0, 256, (3000, 99)).astype(np.uint8),
    )
    others = np.flatnonzero(owner != owner[7])
    vectors = looks.vectors.astype(float)
    reference = NearestNeighbors(n_neighbors=12, algorithm="brute").fit(vectors[others])
    far, which = reference.kneighbors(vectors[[7]])
    found = more_like(looks, 7, 12)
    assert [a.distance for a in found] == pytest.approx(far[0], rel=1e-5)
    assert [(a.cx, a.cy) for a in found] == [tuple(looks.places[others[i], :2]) for i in which[0]]


def test_photos_that_are_not_wanted_are_left_out(looks):
    near = looks(own=[0, 0], a=[1, 0], b=[2, 0], c=[9, 0])
    assert [a.photo for a in more_like(near, 0, 2)] == ["a", "b"]
    assert [a.photo for a in more_like(near, 0, 5, leave_out=["a"])] == ["b", "c"]


def test_one_alone_is_like_nothing(looks):
    assert more_like(looks(own=[0, 0]), 0, 5) == ()


def test_the_fastener_that_a_box_is_about():
    looks = Looks(
        ("a", "b"),
        np.array([0, 0, 1]),
        np.array([(100, 100, 20), (300, 100, 20), (100, 100, 20)], np.float32),
        np.zeros((3, 2), np.uint8),
    )
    assert fastener_at(looks, "a", (90, 110, 20, 60)) == 0  # a run below the first
    assert fastener_at(looks, "a", (280, 125, 30, 30)) == 1
    assert fastener_at(looks, "b", (90, 110, 20, 60)) == 2
    assert fastener_at(looks, "a", (600, 400, 20, 20)) is None
    assert fastener_at(looks, "c", (90, 110, 20, 60)) is None
