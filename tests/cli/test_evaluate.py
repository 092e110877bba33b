"""Evaluation from the command line."""

import json

import pytest
from click.testing import CliRunner
from PIL import Image

from visual_aid.cli import main
from visual_aid.cli.evaluate import read_records

TRAIL = {"type": "rust_trail", "bbox": [90, 200, 40, 120], "grade": "obvious"}


def run(*arguments):
    return CliRunner().invoke(main, [str(a) for a in arguments])


def nut(number, x, cues=()):
    return {"id": number, "kind": "hex_nut", "cx": x, "cy": 180, "r": 35, "cues": list(cues)}


@pytest.fixture
def labelled(yard):
    """Labels beside the whole photos of the yard's top folder, a trail on the first."""
    for name, cues in (("b.png", [TRAIL]), ("c.jpg", [])):
        labels = {"image": name, "width": 480, "height": 360, "fasteners": [nut(0, 110, cues), nut(1, 370)]}
        (yard / name).with_suffix(".json").write_text(json.dumps(labels))
    return yard


@pytest.fixture
def perfect(labelled, tmp_path):
    """Records that say just what the labels say."""
    path = tmp_path / "records.jsonl"
    lines = []
    for name, found in (("b.png", True), ("c.jpg", False)):
        fasteners = [
            {
                "id": i + 1,
                "kind": "hex_nut",
                "cx": x,
                "cy": 180,
                "radius": 35,
                "angle": None,
                "tilt": None,
                "score": 0.9,
                "group": None,
            }
            for i, x in enumerate((110, 370))
        ]
        candidate = {
            "id": 1,
            "cue": "rust_trail",
            "fastener": 1,
            "box": TRAIL["bbox"],
            "outline": [],
            "score": 0.9,
            "measures": {},
            "reason": "a run",
        }
        lines.append(
            {
                "schema": "visual-aid/screening/1",
                "engine": "0",
                "photo": {
                    "name": name,
                    "path": name,
                    "sha256": "",
                    "width": 480,
                    "height": 360,
                    "taken": None,
                },
                "quality": {"usable": True, "problems": []},
                "fasteners": fasteners,
                "candidates": [candidate] if found else [],
                "not_judged": [],
                "priority": 0.9 if found else 0.0,
                "seconds": 0.1,
                "error": None,
            }
        )
    path.write_text("".join(json.dumps(line) + "\n" for line in lines))
    return path


def test_perfect_records_get_perfect_figures(labelled, perfect, tmp_path):
    result = run("evaluate", labelled, "--records", perfect, "--json", tmp_path / "f.json")
    assert result.exit_code == 0
    figures = json.loads((tmp_path / "f.json").read_text())
    assert figures["fasteners"]["f1"] == 1
    assert figures["evidence"] == {"labels": 1, "recall": {"0.25": 1, "0.5": 1, "1.0": 1}}
    assert figures["photos_auc"] == 1
    assert figures["calibration_error"] is None
    (row,) = (line.split() for line in result.stdout.splitlines() if line.startswith("Rust trail"))
    assert row == ["Rust", "trail", "1", "100.0", "%", "1"]


def test_curve_and_sheet_are_pictures(labelled, perfect, tmp_path):
    assert (
        run(
            "evaluate",
            labelled,
            "--records",
            perfect,
            "--curve",
            tmp_path / "c.png",
            "--sheet",
            tmp_path / "s.jpg",
        ).exit_code
        == 0
    )
    with Image.open(tmp_path / "c.png") as curve, Image.open(tmp_path / "s.jpg") as sheet:
        assert curve.format == "PNG"
        assert sheet.format == "JPEG"


def test_photos_are_screened_where_no_records_are_given(labelled, tmp_path):
    result = run("evaluate", labelled, "--json", tmp_path / "f.json")
    assert result.exit_code == 0
    figures = json.loads((tmp_path / "f.json").read_text())
    assert (figures["photos"], figures["photos_without_record"], figures["photos_with_error"]) == (2, 0, 0)
    assert figures["fasteners"]["labels"] == 4


def test_a_labelled_photo_that_is_gone_is_counted_as_failed(labelled, tmp_path):
    (labelled / "b.png").unlink()
    result = run("evaluate", labelled, "--json", tmp_path / "f.json")
    assert result.exit_code == 1
    assert "b.png" in result.stderr
    assert json.loads((tmp_path / "f.json").read_text())["photos_with_error"] == 1


def test_a_folder_without_labels_is_a_wrong_command(yard):
    result = run("evaluate", yard)
    assert result.exit_code == 2
    assert "no labelled photos" in result.output


def test_records_of_other_photos_are_a_wrong_command(labelled, perfect):
    perfect.write_text(perfect.read_text().replace("b.png", "x.png").replace("c.jpg", "y.jpg"))
    result = run("evaluate", labelled, "--records", perfect)
    assert result.exit_code == 2
    assert "none of these records" in result.output


@pytest.mark.parametrize("line", ["{", "[]", "{}", '{"schema": "visual-aid/screening/1"}', '"text"'])
def test_a_line_that_is_no_record_is_named(tmp_path, line):
    path = tmp_path / "r.jsonl"
    path.write_text(f"\n{line}\n")
    with pytest.raises(ValueError, match="line 2: not a screening record"):
        read_records(path)


def test_a_broken_picture_of_a_worn_part_is_told_in_one_line(tmp_path):
    (tmp_path / "a.jpg").write_bytes(b"\xff\xd8\xff no picture")
    label = {"wear": "chafe", "photos": ["a.jpg"], "boxes": [[0, 0, 90, 90]], "truth": {"share": 0.2}}
    (tmp_path / "wear_0.json").write_text(json.dumps(label))
    result = CliRunner().invoke(main, ["evaluate", str(tmp_path), "--wear"])
    assert (result.exit_code, type(result.exception)) == (2, SystemExit)
    assert "damaged" in result.output.replace("\n", " ")
