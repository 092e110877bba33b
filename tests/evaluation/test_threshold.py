"""What a threshold costs and scores put right, on made shops of known truth."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sklearn.linear_model import LogisticRegression

from visual_aid.evaluation.threshold import Flags, calibrate, cost, flags_of


def shop(count=4000, seed=0, decided=lambda score: np.ones(len(score), bool), truth=lambda score: score):
    """Make candidates on photos of two each: who decides on which, and how likely each stands."""
    rng = np.random.default_rng(seed)
    score = rng.beta(0.8, 1.6, count)
    stands = rng.random(count) < truth(score)
    outcome = np.where(decided(score), stands.astype(int), -1)
    return Flags(np.arange(count) // 2, score, outcome), stands


def test_with_every_decision_made_the_curve_is_a_count():
    flags, stands = shop()
    found = cost(flags)
    for threshold, photos, missed in zip(found.threshold, found.photos, found.missed, strict=True):
        assert missed == pytest.approx(stands[flags.score < threshold].sum() / stands.sum(), abs=0.01)
        assert photos == len({p for p, s in zip(flags.photo, flags.score, strict=True) if s >= threshold})


def test_decisions_on_high_scores_alone_do_not_make_a_threshold_look_free():
    # The bias that counting would have: hardly anybody decides under 0.3, where a fifth of the evidence lies.
    held = []
    for seed in range(20):
        flags, stands = shop(seed=seed, decided=lambda s: (s > 0.3) | (np.arange(len(s)) % 40 == 0))
        truth = stands[flags.score < 0.3].sum() / stands.sum()
        counted = (flags.outcome[flags.score < 0.3] == 1).sum() / flags.confirmed
        assert truth > 0.15
        assert counted < truth / 4
        found = cost(flags)
        held.append(found.low[6] <= truth <= found.high[6])
    # 9 in 10 by construction; 20 tries, so 15 or more with a chance of 99 %.
    assert sum(held) >= 15


def test_the_interval_holds_the_truth_about_as_often_as_it_says():
    held = []
    for seed in range(60):
        flags, stands = shop(
            600, seed, decided=lambda score: np.random.default_rng(7).random(len(score)) < 0.3
        )
        found = cost(flags)
        at = 8  # threshold 0.4
        truth = stands[flags.score < found.threshold[at]].sum() / stands.sum()
        held.append(found.low[at] <= truth <= found.high[at])
    # 9 in 10 by construction; 60 tries, so more than 44 with a chance of over 99.9 %.
    assert sum(held) > 44


def test_without_decisions_the_interval_says_so():
    flags, _ = shop(200, decided=lambda score: np.zeros(len(score), bool))
    found = cost(flags)
    assert flags.are_few
    assert (found.high - found.low).max() > 0.3


@given(st.integers(0, 50))
@settings(max_examples=20, deadline=None)
def test_a_higher_threshold_never_shows_more_nor_misses_less(seed):
    found = cost(shop(300, seed, decided=lambda score: score > 0.5)[0], seed)
    assert (np.diff(found.photos) <= 0).all()
    assert (np.diff(found.missed) >= -1e-9).all()
    assert (found.low <= found.missed + 1e-9).all()
    assert (found.missed <= found.high + 1e-9).all()
    assert (found.missed[0], found.missed[-1]) == pytest.approx((0, 1))


def test_a_line_between_logits_is_found_again():
    def overconfident(score):
        logit = np.log(score / (1 - score))
        return 1 / (1 + np.exp(-(0.5 * logit - 1.0)))

    flags, _ = shop(20000, truth=overconfident)
    fit = calibrate(flags)
    assert (fit.slope, fit.intercept) == pytest.approx((0.5, -1.0), abs=0.12)
    assert fit.helps


def test_the_fit_is_that_of_a_reference_library():
    flags, _ = shop(3000, truth=lambda score: score**2)
    logit = np.log(flags.score / (1 - flags.score))
    # scikit-learn without a penalty; ours is held to (1, 0) by a little.
    reference = LogisticRegression(C=np.inf).fit(logit[:, None], flags.outcome)
    fit = calibrate(flags)
    assert fit.slope == pytest.approx(reference.coef_[0, 0], abs=0.1)
    assert fit.intercept == pytest.approx(reference.intercept_[0], abs=0.15)


def test_scores_that_are_right_are_left_alone_and_few_decisions_move_little():
    assert not calibrate(shop(300, seed=3)[0]).after < calibrate(shop(300, seed=3)[0]).before - 0.01
    few = calibrate(Flags(np.arange(3), np.array([0.2, 0.6, 0.7]), np.array([1, 0, 0])))
    assert 0 < few.slope <= 1.5


def test_one_kind_of_decision_alone_is_refused():
    with pytest.raises(ValueError, match="there have to be both"):
        calibrate(Flags(np.arange(2), np.array([0.2, 0.6]), np.array([1, -1])))


def test_rows_of_the_records_become_flags():
    flags = flags_of(
        [("a", 0.5, "confirmed"), ("a", 0.2, None), ("b", 0.9, "ruled_out"), ("b", 0.1, "cannot_tell")]
    )
    assert flags.photo.tolist() == [0, 0, 1, 1]
    assert flags.outcome.tolist() == [1, -1, 0, -1]
