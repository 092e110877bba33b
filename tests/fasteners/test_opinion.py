"""Likeness to labelled fasteners, on the samples, which taught nothing, and what it makes of a score."""

import dataclasses
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.fasteners.test_find import CENTRES, joint
from visual_aid.evaluation.truth import read_truths
from visual_aid.fasteners.find import searched as finds_of
from visual_aid.fasteners.opinion import describe, learned, reconsidered
from visual_aid.fasteners.patches import lab_octaves, working_octaves
from visual_aid.fasteners.regression import FARTHEST, STEP
from visual_aid.fasteners.search import Find, circles_of
from visual_aid.photo import Photo
from visual_aid.training.finder import assign, scenes

SAMPLES = Path(__file__).parents[2] / "sample_images"


@pytest.fixture(scope="module")
def octaves():
    return working_octaves(Photo.from_array(joint(CENTRES, 42.0)))


def at(place, kind="hex_nut", score=0.5):
    return Find(*place, 42.0, kind, score, score)


def test_fasteners_of_the_samples_rank_higher_by_both_opinions_than_by_the_search():
    searched, both, there = [], [], []
    for scene in scenes(read_truths(SAMPLES)[:12], views=0):
        again = reconsidered(scene.octaves, finds_of(scene.octaves))
        state, _ = assign(circles_of(again), scene)
        searched += [find.searched for find, known in zip(again, state, strict=True) if known >= 0]
        both += [find.score for find, known in zip(again, state, strict=True) if known >= 0]
        there += [known == 1 for known in state if known >= 0]
    there = np.array(there)

    def higher(scores):
        """The chance that a fastener is scored higher than what is none (Mann and Whitney's U)."""
        scores = np.array(scores)
        return (scores[there][:, None] > scores[~there]).mean()

    assert there.sum() > 30
    assert higher(both) > higher(searched)
    assert higher(both) > 0.9


def test_nuts_gain_and_bare_plate_loses(octaves):
    nut, plate = at(CENTRES[0]), at((440.0, 450.0))
    better, worse = reconsidered(octaves, [plate, nut])
    assert (better.circle, worse.circle) == (nut.circle, plate.circle)
    assert better.score > 0.5 > worse.score
    assert (better.searched, worse.searched) == (0.5, 0.5)


@pytest.mark.parametrize("kind", ["bare_stud", "empty_hole"])
def test_what_is_no_fastener_in_place_keeps_its_score(octaves, kind):
    assert reconsidered(octaves, [at(CENTRES[0], kind)]) == [at(CENTRES[0], kind)]


@given(st.floats(0.01, 0.98), st.floats(0.001, 0.01))
def test_the_surer_the_search_the_higher_the_score(octaves, score, more):
    low, high = (at(CENTRES[0], score=value) for value in (score, score + more))
    (lower,), (higher,) = reconsidered(octaves, [low]), reconsidered(octaves, [high])
    assert 0 < lower.score < higher.score < 1


def test_sums_over_a_description_stay_exact_in_float32():
    # Whole numbers up to 2 ** 24 are exact (IEEE 754, binary32): squared distances of coded descriptions.
    assert learned().centre.size * (STEP * FARTHEST) ** 2 < 2**24


def test_a_mirrored_photo_is_judged_alike(octaves):
    mirror = lab_octaves(np.ascontiguousarray(octaves.lab[0][:, ::-1]))
    width = octaves.lab[0].shape[1]
    for place in CENTRES:
        (here,) = reconsidered(octaves, [at(place)])
        (there,) = reconsidered(mirror, [dataclasses.replace(at(place), x=width - 1 - place[0])])
        assert there.score == pytest.approx(here.score, abs=0.1)


def test_nothing_to_look_at(octaves):
    assert reconsidered(octaves, []) == []
    assert describe(octaves, np.zeros((0, 3), np.float32)).shape == (0, learned().centre.size)
