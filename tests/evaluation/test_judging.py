"""What stands and what does not, on labels laid out by hand."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from visual_aid.evaluation.judging import (
    false_alarms,
    judge,
    judge_all,
    match_fasteners,
    misses,
    overlap,
    overlaps,
)
from visual_aid.evaluation.truth import LookAlike, TruthCue, TruthFastener, TruthPhoto
from visual_aid.model import Candidate, Fastener, PhotoInfo, Quality, Screening

TRAIL = TruthCue("rust_trail", (90, 120, 20, 60), grade="faint")
length = st.integers(1, 60)
box = st.tuples(st.integers(-40, 40), st.integers(-40, 40), length, length)


def label(number, x, y=100, radius=20, kind="hex_nut", ignore=False, cues=()):
    return TruthFastener(number, kind, x, y, radius, ignore=ignore, cues=tuple(cues))


def found(number, x, y=100, radius=20, kind="hex_nut", score=1.0):
    return Fastener(number, kind, x, y, radius, score=score)


def photo(tmp_path, *fasteners, look_alikes=(), ignored=()):
    return TruthPhoto(tmp_path / "a.jpg", 800, 600, fasteners, tuple(look_alikes), tuple(ignored))


def record(*fasteners, candidates=()):
    info = PhotoInfo("a.jpg", "a.jpg", "", 800, 600)
    return Screening("0", info, Quality(True), fasteners, tuple(candidates))


@given(box, box)
def test_overlap_agrees_with_counting_pixels(a, b):
    def cells(box):
        x, y, w, h = box
        return {(i, j) for i in range(x, x + w) for j in range(y, y + h)}

    one, other = cells(a), cells(b)
    both = len(one & other)
    assert overlap(a, b) == pytest.approx((both / len(one | other), both / min(len(one), len(other))))
    assert overlaps(a, b) == overlaps(b, a)


def test_the_better_scored_fastener_takes_the_label():
    labels = [label(0, 100)]
    assert match_fasteners(labels, [found(1, 100, score=0.4), found(2, 105, score=0.9)]) == {1: 0}


@pytest.mark.parametrize(
    ("x", "radius", "matched"),
    [
        (110, 20, True),
        (110.1, 20, False),
        (100, 31.9, True),
        (100, 32, False),
        (100, 12.6, True),
        (100, 12.5, False),
    ],
)
def test_a_match_is_near_and_of_like_size(x, radius, matched):
    assert bool(match_fasteners([label(0, 100)], [found(1, x, radius=radius)])) is matched


def test_ignored_labels_and_regions_count_neither_way(tmp_path):
    truth = photo(tmp_path, label(0, 100, ignore=True), label(1, 300), ignored=[(500, 0, 100, 600)])
    judged = judge(truth, record(found(1, 100), found(2, 300), found(3, 550), found(4, 700)))
    assert (judged.found, judged.missed, judged.false) == (1, 0, 1)
    judged = judge(truth, None)
    assert (judged.found, judged.missed, judged.false) == (0, 1, 0)


def test_studs_and_holes_are_no_nuts_found(tmp_path):
    truth = photo(tmp_path, label(0, 100, kind="bare_stud"), label(1, 300))
    judged = judge(truth, record(found(1, 100, kind="empty_hole"), found(2, 300)))
    assert (judged.found, judged.missed, judged.false) == (1, 0, 0)


def candidate(cue="rust_trail", fastener=None, box=(600, 400, 10, 10), score=0.9, number=1):
    return Candidate(number, cue, fastener, box, (), score)


def test_a_candidate_stands_on_its_fastener_or_by_its_box(tmp_path):
    truth = photo(tmp_path, label(7, 100, cues=[TRAIL]))
    on_fastener, by_box, elsewhere, other_cue = judge(
        truth,
        record(
            found(3, 100),
            candidates=[
                candidate(fastener=3),
                candidate(box=(92, 130, 20, 50)),
                candidate(),
                candidate("gap", fastener=3),
            ],
        ),
    ).candidates
    assert on_fastener.evidence == by_box.evidence == ("a.jpg", 0, 0)
    assert elsewhere.evidence is None
    assert elsewhere.place is None
    assert other_cue.evidence is None
    assert other_cue.place == ("a.jpg", 0)


def test_the_label_on_the_own_fastener_comes_before_the_one_that_overlaps_more(tmp_path):
    truth = photo(tmp_path, label(0, 100, cues=[TRAIL]), label(1, 140, cues=[TRAIL]))
    (judged,) = judge(
        truth, record(found(1, 100), found(2, 140), candidates=[candidate(fastener=2, box=TRAIL.box)])
    ).candidates
    assert judged.evidence == ("a.jpg", 1, 0)


def test_hidden_evidence_counts_neither_way(tmp_path):
    hidden = TruthCue("rust_trail", (90, 120, 20, 60), visible=False)
    truth = photo(tmp_path, label(0, 100, cues=[hidden]))
    judged = judge(truth, record(candidates=[candidate(box=hidden.box), candidate()]))
    assert not judged.evidence
    assert [j.candidate.box for j in judged.candidates] == [(600, 400, 10, 10)]


def test_look_alikes_are_flagged_by_confident_strays_alone(tmp_path):
    truth = photo(
        tmp_path,
        label(0, 100, cues=[TRAIL]),
        look_alikes=[
            LookAlike("stain", (400, 100, 40, 40)),
            LookAlike("mud", (500, 100, 40, 40)),
            LookAlike("run", TRAIL.box),
        ],
    )
    strays = [
        candidate(box=(405, 105, 30, 30)),
        candidate(box=(500, 100, 40, 40), score=0.4),
        candidate(box=TRAIL.box),
    ]
    judged = judge(truth, record(candidates=strays))
    assert (judged.look_alikes, judged.look_alikes_flagged) == (3, 1)


def test_the_worst_come_first(tmp_path):
    plain = TruthCue("gap", (290, 100, 20, 5), grade="obvious")
    truth = photo(tmp_path, label(0, 100, cues=[TRAIL]), label(1, 300, cues=[plain]))
    screening = record(candidates=[candidate(score=0.3), candidate(score=0.7, number=2)])
    judged = judge_all([truth], [screening])
    assert [cue.grade for _, cue in misses(judged)] == ["obvious", "faint"]
    assert [c.score for _, c in false_alarms(judged)] == [0.7, 0.3]


def test_labels_that_do_not_count_have_no_errors_either(tmp_path):
    judged = judge(
        photo(tmp_path, label(0, 100, ignore=True), label(1, 300)), record(found(1, 104), found(2, 301))
    )
    assert judged.centre_errors == (1 / 20,)
    assert len(judged.size_errors) == 1
