"""What the command line says before any work starts, and what it leaves alone."""

import subprocess
import sys

import pytest
from click.testing import CliRunner

import visual_aid
from visual_aid.cli import main

HEAVY = ("cv2", "numpy", "PIL", "skimage", "scipy", "pandas", "streamlit", "sqlalchemy", "reportlab", "rich")


@pytest.mark.parametrize("arguments", [["--help"], ["--version"], ["screen", "--help"], ["demo", "-h"]])
def test_nothing_heavy_is_imported_to_answer_a_question(arguments):
    ask = (
        "import sys\n"
        "from visual_aid.cli import main\n"
        f"main({arguments!r}, standalone_mode=False)\n"
        f"print('imported:', *(name for name in {HEAVY!r} if name in sys.modules))"
    )
    run = subprocess.run([sys.executable, "-c", ask], capture_output=True, text=True, check=True)
    assert run.stdout.splitlines()[-1].strip() == "imported:"


def test_the_installed_command_answers_with_its_version():
    run = subprocess.run(
        [sys.executable, "-c", "from visual_aid.cli import main; main(['--version'])"],
        capture_output=True,
        text=True,
        check=True,
    )
    assert visual_aid.__version__ in run.stdout


@pytest.mark.parametrize("name", main.commands)
def test_every_command_has_help_with_exit_codes(name):
    result = CliRunner().invoke(main, [name, "--help"])
    assert result.exit_code == 0
    assert "130  stopped by Ctrl-C" in result.output
    for option in main.commands[name].params:
        assert option.param_type_name == "argument" or option.help


def test_short_descriptions_are_whole_sentences():
    result = CliRunner().invoke(main, ["--help"])
    assert "..." not in result.output.replace("[ARGS]...", "")


@pytest.mark.parametrize(
    "arguments",
    [
        [],
        ["screen"],
        ["screen", "x.jpg", "--jobs", "0"],
        ["screen", "x.jpg", "--colour", "red"],
        ["evaluate", "no-such-folder"],
        ["app", "--port", "70000"],
        ["look"],
    ],
)
def test_a_wrong_command_is_told_apart_by_its_exit_code(arguments):
    assert CliRunner().invoke(main, arguments).exit_code == 2


def test_the_page_is_served_on_the_records_asked_for(monkeypatch):
    served = []
    monkeypatch.setattr("visual_aid.pages.server.serve", lambda store, port: served.append((store, port)))
    assert CliRunner().invoke(main, ["app", "--store", "yard.sqlite", "--port", "9000"]).exit_code == 0
    assert served == [("yard.sqlite", 9000)]


def test_records_that_cannot_be_opened_are_a_wrong_command(tmp_path):
    (tmp_path / "notes.txt").write_text("no database at all, only words\n" * 100)
    result = CliRunner().invoke(main, ["app", "--store", str(tmp_path / "notes.txt")])
    assert result.exit_code == 2
    assert "notes.txt" in result.output


def test_ctrl_c_is_told_from_an_error_wherever_it_comes(monkeypatch):
    def interrupted(*arguments):
        raise KeyboardInterrupt

    monkeypatch.setattr("visual_aid.cli.compare.compare_photos", interrupted)
    result = CliRunner().invoke(main, ["compare", __file__, __file__])
    assert (result.exit_code, result.stdout) == (130, "")


def test_ctrl_c_is_the_way_to_end_the_page(monkeypatch):
    def interrupted(store, port):
        raise KeyboardInterrupt

    monkeypatch.setattr("visual_aid.pages.server.serve", interrupted)
    assert CliRunner().invoke(main, ["app"]).exit_code == 0
