"""The calendar file, read back by the rules of RFC 5545, and the spreadsheet."""

import csv
import datetime as dt
import io
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from visual_aid.followup.intervals import Done, Joint, Reading, UnitLog, due_list
from visual_aid.followup.units import Measured
from visual_aid.outputs.due_list import DUE_COLUMNS, due_csv, due_ics

TODAY = dt.date(2026, 5, 4)
MADE = dt.datetime(2026, 5, 4, 9, 30, tzinfo=dt.timezone(dt.timedelta(hours=2)))


def dues(unit="12", joint="U-bolts, axle 2", last=dt.date(2026, 5, 1)):
    joints = (Joint(joint, dt.date(2026, 4, 20), Measured(12000, "mi")),)
    readings = (Reading(dt.date(2026, 4, 20), Measured(12000, "mi")), Reading(TODAY, Measured(12140, "mi")))
    return due_list([UnitLog(unit, readings, joints, (Done("walkaround", last),))], TODAY)


def events(text):
    """Unfold and unescape a calendar (RFC 5545, 3.1 and 3.3.11)."""
    lines = re.sub("\r\n[ \t]", "", text).removesuffix("\r\n").split("\r\n")
    assert (lines[0], lines[1], lines[-1]) == ("BEGIN:VCALENDAR", "VERSION:2.0", "END:VCALENDAR")
    found = []
    for line in lines:
        name, _, value = line.partition(":")
        if line == "BEGIN:VEVENT":
            found.append({})
        elif found and name not in ("BEGIN", "END"):
            unescaped = re.sub(r"\\([\\;,nN])", lambda m: "\n" if m[1] in "nN" else m[1], value)
            assert name not in found[-1]
            found[-1][name] = unescaped
    return found


def test_each_duty_is_an_all_day_event_with_its_stamp_in_utc():
    waiting = dues()
    read = events(due_ics(waiting, MADE))
    assert len(read) == len(waiting) == 4
    assert {e["DTSTAMP"] for e in read} == {"20260504T073000Z"}
    for event, due in zip(read, waiting, strict=True):
        assert event["DTSTART;VALUE=DATE"] == f"{max(due.by, TODAY):%Y%m%d}"
        assert event["SUMMARY"] == f"{'Overdue: ' if due.overdue else ''}Unit 12: {due.title}"
    assert len({e["UID"] for e in read}) == len(read)


def test_what_is_overdue_stands_on_today():
    first = events(due_ics(dues(), MADE))[0]
    assert first["SUMMARY"] == "Overdue: Unit 12: Walkaround"
    assert first["DTSTART;VALUE=DATE"] == "20260504"
    assert first["DESCRIPTION"] == (
        "2 days overdue\nLast done: 2026-05-01\nInterval: common practice, no source"
    )


def test_a_duty_keeps_its_uid_until_it_is_done():
    def uid(waiting):
        return {e["SUMMARY"].removeprefix("Overdue: "): e["UID"] for e in events(due_ics(waiting, MADE))}

    before, after = uid(dues()), uid(dues(last=TODAY))
    assert uid(dues()) == before
    assert before.keys() == after.keys()
    assert {k for k in before if before[k] != after[k]} == {"Unit 12: Walkaround"}


@given(st.text(), st.text(max_size=200))
def test_lines_fit_and_any_text_is_read_back(unit, joint):
    text = due_ics(dues(unit, joint), MADE)
    assert text.endswith("\r\n")
    for line in text.split("\r\n"):
        assert len(line.encode()) <= 75
        assert not re.search("[\x00-\x08\x0a-\x1f\x7f]", line)
    read = events(text)
    newlines = unit.replace("\r\n", "\n").replace("\r", "\n")
    shown = re.sub("[\x00-\x09\x0b-\x1f\x7f]", " ", newlines)
    assert all(f"Unit {shown}: " in event["SUMMARY"] for event in read)


def test_lone_surrogates_of_odd_file_names_do_not_stop_the_export():
    assert "Unit 1?2" in events(due_ics(dues("1\udcff2"), MADE))[0]["SUMMARY"]


def test_the_spreadsheet_has_a_row_a_duty():
    waiting = dues()
    header, *rows = csv.reader(io.StringIO(due_csv(waiting)))
    assert tuple(header) == DUE_COLUMNS
    assert [row[4] for row in rows] == ["yes", "no", "no", "no"]
    (break_in,) = (dict(zip(header, row, strict=True)) for row in rows if row[2])
    assert break_in["due_odometer"] == "12500 mi"
    assert break_in["odometer_now"] == "12140 mi"
    assert break_in["state"] == "in 360 mi"
    assert break_in["expected_date"] == "2026-06-09"
    assert break_in["last_done"] == "2026-04-20"


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r"])
def test_no_cell_starts_a_formula(start):
    text = due_csv(dues(f"{start}HYPERLINK()", f"{start}1+1"))
    cells = [cell for row in csv.reader(io.StringIO(text)) for cell in row]
    assert not [cell for cell in cells if cell.startswith(start)]
    assert f"'{start}HYPERLINK()" in cells
