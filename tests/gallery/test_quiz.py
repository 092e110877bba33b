import dataclasses
import datetime as dt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from visual_aid.gallery.detection import Counts
from visual_aid.gallery.quiz import counts, counts_of, draw, item, mark
from visual_aid.model import CUES, PhotoInfo, Quality, Screening
from visual_aid.records.entries import StoredCandidate, StoredPhoto
from visual_aid.records.teaching import Answer, Item, Region, Tap


def test_a_tap_on_evidence_is_found_and_the_right_word_names_it(photo):
    one = photo("a", [("rust_trail", 500, 500)])
    right, wrong = (
        mark(one, Answer(0, (Tap(550, 550, "rust_trail"),))),
        mark(one, Answer(0, (Tap(550, 550, "gap"),))),
    )
    assert (right.found, right.named, right.false) == ((True,), (True,), ())
    assert (wrong.found, wrong.named, wrong.false) == ((True,), (False,), ())


def test_a_fingertip_beside_it_still_counts(photo):
    one = photo("a", [("rust_trail", 500, 500)])
    assert mark(one, Answer(0, (Tap(441, 500, "rust_trail"),))).found == (True,)
    beside = mark(one, Answer(0, (Tap(439, 500, "rust_trail"),)))
    assert beside.found == (False,)
    assert beside.false == ((Tap(439, 500, "rust_trail"), None),)


def test_where_two_meet_the_word_decides(photo):
    one = photo("a", [("rust_trail", 500, 500), ("gap", 520, 480)])
    assert mark(one, Answer(0, (Tap(550, 520, "gap"),))).found == (False, True)
    assert mark(one, Answer(0, (Tap(550, 520, "rust_trail"),))).found == (True, False)


def test_a_look_alike_is_told_apart_from_nothing(photo):
    one = photo("a", [], [("rust_trail", 100, 100)])
    fell = mark(one, Answer(0, (Tap(150, 150, "rust_trail"), Tap(1500, 800, "gap"))))
    assert [None if r is None else r.cue for _, r in fell.false] == ["rust_trail", None]


def test_what_nobody_settled_counts_neither_way(photo):
    one = photo("a", [], [], ((500.0, 500.0, 100.0, 100.0),))
    answer = mark(one, Answer(0, (Tap(550, 550, "gap"),)))
    assert answer.false == ()
    assert counts([answer]) == Counts(rejections=1)
    assert counts_of("gap", [answer]) == Counts(rejections=1)


def test_what_the_threshold_in_use_makes_weak_is_settled_as_nothing(example):
    record = Screening("0", PhotoInfo("a.jpg", "", "5e0a", 2000, 1000), Quality(True))
    stored = StoredPhoto("a", "a.jpg", "", record, None, None, dt.datetime.now(dt.UTC))
    flagged = StoredCandidate(1, "a", "engine", example(1, score=0.4).candidate, True, None)
    assert item(stored, [flagged], []).unsettled == (flagged.candidate.box,)
    assert item(stored, [dataclasses.replace(flagged, threshold=0.5)], []).unsettled == ()
    assert item(stored, [dataclasses.replace(flagged, source="person", threshold=0.5)], []).unsettled


def test_counts_by_hand(photo):
    rust, both = photo("a", [("rust_trail", 0, 0)]), photo("b", [("rust_trail", 0, 0), ("gap", 1000, 500)])
    fake, clean = photo("c", [], [("gap", 0, 0)]), photo("d")
    answers = [
        mark(rust, Answer(0, (Tap(50, 50, "rust_trail"),))),  # hit, named
        mark(rust, Answer(1)),  # missed
        mark(rust, Answer(2, (Tap(900, 900, "rust_trail"),))),  # missed: beside it
        mark(both, Answer(3, (Tap(1050, 550, "rust_trail"),))),  # the gap is hit and called rust
        mark(fake, Answer(4, (Tap(50, 50, "gap"),))),  # fell for the look-alike
        mark(clean, Answer(5)),
        mark(clean, Answer(6, (Tap(50, 50, "rust_trail"),))),
    ]
    assert counts(answers) == Counts(hits=2, misses=2, false_alarms=2, rejections=1)
    # Rust on four photos, named on one; three without, called rust on the last.
    assert counts_of("rust_trail", answers) == Counts(1, 3, 1, 2)
    # The gap on one photo, not named; called a gap on one of the six others.
    assert counts_of("gap", answers) == Counts(0, 1, 1, 5)


CLEAN = [Item(f"n{i:02}", 100, 100) for i in range(30)]
SHOWN = [
    Item(f"e{i:02}", 100, 100, (Region(CUES[i % 7], (0, 0, 9, 9), ((0, 0), (9, 0), (9, 9))),))
    for i in range(35)
]


@given(st.integers(0, 10**6), st.integers(0, 80))
def test_the_same_seed_draws_the_same_quiz(seed, count):
    quiz = draw([*CLEAN, *SHOWN], seed, count)
    assert quiz == draw([*reversed(SHOWN), *CLEAN], seed, count)
    assert len(quiz) == min(count, 65) == len({i.photo for i in quiz})
    if count <= 60:
        assert abs(sum(not i.evidence for i in quiz) - count / 2) <= 0.5


def test_other_seeds_draw_other_quizzes():
    assert len({tuple(i.photo for i in draw([*CLEAN, *SHOWN], seed, 10)) for seed in range(20)}) == 20


def test_a_short_pool_gives_what_it_has():
    assert len(draw(SHOWN, 1, 10)) == 10
    assert len(draw(CLEAN[:4], 1, 10)) == 4
    assert draw([], 1, 10) == ()


def test_what_weighs_more_is_asked_more():
    def share(weights):
        drawn = [
            i.evidence[0].cue for seed in range(200) for i in draw(SHOWN, seed, 7, weights=weights, without=0)
        ]
        return drawn.count("gap") / len(drawn)

    assert share({}) == pytest.approx(1 / 7, abs=0.04)
    assert share({"gap": 4.0}) > 2 / 7
    assert share({"gap": 0.0}) == 0


def test_a_look_alike_is_asked_with_its_cue():
    fakes = [dataclasses.replace(i, evidence=(), look_alikes=i.evidence) for i in SHOWN]
    drawn = [i.look_alikes[0].cue for s in range(50) for i in draw(fakes, s, 5, weights={"gap": 9.0})]
    assert drawn.count("gap") / len(drawn) > 2 / 7
