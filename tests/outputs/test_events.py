import csv
import datetime as dt
import io

import pytest

from visual_aid.outputs.events import EVENT_COLUMNS, events_csv, what
from visual_aid.records.entries import Event

NOW = dt.datetime(2026, 5, 4, 7, 12, tzinfo=dt.UTC)


def event(kind, body, takes_back=False, **changes):
    usual = {"at": NOW, "by": "mk", "unit": "417", "about": "IMG_1.jpg", "sign": "gap"}
    return Event(**{**usual, **changes}, kind=kind, body=body, takes_back=takes_back)


PLACE = {"axle": 2, "side": "left", "component": "torque rod"}


@pytest.mark.parametrize(
    ("kind", "body", "words"),
    [
        ("decision", {"outcome": "confirmed", "note": ""}, "Confirmed"),
        ("decision", {"outcome": "ruled_out", "note": "mud"}, "Ruled out (mud)"),
        ("hand_check", {"title": "Torque", "verdict": "beyond_limit", "note": ""},
         "Torque: beyond the limit stated"),
        ("torque_sheet", {"thread": "M16", "say": "Use neither."}, "Torque worksheet for M16: Use neither."),
        ("follow_up", {"say": "replace"}, "To be done: replace"),
        ("placed", PLACE, "Place: axle 2 left, torque rod"),
        ("placed", {**PLACE, "before": {**PLACE, "axle": 1}},
         "Place: axle 2 left, torque rod (before: axle 1 left, torque rod)"),
        ("visit_edit", {"odometer": [None, 900.0]}, "Visit put right: odometer from nothing to 900"),
        ("visit_edit", {"odometer": [0.0, 182400.0], "date": ["2026-05-04", "2026-05-03"]},
         "Visit put right: odometer from 0 to 182400, date from 4 May 2026 to 3 May 2026"),
        ("joint", {"name": "U-bolts", "date": "2026-05-04"}, "Joint new or disturbed: U-bolts, 4 May 2026"),
        ("duty_done", {"duty": "walkaround", "joint": "", "date": "2026-05-04"},
         "Walkaround carried out, 4 May 2026"),
        ("interval", {"duty": "walkaround", "source": "manual"}, "Maker's interval for walkaround: manual"),
    ],
)  # fmt: skip
def test_every_kind_of_event_is_said_in_words(kind, body, words):
    assert what(event(kind, body)) == words


def test_what_was_taken_back_is_said():
    assert what(event("follow_up", {"say": "replace"}, True)) == "Taken back: To be done: replace"
    taken = event("decision", {"outcome": "confirmed", "note": ""}, True)
    assert what(taken) == "Decision taken back; now: confirmed"


def test_the_table_reads_back_and_runs_no_formula():
    rows = list(csv.reader(io.StringIO(events_csv([event("follow_up", {"say": "x"}, by="=1+1", sign=None)]))))
    assert tuple(rows[0]) == EVENT_COLUMNS
    assert rows[1] == [NOW.isoformat(), "'=1+1", "417", "IMG_1.jpg", "", "To be done: x"]
