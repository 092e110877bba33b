"""The worklist and the rows for a spreadsheet."""

import csv
import dataclasses
import datetime as dt
import io

import pytest
from hypothesis import given
from hypothesis import strategies as st

from visual_aid.model import Candidate, PhotoInfo, Problem, Quality, Screening, Trouble
from visual_aid.outputs.tables import CANDIDATE_COLUMNS, candidates_csv, waiting, worklist
from visual_aid.records.entries import StoredPhoto, WorklistEntry

TRAIL = Candidate(1, "rust_trail", 4, (10, 20, 30.25, 40), (), 0.8, {}, "run of 3.2 nut radii")
GAP = Candidate(2, "gap", None, (1, 2, 3, 4), (), 0.95, {}, "dark gap")


SOUND = Quality(True)
BLURRED = Problem("blurred", 0.3, 0.5, "edges are smeared: hold still")


def record(name="a.jpg", *candidates, priority=0.0, error=None, quality=SOUND):
    info = PhotoInfo(name, name, "5e0a", 800, 600)
    return Screening("0", info, quality, (), candidates, (), priority, 0.0, error)


def test_the_worklist_runs_from_the_highest_priority_to_what_failed():
    failed = record("bad.jpg", error=Trouble("empty", "bad.jpg is empty"))
    rows = worklist([failed, record("low.jpg", priority=0.1), record("high.jpg", priority=0.9)])
    assert [row.photo for row in rows] == ["high.jpg", "low.jpg", "bad.jpg"]
    assert rows[-1].priority is None
    assert rows[-1].reason == "bad.jpg is empty"


def test_a_row_gives_the_best_scored_reason():
    (row,) = worklist([record("a.jpg", TRAIL, GAP)])
    assert (row.candidates, row.cue, row.score, row.reason) == (2, "Gap under the nut", 0.95, "dark gap")
    assert row.weaker == 0


def test_what_is_too_weak_to_be_shown_is_counted_apart():
    (row,) = worklist([record("a.jpg", TRAIL, dataclasses.replace(GAP, score=0.1))])
    assert (row.candidates, row.weaker) == (1, 1)


@pytest.mark.parametrize(
    ("quality", "reason"),
    [
        (SOUND, "Nothing flagged."),
        (Quality(True, (BLURRED,)), "Nothing flagged. Hard to judge: edges are smeared: hold still."),
        (Quality(False, (BLURRED,)), "Not judged: edges are smeared: hold still."),
    ],
)
def test_a_row_without_candidates_says_whether_anything_could_be_seen(quality, reason):
    (row,) = worklist([record(quality=quality)])
    assert row.cue is None
    assert row.reason == reason


def test_csv_has_one_row_a_candidate_best_first():
    header, *rows = csv.reader(io.StringIO(candidates_csv([record("a.jpg", TRAIL, GAP), record("b.jpg")])))
    assert tuple(header) == CANDIDATE_COLUMNS
    rows = [dict(zip(header, row, strict=True)) for row in rows]
    assert [row["cue"] for row in rows] == ["Gap under the nut", "Rust trail"]
    assert rows[0]["fastener"] == ""
    assert (rows[1]["fastener"], rows[1]["width"]) == ("4", "30.2")


# OWASP, CSV Injection: cells that start with = + - @, tab or return are taken for formulas; from memory.
@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r"])
def test_a_file_name_cannot_become_a_formula(start):
    rows = list(csv.reader(io.StringIO(candidates_csv([record(f"{start}1+1.jpg", TRAIL)]), newline="")))
    assert rows[1][0] == f"'{start}1+1.jpg"


@given(st.text(st.characters(exclude_categories=["Cs"])))
def test_any_reason_survives_the_way_through_csv(reason):
    candidate = Candidate(1, "gap", None, (0, 0, 1, 1), (), 0.5, {}, reason)
    rows = list(csv.reader(io.StringIO(candidates_csv([record("a.jpg", candidate)]), newline="")))
    assert rows[1][-1].removeprefix("'") == reason.removeprefix("'")


def test_rows_of_the_records_say_what_their_threshold_and_calibration_make_of_scores():
    stored = StoredPhoto(
        "p", "a.jpg", "a.jpg", record("a.jpg", TRAIL, GAP, priority=0.9), None, None, dt.datetime.now(dt.UTC)
    )
    tuned = dataclasses.replace(GAP, score=0.6)
    entry = WorklistEntry(
        stored, "to_decide", undecided=1, weak=1, decided=0, findings=0, priority=0.4, top=tuned
    )
    first, second = waiting([entry, dataclasses.replace(entry, priority=0.5)])
    assert (first.priority, second.priority) == (0.4, 0.5)
    assert (first.candidates, first.weaker) == (1, 1)
    assert (first.cue, first.score, first.reason) == ("Gap under the nut", 0.6, "dark gap")
