import pytest

from visual_aid.gallery.order import by_cue, contrast_pairs, draft_grade, ladder


def test_the_ladder_climbs_from_faint_to_obvious(example):
    rungs = [
        example(1, grade="obvious", score=0.3),
        example(2, grade="faint", score=0.9),
        example(3, grade="moderate", score=0.8),
        example(4, grade="moderate", score=0.6, cue="gap"),
        example(5, grade="faint", outcome="ruled_out"),
        example(6, cue=None, outcome=None),
    ]
    assert [e.id for e in ladder(rungs)] == [2, 4, 3, 1]


def test_by_cue_evidence_comes_before_its_look_alikes(example):
    mixed = [
        example(1, cue=None, outcome=None),
        example(2, cue="gap"),
        example(3, outcome="ruled_out"),
        example(4, grade="obvious"),
        example(5, grade="faint"),
    ]
    assert [e.id for e in by_cue(mixed)] == [5, 4, 3, 2, 1]


def test_evidence_stands_beside_the_look_alike_that_resembles_it_most(example, looks):
    examples = [
        example(1),
        example(2),
        example(3, outcome="ruled_out"),
        example(4, outcome="ruled_out"),
        example(5, cue="gap"),
        example(6, cue="dust_trail", outcome="ruled_out"),
    ]
    near = looks(**{"photo-1": [0, 0], "photo-2": [50, 0], "photo-3": [52, 0], "photo-4": [10, 0]})
    assert [(a.id, b.id) for a, b in contrast_pairs(examples, near)] == [(2, 3), (1, 4)]


def test_a_look_alike_serves_again_only_when_all_have(example, looks):
    examples = [
        *(example(i) for i in (1, 2, 3)),
        example(4, outcome="ruled_out"),
        example(5, outcome="ruled_out"),
    ]
    near = looks(**{f"photo-{i}": [i, 0] for i in (1, 2, 3, 4)})  # the look of the fifth is not known
    pairs = [(a.id, b.id) for a, b in contrast_pairs(examples, near)]
    assert pairs == [(3, 4), (1, 5), (2, 4)]


@pytest.mark.parametrize(
    ("score", "by_person", "grade"),
    [(0.95, False, "obvious"), (0.6, False, "moderate"), (0.2, False, "faint"), (1.0, True, "moderate")],
)
def test_the_first_draft_of_how_plain_it_is(score, by_person, grade):
    assert draft_grade(score, by_person=by_person) == grade
