"""Labels as they are written and as they are read."""

import json

import pytest

from visual_aid.evaluation.truth import TruthCue, parse_truth, read_truths

NUT = {"id": 0, "kind": "hex_nut", "cx": 50.5, "cy": 60, "r": 20}


def labels(*fasteners, **more):
    return {"image": "a.jpg", "width": 800, "height": 600, "fasteners": list(fasteners), **more}


def test_what_is_not_said_has_its_usual_value(tmp_path):
    truth = parse_truth(labels(NUT), tmp_path)
    assert (truth.name, truth.path) == ("a.jpg", tmp_path / "a.jpg")
    assert (truth.gravity, truth.tilt, truth.look_alikes, truth.ignore_regions) == ((0, 1), None, (), ())
    (nut,) = truth.fasteners
    assert (nut.cx, nut.radius, nut.angle, nut.ignore, nut.cues) == (50.5, 20, None, False, ())


def test_a_cue_keeps_its_figures_by_name(tmp_path):
    cue = {
        "type": "stripe_offset",
        "bbox": [1, 2, 3, 4],
        "grade": "faint",
        "visible": False,
        "outline": [[1, 2], [3, 4]],
        "offset_deg": -36,
        "contrast": 25.5,
    }
    truth = parse_truth(labels({**NUT, "cues": [cue]}), tmp_path)
    assert truth.fasteners[0].cues == (
        TruthCue(
            "stripe_offset",
            (1, 2, 3, 4),
            ((1, 2), (3, 4)),
            False,
            "faint",
            {"offset_deg": -36, "contrast": 25.5},
        ),
    )


@pytest.mark.parametrize(
    ("more", "ignored"),
    [
        ({}, False),
        ({"ignore": True}, True),
        ({"visible_fraction": 0.49}, True),
        ({"visible_fraction": 0.5}, False),
        ({"r": 9.9}, True),
        ({"r": 10}, False),
    ],
)
def test_hidden_and_small_fasteners_are_ignored(tmp_path, more, ignored):
    assert parse_truth(labels({**NUT, **more}), tmp_path).fasteners[0].ignore is ignored


def test_a_folder_is_read_in_the_order_of_names_and_other_files_are_passed_over(tmp_path):
    (tmp_path / "b.json").write_text(json.dumps({**labels(), "image": "b.jpg"}))
    (tmp_path / "a.json").write_text(json.dumps(labels(NUT)))
    (tmp_path / "pair.json").write_text(json.dumps({"a": "a.jpg", "b": "b.jpg"}))
    (tmp_path / "list.json").write_text("[]")
    assert [truth.name for truth in read_truths(tmp_path)] == ["a.jpg", "b.jpg"]


@pytest.mark.parametrize(
    "text",
    [
        "{",
        json.dumps(labels({"id": 0})),
        json.dumps(labels({**NUT, "cues": [{"type": "squeak", "bbox": [0, 0, 1, 1]}]})),
        json.dumps(labels({**NUT, "cues": [{"type": "gap", "bbox": [0, 0, 1]}]})),
        json.dumps(labels(5)),
    ],
)
def test_labels_that_cannot_be_read_are_named(tmp_path, text):
    (tmp_path / "bad.json").write_text(text)
    with pytest.raises(ValueError, match=r"bad\.json"):
        read_truths(tmp_path)


def test_a_fastener_without_size_is_refused(tmp_path):
    with pytest.raises(ValueError, match="fastener 0: its radius"):
        parse_truth(labels({**NUT, "r": 0}), tmp_path)


def test_a_folder_without_labels_is_told_what_it_lacks(tmp_path):
    with pytest.raises(ValueError, match="no labelled photos"):
        read_truths(tmp_path)
