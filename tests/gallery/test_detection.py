import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binom, norm

from visual_aid.gallery.detection import Counts, Estimate, Skill, mean, rates, skill, skill_at, total


@pytest.mark.parametrize(
    ("hits", "false_alarms", "sensitivity", "places"),
    [
        # Worked example of Stanislaw and Todorov (1999): 50 hits of 50 (taken as 0.99), 17 of 25.
        (0.99, 0.68, 1.86, 2),
        # |STAT manual page dprime(1), October 1985.
        (0.70, 0.40, 0.78, 2),
        # W. Schneider, Short Notes on Theory of Signal Detection, table of three subjects.
        (0.70, 0.10, 1.806, 3),
        (0.50, 0.40, 0.253, 3),
        (0.85, 0.05, 2.681, 3),
        # Macmillan and Creelman (2005), chapter 1, faces recognised with and without hypnosis; from memory.
        (0.80, 0.40, 1.095, 3),
        (0.92, 0.72, 0.822, 3),
    ],
)
def test_sensitivity_is_that_of_published_examples(hits, false_alarms, sensitivity, places):
    assert round(skill_at(hits, false_alarms)[0], places) == sensitivity


@pytest.mark.parametrize(
    ("hits", "false_alarms", "criterion", "places"),
    [
        (0.99, 0.68, -1.40, 2),  # Stanislaw and Todorov (1999)
        # Macmillan and Creelman (2005), chapter 2; from memory.
        (0.80, 0.40, -0.294, 3),
        (0.92, 0.72, -0.994, 3),
    ],
)
def test_the_criterion_is_that_of_published_examples(hits, false_alarms, criterion, places):
    assert round(skill_at(hits, false_alarms)[1], places) == criterion


@pytest.mark.parametrize(
    ("share", "z"),
    # Percentage points of the normal distribution as in any printed table.
    [(0.5, 0.0), (0.8413, 0.9998), (0.9, 1.2816), (0.95, 1.6449), (0.975, 1.96), (0.99, 2.3263)],
)
def test_table_values_of_z(share, z):
    # Against half the trials false alarms, d' is z of the hits and the criterion half of it below 0.
    assert skill_at(share, 0.5) == pytest.approx((z, -z / 2), abs=5e-5)


def test_the_log_linear_rule():
    # Hautus (1995): 0.5 to each count, 1 to each number of trials.
    assert rates(Counts(hits=20, misses=0, false_alarms=0, rejections=10)) == (20.5 / 21, 0.5 / 11)


def test_by_hand():
    # 8 of 10 hits, 2 of 10 false alarms: H = 8.5/11 = .772727, F = 2.5/11 = .227273, z = +-.747859 from a
    # table, phi(z) = .301620; var = 2 * .772727 * .227273 / (10 * .301620^2) = .386090, error .621361.
    by_hand = skill(Counts(8, 2, 2, 8))
    assert by_hand.sensitivity.value == pytest.approx(2 * 0.747859, abs=1e-5)
    assert by_hand.criterion.value == pytest.approx(0.0, abs=1e-12)
    assert by_hand.sensitivity.error == pytest.approx(0.62136, abs=1e-4)
    assert by_hand.sensitivity.interval == pytest.approx((0.27788, 2.71356), abs=5e-4)
    assert by_hand.criterion.error == pytest.approx(by_hand.sensitivity.error / 2)


@given(st.tuples(*4 * [st.integers(0, 60)]))
def test_agrees_with_another_library(cells):
    counts = Counts(*cells)
    result = skill(counts)
    if not counts.with_evidence or not counts.without:
        assert result is None
        return
    hit, false = (cells[0] + 0.5) / (cells[0] + cells[1] + 1), (cells[2] + 0.5) / (cells[2] + cells[3] + 1)
    assert result.sensitivity.value == pytest.approx(norm.ppf(hit) - norm.ppf(false), abs=1e-9)
    assert result.criterion.value == pytest.approx(-(norm.ppf(hit) + norm.ppf(false)) / 2, abs=1e-9)


@given(st.tuples(*4 * [st.integers(0, 60)]))
def test_saying_the_opposite_turns_the_signs(cells):
    counts = Counts(*cells)
    hits, misses, false_alarms, rejections = cells
    one, other = skill(counts), skill(Counts(misses, hits, rejections, false_alarms))
    if one is not None:
        assert other.sensitivity.value == pytest.approx(-one.sensitivity.value, abs=1e-9)
        assert other.criterion.value == pytest.approx(-one.criterion.value, abs=1e-9)


@pytest.mark.parametrize("trials", [10, 20, 40])
@pytest.mark.parametrize("sensitivity", [0.0, 1.0, 2.0])
@pytest.mark.parametrize("criterion", [0.0, 0.5])
def test_intervals_cover_what_they_claim(trials, sensitivity, criterion):
    # Every outcome of a quiz with its binomial chance: the share of 95 % intervals that hold the truth.
    hit, false = norm.cdf(sensitivity / 2 - criterion), norm.cdf(-sensitivity / 2 - criterion)
    chance = np.outer(binom.pmf(range(trials + 1), trials, hit), binom.pmf(range(trials + 1), trials, false))
    covered = {"sensitivity": 0.0, "criterion": 0.0}
    for hits in range(trials + 1):
        for false_alarms in range(trials + 1):
            found = skill(Counts(hits, trials - hits, false_alarms, trials - false_alarms))
            for name, truth in (("sensitivity", sensitivity), ("criterion", criterion)):
                low, high = getattr(found, name).interval
                covered[name] += chance[hits, false_alarms] * (low <= truth <= high)
    assert min(covered.values()) >= 0.93


def test_a_group_is_the_mean_of_its_people():
    people = [Skill(Estimate(d, 0.3), Estimate(c, 0.15)) for d, c in ((1.0, 0.2), (2.0, -0.4))]
    group = mean(people)
    assert (group.sensitivity.value, group.criterion.value) == pytest.approx((1.5, -0.1))
    assert group.sensitivity.error == pytest.approx(0.3 / math.sqrt(2))
    assert mean([]) is None


def test_runs_of_one_person_add_up():
    assert total([Counts(1, 2, 3, 4), Counts(5, 6, 7, 8)]) == Counts(6, 8, 10, 12)
