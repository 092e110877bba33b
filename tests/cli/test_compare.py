"""Comparing two visits, and judging comparisons, from the command line."""

import json

import pytest
from click.testing import CliRunner
from PIL import Image

from visual_aid.cli import compare as command
from visual_aid.cli import main
from visual_aid.measure.visits import Comparison, News, NutTurn


def run(*arguments):
    return CliRunner().invoke(main, [str(a) for a in arguments])


@pytest.fixture
def measured(monkeypatch):
    """Stand in for the engine, whose own tests are elsewhere."""

    def compare(before, after, records=None, overview=None):
        names = before.info.name, after.info.name
        if names[0] != names[1]:
            return Comparison(*names, why="too little in common: another joint")
        turns = (
            NutTurn(110, 180, 40, (110, 180), 12.3, 0.6, True),
            NutTurn(240, 180, 40, (240, 180), 0.2, 0.5, False),
        )
        news = () if records is None else (News("gap", 1, 110, 180, "not there before: a gap"),)
        return Comparison(*names, turns=turns, news=news)

    monkeypatch.setattr(command, "compare", compare)
    monkeypatch.setattr(command, "look_over", lambda photo: None)
    monkeypatch.setattr(command, "screen_photo", lambda photo, overview=None: photo)


def test_the_turns_are_printed_and_written(yard, tmp_path, measured):
    lines, drawn = tmp_path / "out" / "lines.jsonl", tmp_path / "out" / "drawn.jpg"
    for count in (1, 2):
        result = run("compare", yard / "b.png", yard / "b.png", "--json", lines, "--overlay", drawn)
        assert result.exit_code == 0, result.output
        assert len(lines.read_text().splitlines()) == count
    assert "+12.3°" in result.output
    assert "not there before: a gap" in result.output
    assert "never proves a joint tight" in result.output
    with Image.open(drawn) as picture:
        assert picture.width == 2 * 1000
        assert not picture.getexif()


def test_photos_that_cannot_be_compared_give_the_reason_and_code_1(yard, tmp_path, measured):
    lines = tmp_path / "lines.jsonl"
    drawn = tmp_path / "drawn.jpg"
    result = run("compare", yard / "b.png", yard / "c.jpg", "--json", lines, "--overlay", drawn)
    assert result.exit_code == 1
    assert "Not compared: too little in common" in result.output
    assert json.loads(lines.read_text())["comparable"] is False
    assert drawn.exists()


def test_a_photo_that_cannot_be_read_is_named(yard):
    result = run("compare", yard / "b.png", yard / "d-empty.jpg")
    assert result.exit_code == 2
    assert "d-empty.jpg" in result.output


def test_a_place_that_cannot_be_written_is_named(yard, tmp_path, measured):
    (tmp_path / "file").touch()
    for option in ("--json", "--overlay"):
        result = run("compare", yard / "b.png", yard / "b.png", option, tmp_path / "file" / "x")
        assert result.exit_code == 1
        assert "was not written" in result.output


@pytest.fixture
def pairs(yard):
    """Two labelled pairs; one photo stands for both visits of each."""
    for number, name in enumerate(("b.png", "c.jpg")):
        turns = [
            {"turn_deg": 12.0, "a": [110, 180, 35], "visible": 1.0},
            {"turn_deg": 0.0, "a": [240, 180, 35], "visible": 1.0},
        ]
        label = {"a": name, "b": name, "turns": turns}
        (yard / f"pair_{number:03d}.json").write_text(json.dumps(label))
    return yard


def test_pairs_are_compared_with_one_another_and_judged(pairs, tmp_path, measured):
    figures = tmp_path / "figures.json"
    result = run("evaluate", pairs, "--pairs", "--json", figures)
    assert result.exit_code == 0, result.output
    data = json.loads(figures.read_text())
    assert (data["pairs"], data["nuts_compared"], data["wrong_pairs"]) == (2, 4, 2)
    assert data["turn_error_median"] == pytest.approx(0.25)
    assert (data["turned_found"], data["unturned_called_turned"], data["wrong_pairs_refused"]) == (1, 0, 1)
    assert "2 pairs, 0 declined" in result.output


def test_written_comparisons_are_judged(pairs, tmp_path, measured):
    lines = tmp_path / "lines.jsonl"
    run("compare", pairs / "b.png", pairs / "b.png", "--json", lines)
    result = run("evaluate", pairs, "--pairs", "--records", lines)
    assert result.exit_code == 0
    assert "nuts: 2 compared" in result.output


@pytest.mark.parametrize("line", ["{", "[]", '{"schema": "visual-aid/screening/1"}'])
def test_other_lines_are_refused_by_number(pairs, tmp_path, line):
    lines = tmp_path / "lines.jsonl"
    lines.write_text(f"\n{line}\n")
    result = run("evaluate", pairs, "--pairs", "--records", lines)
    assert result.exit_code == 2
    assert "line 2: not a comparison" in " ".join(result.output.split())


def test_options_of_the_other_evaluation_are_refused(pairs, tmp_path):
    result = run("evaluate", pairs, "--pairs", "--curve", tmp_path / "c.png")
    assert result.exit_code == 2
    assert "not for --pairs" in result.output


def test_a_folder_without_pairs_is_refused(yard):
    result = run("evaluate", yard, "--pairs")
    assert result.exit_code == 2
    assert "no labelled pairs" in result.output
