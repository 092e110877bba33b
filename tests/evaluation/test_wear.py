"""Cases of wear and the figures on them."""

import dataclasses
from pathlib import Path

import pytest

from visual_aid.evaluation.wear import HELD_OUT, MAKERS, judge_wear, made_cases, read_cases
from visual_aid.model import WEARS

SAMPLES = Path(__file__).parents[2] / "sample_images" / "wear"


def test_there_is_a_maker_for_every_kind_and_for_the_card():
    assert set(MAKERS) == {*WEARS, "scale_card"}


def test_a_case_is_the_same_whenever_it_is_made():
    first, again = (next(iter(made_cases("rust_grade", 1, 7))) for _ in range(2))
    assert first.photos == again.photos
    assert first.truth == again.truth
    assert next(iter(made_cases("rust_grade", 1, 8))).photos != first.photos
    assert HELD_OUT == 1000


def test_the_samples_show_every_kind_with_boxes_in_the_picture():
    cases = read_cases(SAMPLES)
    assert cases.keys() == set(MAKERS)
    described = (SAMPLES.parent / "README.md").read_text("utf-8")
    for kind, some in cases.items():
        assert f"`wear_{kind}_1`" in described
        for case in some:
            for x, y, w, h in case.boxes:
                assert 0 <= x < x + w <= 1024.5
                assert 0 <= y < y + h <= 768.5


def test_figures_tell_right_from_wrong():
    """The same pictures with another truth have to give a worse figure."""
    cases = read_cases(SAMPLES)["rust_grade"]
    right = judge_wear("rust_grade", cases)
    wrong = judge_wear(
        "rust_grade",
        [
            dataclasses.replace(c, truth={**c.truth, "rusted_percent": 100 - c.truth["rusted_percent"]})
            for c in cases
        ],
    )
    assert (right.cases, right.measured) == (2, 2)
    assert right.error_95 < 3 < wrong.error_median
    assert right.extra["within_3_points"] == 1


def test_every_stated_doubt_is_laid_beside_the_truth():
    """A doubt of nothing covers nothing; one without end covers everything."""
    figures = judge_wear("bushing_offset", read_cases(SAMPLES)["bushing_offset"])
    assert 0 <= figures.within <= figures.within_twice <= 1
    assert 0 <= figures.extra["within_doubt_offset_mm"] <= 1


@pytest.mark.parametrize("damage", ["{", '{"wear": "nothing", "photos": [], "boxes": [], "truth": {}}', "[]"])
def test_a_damaged_label_is_named(tmp_path, damage):
    (tmp_path / "wear_x.json").write_text(damage)
    with pytest.raises(ValueError, match=r"wear_x\.json: not the label"):
        read_cases(tmp_path)
