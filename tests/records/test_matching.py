from hypothesis import given
from hypothesis import strategies as st

from visual_aid.model import Candidate
from visual_aid.records.matching import SAME_OVERLAP, match_candidates


def candidate(number, box, cue="rust_trail"):
    return Candidate(number, cue, None, box, (), 0.5)


def test_the_same_box_is_the_same_thing_whatever_its_number():
    before = [candidate(1, (0, 0, 10, 10)), candidate(2, (100, 0, 10, 10))]
    now = [candidate(7, (100, 0, 10, 10)), candidate(8, (0, 0, 10, 10))]
    assert match_candidates(before, now) == {7: 1, 8: 0}


def test_another_cue_on_the_same_spot_is_another_thing():
    assert match_candidates([candidate(1, (0, 0, 10, 10))], [candidate(1, (0, 0, 10, 10), "gap")]) == {}


def test_the_limit_of_overlap_is_kept():
    # Two 10 x 10 boxes moved apart by d share (10 - d) * 10 of (10 + d) * 10 pixels: one half at d = 10/3.
    assert match_candidates([candidate(1, (0, 0, 10, 10))], [candidate(1, (3.3, 0, 10, 10))]) == {1: 0}
    assert match_candidates([candidate(1, (0, 0, 10, 10))], [candidate(1, (3.4, 0, 10, 10))]) == {}


boxes = st.tuples(*[st.integers(0, 20).map(float)] * 2, *[st.integers(0, 12).map(float)] * 2)


@given(st.lists(boxes, max_size=6), st.lists(boxes, max_size=6))
def test_nothing_is_paired_twice_and_never_below_the_limit(old, new):
    before = [candidate(n, box) for n, box in enumerate(old, 1)]
    now = [candidate(n, box) for n, box in enumerate(new, 1)]
    pairs = match_candidates(before, now)
    assert len(set(pairs.values())) == len(pairs)
    for number, index in pairs.items():
        a, b = new[number - 1], old[index]
        # Counted pixel by pixel, as the boxes have whole corners.
        inside = [
            {(x, y) for x in range(int(p), int(p + w)) for y in range(int(q), int(q + h))}
            for p, q, w, h in (a, b)
        ]
        assert len(inside[0] & inside[1]) >= SAME_OVERLAP * len(inside[0] | inside[1]) > 0
