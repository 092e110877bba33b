"""Figures of accuracy against scikit-learn and against counting by hand."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sklearn.metrics import roc_auc_score

from visual_aid.evaluation.figures import (
    calibration_error,
    evaluate,
    first_third,
    precision_recall,
    ranking_chance,
    recall_at,
)
from visual_aid.evaluation.judging import judge_all
from visual_aid.evaluation.truth import TruthCue, TruthFastener, TruthPhoto
from visual_aid.model import Candidate, Fastener, PhotoInfo, Quality, Screening, Trouble

scored = st.lists(
    st.tuples(st.sampled_from([0.0, 0.1, 0.25, 0.5, 0.9]), st.booleans()), min_size=2, max_size=60
)


@given(scored)
def test_ranking_chance_is_the_area_under_the_roc_curve(pairs):
    scores, positive = zip(*pairs, strict=True)
    chance = ranking_chance(scores, positive)
    if len(set(positive)) == 1:
        assert math.isnan(chance)
    else:
        assert chance == pytest.approx(roc_auc_score(positive, scores))


def test_recall_stops_before_the_first_false_candidate_too_many():
    ranked = [(0.9, "a"), (0.8, None), (0.7, "b"), (0.6, "a"), (0.5, None), (0.4, "c")]
    assert recall_at(ranked, labels=4, allowed=0) == 1 / 4
    assert recall_at(ranked, labels=4, allowed=1) == 2 / 4
    assert recall_at(ranked, labels=4, allowed=1.9) == 2 / 4
    assert recall_at(ranked, labels=4, allowed=2) == 3 / 4
    assert math.isnan(recall_at(ranked, labels=0, allowed=2))


@given(st.lists(st.tuples(st.floats(0, 1), st.one_of(st.none(), st.integers(0, 9))), max_size=50))
def test_recall_never_falls_when_more_false_candidates_are_allowed(ranked):
    recalls = [recall_at(ranked, labels=10, allowed=n) for n in range(len(ranked) + 1)]
    assert recalls == sorted(recalls)
    assert recalls[-1] == len({label for _, label in ranked} - {None}) / 10


def test_calibration_error_is_the_distance_of_scores_from_what_stands():
    none_then_all = [False] * 10 + [True] * 10
    assert calibration_error([0.0] * 10 + [1.0] * 10, none_then_all) == 0
    assert calibration_error([1.0] * 10 + [0.0] * 10, none_then_all) == 1
    # Ten bins of two candidates, one of each two stands: each bin is off by its distance from 0.5.
    scores = [0.01 * i for i in range(20)]
    off = sum(abs(0.01 * (2 * i + 0.5) - 0.5) for i in range(10)) / 10
    assert calibration_error(scores, [True, False] * 10) == pytest.approx(off)


def test_calibration_error_needs_two_candidates_a_bin():
    assert math.isnan(calibration_error([0.5] * 19, [True] * 19))


def test_first_third_counts_only_what_fits_into_it():
    assert first_third([0.9, 0.8, 0.7, 0.1, 0.1, 0.1], [True, False, True, True, False, False]) == 1 / 2
    assert first_third([0.9, 0.1, 0.1], [False, True, True]) == 0
    assert math.isnan(first_third([0.9, 0.1, 0.1], [False, False, False]))


def nut(number, x, *cues):
    return TruthFastener(number, "hex_nut", x, 100, 20, cues=cues)


def record(name, fasteners=(), candidates=(), priority=0.0, error=None):
    info = PhotoInfo(name, name, "", 800, 600)
    return Screening("0", info, Quality(True), tuple(fasteners), tuple(candidates), (), priority, 0.0, error)


@pytest.fixture
def judged(tmp_path):
    """Three photos: a trail found and a gap missed; a false alarm; a photo without a record."""
    trail = TruthCue("rust_trail", (90, 120, 20, 60), grade="obvious")
    gap = TruthCue("gap", (290, 90, 20, 10), grade="faint")
    truths = [
        TruthPhoto(tmp_path / "a.jpg", 800, 600, (nut(0, 100, trail), nut(1, 300, gap))),
        TruthPhoto(tmp_path / "b.jpg", 800, 600, (nut(0, 100), nut(1, 300))),
        TruthPhoto(tmp_path / "c.jpg", 800, 600, (nut(0, 100),)),
    ]
    a = record(
        "a.jpg",
        [Fastener(1, "hex_nut", 102, 100, 22), Fastener(2, "hex_nut", 700, 500, 20)],
        [Candidate(1, "rust_trail", 1, (92, 125, 20, 50), (), 0.9)],
        priority=0.9,
    )
    b = record("b.jpg", candidates=[Candidate(1, "gap", None, (500, 400, 30, 30), (), 0.8)], priority=0.8)
    return judge_all(truths, [b, a])


def test_figures_of_three_photos_counted_by_hand(judged):
    e = evaluate(judged)
    assert (e.photos, e.photos_without_record, e.photos_with_error) == (3, 1, 0)
    assert (e.fasteners.labels, e.fasteners.precision, e.fasteners.recall) == (5, 1 / 2, 1 / 5)
    assert e.fasteners.centre_error_r == pytest.approx(2 / 20)
    assert e.fasteners.radius_error_share == pytest.approx(2 / 20)
    assert e.evidence.labels == 2
    # Three photos: at 0.25 a photo no false candidate is allowed, and the trail comes before the first.
    assert e.evidence.recall == {0.25: 1 / 2, 0.5: 1 / 2, 1.0: 1 / 2}
    assert e.grades["obvious"].recall[0.5] == 1
    assert e.grades["faint"].recall[0.5] == 0
    assert e.cues["rust_trail"].recall[0.1] == 1
    assert e.candidates["gap"] == 1
    assert e.photos_auc == 1
    assert e.first_third == 1


def test_figures_are_plain_json_without_nan(judged):
    plain = evaluate(judged).to_dict()
    assert plain["calibration_error"] is None
    assert plain["cues"]["stripe_offset"] == {"labels": 0, "recall": {"0.1": None}}


def test_a_failed_record_is_counted_and_finds_nothing(tmp_path):
    truth = TruthPhoto(tmp_path / "a.jpg", 800, 600, (nut(0, 100),))
    e = evaluate(judge_all([truth], [record("a.jpg", error=Trouble("empty", "a.jpg is empty"))]))
    assert e.photos_with_error == 1
    assert e.fasteners.recall == 0


def test_precision_and_recall_step_down_the_scores(judged):
    curve = precision_recall(judged)
    assert curve.labels == 2
    assert curve.recall == (1 / 2, 1 / 2)
    assert curve.precision == (1, 1 / 2)
    assert precision_recall(judged, "gap").precision == (0,)
