import pytest
from hypothesis import given
from hypothesis import strategies as some

from visual_aid.model import Candidate
from visual_aid.priority import USUAL_FASTENERS, best_of_each, priority

scores = some.lists(some.floats(0, 1), max_size=7)


def candidate(score, fastener, cue="rust_trail"):
    return Candidate(1, cue, fastener, (0, 0, 1, 1), ((0, 0), (1, 0), (0, 1)), score)


def test_with_the_usual_fasteners_it_is_the_chance_that_one_stands():
    assert priority([], USUAL_FASTENERS) == 0
    assert priority([0.5, 0.5], USUAL_FASTENERS) == pytest.approx(0.75)
    assert priority([1.0, 0.2], USUAL_FASTENERS) == 1


def test_odds_are_shared_among_the_fasteners():
    # Bonferroni: twice as many looks, half the odds. 0.8 are odds of 4, of 2 with ten fasteners: 2 / 3.
    assert priority([0.8], 2 * USUAL_FASTENERS) == pytest.approx(2 / 3)


def test_a_cue_counts_once_by_its_best_candidate():
    flagged = [candidate(0.5, 1), candidate(0.4, 2), candidate(0.1, 3), candidate(0.2, 3, "gap")]
    assert best_of_each(flagged) == {"rust_trail": 0.5, "gap": 0.2}


@given(scores, some.integers(0, 40), some.integers(0, 6), some.floats(0, 1))
def test_a_better_candidate_never_lowers_it_and_more_fasteners_never_raise_it(best, fasteners, at, better):
    here = priority(best, fasteners)
    assert 0 <= here <= 1
    assert priority(best, fasteners + 1) <= here + 1e-12
    if at < len(best) and better > best[at]:
        assert priority([*best[:at], better, *best[at + 1 :]], fasteners) >= here - 1e-12
