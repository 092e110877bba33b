"""Measuring wear, printing the card and judging wear, from the command line."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner
from PIL import Image

from visual_aid.cli import main
from visual_aid.cli.measure import read_box, read_known


def run(*arguments):
    return CliRunner().invoke(main, [str(a) for a in arguments])


SAMPLES = Path(__file__).parents[2] / "sample_images" / "wear"


@pytest.fixture(scope="module")
def rusty():
    """A sample picture of rust, and its box as it is typed."""
    label = json.loads((SAMPLES / "wear_rust_grade_1.json").read_text())
    return SAMPLES / "wear_rust_grade_1.jpg", ",".join(f"{v:.0f}" for v in label["boxes"][0])


def test_a_measurement_is_told_in_words_with_limit_cautions_and_hand_check(rusty, tmp_path):
    photo, box = rusty
    drawn = tmp_path / "drawn.jpg"
    result = run("measure", "rust_grade", photo, "--box", box, "--overlay", drawn)
    assert result.exit_code == 0, result.output
    for words in (
        "of the area is rusted",
        "ASTM D610 grade",
        "Wheels chocked",
        "Rusted part: scale, pits and what is left (rusted_part)",
        "never proves",
    ):
        assert words in result.output
    with Image.open(drawn) as picture:
        assert not picture.getexif()


@pytest.mark.parametrize("label", sorted(SAMPLES.glob("wear_*_1.json")), ids=lambda path: path.stem)
def test_every_kind_s_sample_is_measured_as_the_readme_says(label):
    asked = json.loads(label.read_text())
    if asked["wear"] == "scale_card":
        return  # no kind of its own: lengths beside it are
    boxes = [("--box", ",".join(f"{v:.1f}" for v in box)) for box in asked["boxes"]]
    photos = [SAMPLES / name for name in asked["photos"]]
    result = run("measure", asked["wear"], *photos, *(word for pair in boxes for word in pair), "--json")
    assert result.exit_code == 0, result.output
    record = json.loads(result.output)
    assert record["wear"] == asked["wear"]
    assert record["figures"]
    assert record["hand_check"]
    assert record["cautions"]


def test_json_is_one_line(rusty):
    photo, box = rusty
    result = run("measure", "rust_grade", photo, "--box", box, "--json")
    record = json.loads(result.output)
    assert result.output.count("\n") == 1
    assert record["wear"] == "rust_grade"
    assert record["photos"] == [photo.name]
    assert {f["name"] for f in record["figures"]} >= {"rusted_percent", "d610_grade"}


def test_what_cannot_be_measured_gives_the_reason_and_code_1(rusty):
    photo, box = rusty
    result = run("measure", "hole_elongation", photo, "--box", box)
    assert result.exit_code == 1
    assert "Cannot measure" in result.output
    assert "lay the card" in result.output


@pytest.mark.parametrize(
    ("arguments", "say"),
    [
        (("rust_grade", "PHOTO", "--box", "1,2,3"), "is not a box"),
        (("rust_grade", "PHOTO", "--box", "nan,2,30,40"), "is not a box"),
        (("movement", "PHOTO", "--box", "1,2,30,40"), "2 photos"),
        (("rust_grade", "PHOTO", "--box", "1,2,30,40", "--known", "1,2"), "is no known length"),
        (("rust_grade", "missing.jpg", "--box", "1,2,30,40"), "missing.jpg"),
        (("rust_grade", "PHOTO"), "--box"),
        (("nothing", "PHOTO", "--box", "1,2,30,40"), "nothing"),
    ],
)
def test_mistakes_are_answered_with_the_mend(rusty, arguments, say):
    result = run("measure", *(str(rusty[0]) if a == "PHOTO" else a for a in arguments))
    assert result.exit_code == 2
    assert say in " ".join(result.output.split())


def test_a_photo_that_ends_the_decoder_is_refused_in_one_line(rusty, tmp_path, troublemaker):
    photo, box = rusty
    fatal = tmp_path / "fatal.heic"
    fatal.write_bytes(photo.read_bytes())
    result = run("measure", "rust_grade", fatal, "--box", box)
    assert result.exit_code == 2
    assert "fatal.heic ended the process that decodes photos" in " ".join(result.output.split())


def test_boxes_and_known_lengths_are_read():
    assert read_box("1, 2,3.5,4") == (1, 2, 3.5, 4)
    assert read_known("0,0,100,0=1 in").length((0, 0), (100, 0))[0] == pytest.approx(25.4)
    assert read_known("0,0,100,0=M16").length((0, 0), (0, 50))[0] == pytest.approx(12)  # ISO 4032


def test_the_cards_are_written(tmp_path):
    for paper in ("A4", "Letter", "letter"):  # as it is written in any case
        path = tmp_path / f"{paper}.pdf"
        assert run("card", path, "--paper", paper).exit_code == 0
        assert path.read_bytes().startswith(b"%PDF")


def test_wear_is_judged_on_made_pictures(tmp_path):
    figures = tmp_path / "figures.json"
    result = run("evaluate", "--wear", "--kind", "rust_grade", "--cases", "1", "--json", figures)
    assert result.exit_code == 0, result.output
    assert "seeds from 1000 on" in result.output
    (row,) = json.loads(figures.read_text())
    assert (row["wear"], row["cases"], row["measured"]) == ("rust_grade", 1, 1)


def test_wear_is_judged_on_labelled_pictures():
    result = run("evaluate", SAMPLES, "--wear", "--kind", "broken_leaf")
    assert result.exit_code == 0, result.output
    assert "broken_leaf: 3 of 3 measured" in result.output


@pytest.mark.parametrize(
    "arguments", [("--wear", "--pairs"), ("--kind", "chafe"), ("--wear", "--kind", "nothing"), ()]
)
def test_options_that_do_not_go_together_are_refused(arguments):
    assert run("evaluate", *arguments).exit_code == 2


def test_a_folder_without_labelled_wear_is_refused(tmp_path):
    result = run("evaluate", tmp_path, "--wear")
    assert result.exit_code == 2
    assert "no labelled wear" in result.output
