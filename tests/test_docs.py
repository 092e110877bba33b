"""The README says what the program does, no more and no less."""

import doctest
import importlib.util
import re
import textwrap
import types
from pathlib import Path

import click
import numpy as np
import pytest

import visual_aid
from visual_aid.cli import main
from visual_aid.evidence.scene import Scene
from visual_aid.model import CUES, KINDS, Fastener, PhotoInfo, Quality, Screening
from visual_aid.photo import Photo

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")

COMMANDS = main.commands
SECTIONS = dict(re.findall(r"^### `visual-aid (\w+)[^`]*`\n(.*?)(?=^##)", README, re.MULTILINE | re.DOTALL))


def options_of(command):
    options = [p for p in command.params if isinstance(p, click.Option)]
    return {name for option in options for name in (*option.opts, *option.secondary_opts)}


def test_the_readme_has_a_section_for_every_command_and_no_other():
    assert SECTIONS.keys() == COMMANDS.keys()


@pytest.mark.parametrize("name", COMMANDS)
def test_a_command_s_table_holds_its_options_and_no_others(name):
    rows = [line for line in SECTIONS[name].splitlines() if line.startswith("| `--")]
    described = {option for row in rows for option in re.findall(r"`(--[\w-]+)", row.split("|")[1])}
    assert described == options_of(COMMANDS[name])


@pytest.mark.parametrize("name", COMMANDS)
def test_arguments_are_shown_as_the_help_shows_them(name):
    arguments = [p.metavar for p in COMMANDS[name].params if isinstance(p, click.Argument)]
    assert f"### `{' '.join(['visual-aid', name, *arguments])}`" in README


def shown_commands():
    blocks = re.findall(r"^ {4}(.*)$", README + DEVELOPERS, re.MULTILINE)
    spans = re.findall(r"`([^`\n]+)`", README + DEVELOPERS)
    return sorted(
        {m for text in (*blocks, *spans) for m in re.findall(r"visual-aid (?:[a-z]+)(?: [^|&]*)?", text)}
    )


@pytest.mark.parametrize("shown", shown_commands())
def test_every_command_that_is_shown_exists(shown):
    _, name, *rest = shown.split()
    assert name in COMMANDS
    assert {word for word in rest if word.startswith("--")} <= options_of(COMMANDS[name])


@pytest.mark.parametrize(
    "module", sorted(set(re.findall(r"python -m (visual_aid[\w.]*)", README + DEVELOPERS)))
)
def test_every_module_that_is_run_exists(module):
    assert importlib.util.find_spec(module)


def test_the_first_commands_make_an_environment_and_run_the_program():
    install, test = re.findall(r"^ {4}(python3 -m venv .*)$", README, re.MULTILINE)
    assert install.endswith(" && .venv/bin/pip install . && .venv/bin/visual-aid demo")
    assert test.endswith(" && .venv/bin/pip install -e '.[dev]' && .venv/bin/pytest")


def test_the_example_in_python_does_what_it_shows(monkeypatch):
    monkeypatch.chdir(ROOT)
    example = doctest.DocTestParser().get_doctest(README, {}, "README.md", "README.md", 0)
    result = doctest.DocTestRunner(optionflags=doctest.ELLIPSIS).run(example)
    assert result.attempted >= 8
    assert result.failed == 0


def test_the_example_of_a_cue_measures_a_dark_ring_and_no_other():
    indented = re.search(r"\n\n( {7}\"\"\".*?)\n\n {3}\S", DEVELOPERS, re.DOTALL)[1]
    cue = types.ModuleType("wet_ring")
    exec(textwrap.dedent(indented), cue.__dict__)
    y, x = np.mgrid[:400, :800]
    picture = np.full((400, 800, 3), 160, np.uint8)
    picture[np.hypot(x - 200, y - 200) < 70] = 90
    nuts = [Fastener(i, "hex_nut", cx, 200.0, 40.0) for i, cx in ((1, 200.0), (2, 600.0))]
    wet, dry = cue.measure(Scene.build(Photo.from_array(picture), nuts)).measurements
    assert wet.features["darker"] > 20
    assert abs(dry.features["darker"]) < 1
    assert "in lightness" in wet.reason
    assert cue.measure(Scene.build(Photo.from_array(picture), [])).not_judged[0].cue == "wet_ring"


def test_the_pictures_are_there_small_and_described():
    shown = re.findall(r"^!\[(.+)\]\((.+)\)$", README, re.MULTILINE)
    assert {Path(path) for _, path in shown} == {p.relative_to(ROOT) for p in (ROOT / ".pages").iterdir()}
    assert all(len(words) > 40 for words, _ in shown)
    assert all((ROOT / path).stat().st_size <= 60_000 for _, path in shown)


def test_exit_codes_are_those_of_the_help():
    in_help = dict(re.findall(r"^ +(\d+) +(.+)$", COMMANDS["screen"].epilog, re.MULTILINE))
    in_readme = dict(re.findall(r"^\| (\d+) \| (.+) \|$", README, re.MULTILINE))
    assert in_readme == in_help
    assert len(in_help) == 4


def test_the_record_s_fields_are_described():
    record = Screening("0", PhotoInfo("a", "a", "", 1, 1), Quality(True)).to_dict()
    section = README.partition("## The screening record")[2].partition("\n## ")[0]
    rows = [line.split("|")[1] for line in section.splitlines() if line.startswith("| `")]
    assert [name for row in rows for name in re.findall(r"`(\w+)`", row)] == list(record)
    for name in (*record["photo"], *KINDS):
        assert f"`{name}`" in section


def test_every_cue_is_described():
    section = README.partition("## What it looks for")[2].partition("\n## ")[0]
    assert re.findall(r"^\| `(\w+)`", section, re.MULTILINE) == list(CUES)


def test_the_changelog_opens_with_this_version():
    changelog = DEVELOPERS.partition("## Changelog")[2]
    assert re.search(r"^### (\S+)", changelog, re.MULTILINE)[1] == visual_aid.__version__
