import pytest
from hypothesis import given
from hypothesis import strategies as some

from visual_aid.priority import USUAL_FASTENERS, priority

scores = some.lists(some.floats(0, 1), max_size=7)


def test_with_the_usual_fasteners_it_is_the_chance_that_one_stands():
    assert priority([], USUAL_FASTENERS) == 0
    assert priority([0.5, 0.5], USUAL_FASTENERS) == pytest.approx(0.75)
    assert priority([1.0, 0.2], USUAL_FASTENERS) == 1


def test_odds_are_shared_among_the_fasteners():
    # Bonferroni: twice as many looks, half the odds. 0.8 are odds of 4, of 2 with ten fasteners: 2 / 3.
    assert priority([0.8], 2 * USUAL_FASTENERS) == pytest.approx(2 / 3)


@given(scores, some.integers(0, 40), some.integers(0, 6), some.floats(0, 1))
def test_a_better_candidate_never_lowers_it_and_more_fasteners_never_raise_it(best, fasteners, at, better):
    here = priority(best, fasteners)
    assert 0 <= here <= 1
    assert priority(best, fasteners + 1) <= here + 1e-12
    if at < len(best) and better > best[at]:
        assert priority([*best[:at], better, *best[at + 1 :]], fasteners) >= here - 1e-12
