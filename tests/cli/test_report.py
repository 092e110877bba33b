import datetime as dt
import io

import pytest
from click.testing import CliRunner
from pypdf import PdfReader

from visual_aid.cli import main
from visual_aid.records.store import Store


@pytest.fixture
def yard(tmp_path):
    """Give records with two visits of one unit."""
    path = tmp_path / "yard.sqlite"
    store = Store.open(path)
    for day in (2, 4):
        store.visits.begin("417", dt.date(2026, 5, day), inspector="J. Doe")
    store.close()
    return path


def run(*words):
    return CliRunner().invoke(main, ["report", *map(str, words)])


def test_the_last_visit_becomes_a_pdf(yard, tmp_path):
    out = tmp_path / "out" / "report.pdf"
    result = run("417", "--store", yard, "--out", out)
    assert result.exit_code == 0, result.output
    assert "unit 417, 4 May 2026" in result.output
    assert "417" in PdfReader(io.BytesIO(out.read_bytes())).pages[0].extract_text()


def test_a_day_and_an_ending_choose_visit_and_form(yard, tmp_path):
    out = tmp_path / "report.html"
    assert run("417", "--store", yard, "--date", "2026-05-02", "--out", out).exit_code == 0
    assert "unit 417, 2 May 2026" in out.read_text()


def test_letter_paper(yard, tmp_path):
    out = tmp_path / "report.pdf"
    assert run("417", "--store", yard, "--out", out, "--paper", "Letter").exit_code == 0
    # Letter is 8.5 in by 11 in (ANSI/ASME Y14.1, size A).
    assert PdfReader(out).pages[0].mediabox[2:] == [612, 792]


@pytest.mark.parametrize(
    ("words", "say"),
    [
        (("418", "--out", "r.pdf"), "units with visits: 417"),
        (("417", "--date", "2026-05-03", "--out", "r.pdf"), "no visit of unit 417 on 2026-05-03"),
        (("417", "--out", "r.doc"), "ends in .pdf or .html"),
    ],
)
def test_what_cannot_be_written_is_said_with_the_mend(yard, tmp_path, monkeypatch, words, say):
    monkeypatch.chdir(tmp_path)
    result = run(*words, "--store", yard)
    assert result.exit_code == 2
    assert say in " ".join(result.output.split())
    assert not list(tmp_path.glob("r.*"))


def test_no_records_are_made_by_asking_for_a_report(tmp_path):
    result = run("417", "--store", tmp_path / "none.sqlite", "--out", tmp_path / "r.pdf")
    assert (result.exit_code, list(tmp_path.iterdir())) == (2, [])
