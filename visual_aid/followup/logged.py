"""Hand checks, torque worksheets and what is due, as lines of the logbook hold them and back again."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping
from typing import Any

from visual_aid.followup.handchecks import Answer, CheckRecord, Judged, Outcome
from visual_aid.followup.intervals import Done, Duty, Interval, Joint, Reading, UnitLog
from visual_aid.followup.torque import Entry, Worksheet
from visual_aid.followup.units import Measured
from visual_aid.records.entries import Line, Visit

Body = dict[str, Any]


def check_body(record: CheckRecord) -> Body:
    """Give a hand check as the body of a line; the line holds who and when."""
    return {
        "check": record.check,
        "title": record.title,
        "answers": {id_: _plain(answer) for id_, answer in record.answers.items()},
        "verdict": record.outcome.verdict,
        "judged": [[j.say, j.found, j.bound, j.source, j.verdict] for j in record.outcome.judged],
        "note": record.note,
    }


def check_record(line: Line) -> CheckRecord:
    """Read a hand check back, with the outcome as it was judged then."""
    body = line.body
    answers: dict[str, Answer] = {
        id_: answer if isinstance(answer, str) else _required(answer)
        for id_, answer in body["answers"].items()
    }
    outcome = Outcome(body["verdict"], tuple(Judged(*judged) for judged in body["judged"]))
    at = line.at.astimezone()  # decisions are written in the machine's time as well
    return CheckRecord(body["check"], body["title"], answers, outcome, line.by, at, body["note"])


def sheet_body(entry: Entry, sheet: Worksheet) -> Body:
    """Give a torque worksheet as the body of a line: what was entered and what it came to."""
    return {
        "thread": entry.thread.name,
        "grade": None if entry.strength is None else entry.strength.grade,
        "condition": entry.condition.id,
        "dry": _plain(entry.dry),
        "lubricated": _plain(entry.lubricated),
        "dry_factor": entry.dry_factor.id,
        "lubricated_factor": entry.lubricated_factor.id,
        "use": _plain(sheet.use),
        "say": sheet.say,
        "warnings": list(sheet.warnings),
    }


def sheet_words(line: Line) -> str:
    """Say in one line what a kept torque worksheet came to."""
    grade = f", {line.body['grade']}" if line.body["grade"] else ""
    return f"Torque worksheet for {line.body['thread']}{grade}: {line.body['say']}"


def joint_body(joint: Joint) -> Body:
    """Give a new or disturbed joint as the body of a line."""
    return {"name": joint.name, "date": joint.date.isoformat(), "odometer": _plain(joint.odometer)}


def done_body(done: Done) -> Body:
    """Give a duty that was carried out as the body of a line."""
    return {
        "duty": done.duty,
        "date": done.date.isoformat(),
        "odometer": _plain(done.odometer),
        "joint": done.joint,
    }


def interval_body(duty: Duty, interval: Interval) -> Body:
    """Give an interval of the maker's schedule as the body of a line."""
    return {
        "duty": duty,
        "source": interval.source,
        "days": interval.days,
        "months": interval.months,
        "distance": _plain(interval.distance),
    }


def unit_log(unit: str, visits: Iterable[Visit], lines: Iterable[Line]) -> UnitLog:
    """Put together what is known of a unit.

    Parameters
    ----------
    visits : iterable of Visit
        Its visits: each is a walkaround, and a reading of the odometer where one was noted.
    lines : iterable of Line
        The lines about it that stand, oldest first; of intervals of one duty the last holds. The odometer
        noted with what was done is a reading too.
    """
    noted: list[tuple[dt.date, Measured | None]] = []
    joints, done = [], []
    schedule: dict[Duty, Interval] = {}
    for visit in visits:
        odometer = odometer_of(visit)
        done.append(Done("walkaround", visit.date, odometer))
        noted.append((visit.date, odometer))
    for line in lines:
        body = line.body
        if line.kind == "joint":
            joints.append(joint := Joint(body["name"], _date(body), _measured(body["odometer"])))
            noted.append((joint.date, joint.odometer))
        elif line.kind == "duty_done":
            done.append(duty := Done(body["duty"], _date(body), _measured(body["odometer"]), body["joint"]))
            noted.append((duty.date, duty.odometer))
        elif line.kind == "interval":
            schedule[body["duty"]] = Interval(
                body["source"], body["days"], body["months"], _measured(body["distance"])
            )
    readings = (Reading(date, odometer) for date, odometer in noted if odometer is not None)
    return UnitLog(unit, tuple(readings), tuple(joints), tuple(done), schedule)


def odometer_of(visit: Visit) -> Measured | None:
    """Give the odometer reading of a visit."""
    if visit.odometer is None or visit.odometer_unit is None:
        return None
    return Measured(visit.odometer, visit.odometer_unit)


def _plain(answer: Answer | None) -> Any:  # noqa: ANN401
    return [answer.value, answer.unit] if isinstance(answer, Measured) else answer


def _measured(plain: list[Any] | None) -> Measured | None:
    return None if plain is None else _required(plain)


def _required(plain: list[Any]) -> Measured:
    return Measured(plain[0], plain[1])


def _date(body: Mapping[str, Any]) -> dt.date:
    return dt.date.fromisoformat(body["date"])
