import datetime as dt

import pytest

from visual_aid.gallery.detection import Counts
from visual_aid.gallery.progress import (
    engine_answer,
    engine_marked,
    group_skill,
    marked,
    need,
    people_ahead,
    result,
    summed,
    weak_cues,
    weights,
)
from visual_aid.model import Candidate, PhotoInfo, Quality, Screening
from visual_aid.records.teaching import Answer, Quiz, Sitting, Tap

AT = dt.datetime(2026, 5, 4, tzinfo=dt.UTC)


@pytest.fixture
def quiz(photo):
    items = (
        photo("a", [("rust_trail", 0, 0)]),
        photo("b", [("gap", 0, 0)]),
        photo("c", [], [("rust_trail", 0, 0)]),
        photo("d"),
    )
    return Quiz(1, "token", "Quiz", 1, items, "Mo", AT)


def sit(quiz, *taps):
    answers = tuple(Answer(i, (Tap(50, 50, cue),) if cue else ()) for i, cue in enumerate(taps))
    return Sitting(1, "s", quiz, "Ada", "", answers, AT)


def test_a_result_by_hand(quiz):
    sitting = sit(quiz, "rust_trail", "rust_trail", "rust_trail", None)
    found = result(marked(sitting))
    assert sitting.is_complete
    assert found.overall == Counts(2, 0, 1, 1)
    assert found.by_cue == {"rust_trail": Counts(1, 0, 2, 1), "gap": Counts(0, 1, 0, 3)}
    assert (found.misnamed, found.fell_for) == (1, 1)
    twice = summed([found, found])
    assert twice.overall == Counts(4, 0, 2, 2)
    assert twice.by_cue["gap"] == Counts(0, 2, 0, 6)


def test_weak_cues_are_asked_more():
    by_cue = {"rust_trail": Counts(9, 1, 0, 10), "gap": Counts(1, 5, 0, 10), "dust_trail": Counts(2, 2, 0, 9)}
    # Laplace's rule of succession: (misses + 1) / (trials + 2).
    assert need(by_cue["gap"]) == 6 / 8
    assert weak_cues(by_cue) == ("gap", "dust_trail")
    found = weights(by_cue)
    assert found["gap"] > found["dust_trail"] == found["stripe_offset"] == 1 > found["rust_trail"]


def test_a_group_is_its_people(quiz):
    people = [result(marked(sit(quiz, *taps))) for taps in (("gap", "gap", None, None), (None,) * 4)]
    # 2 of 2 hits, 0 of 2 false alarms: H = 2.5/3, F = .5/3, z = +-.9674; nothing at all: d' = 0.
    assert group_skill(people).sensitivity.value == pytest.approx(0.9674, abs=1e-4)


def screening(*candidates):
    return Screening("test", PhotoInfo("x.jpg", "", "0", 2000, 1000), Quality(True), candidates=candidates)


def test_the_engine_sits_the_same_quiz(quiz):
    sure = Candidate(1, "rust_trail", None, (0.0, 0.0, 100.0, 100.0), (), 0.7)
    unsure = Candidate(2, "gap", None, (0.0, 0.0, 100.0, 100.0), (), 0.4)
    assert engine_answer(3, screening(sure, unsure)) == Answer(3, (Tap(50, 50, "rust_trail"),))
    records = {"a": screening(sure), "b": screening(unsure), "c": screening(sure), "d": screening()}
    engine = engine_marked(quiz, records)
    assert result(engine).overall == Counts(1, 1, 1, 1)
    ada, ben = marked(sit(quiz, "gap", "gap", None, None)), marked(sit(quiz, None, None, None, None))
    # The engine misses b and falls for c. Ada finds b, Ben does not: no majority. Both leave c alone.
    assert people_ahead(engine, [ada, ben]) == (2,)
    assert people_ahead(engine, [ada]) == (1, 2)
