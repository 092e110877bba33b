"""What is due, for a calendar (RFC 5545) and for a spreadsheet."""

from __future__ import annotations

import csv
import datetime as dt
import io
import json
import uuid
from collections.abc import Iterable, Iterator

from visual_aid.followup.intervals import Due
from visual_aid.followup.units import Measured, figure
from visual_aid.outputs.tables import harmless

DUE_COLUMNS = (
    "unit",
    "duty",
    "joint",
    "state",
    "overdue",
    "due_date",
    "due_odometer",
    "odometer_now",
    "expected_date",
    "last_done",
    "source",
)
_LINE_OCTETS = 75


def due_csv(dues: Iterable[Due]) -> str:
    """Give one CSV row (RFC 4180) a duty, in the order given.

    A text that a spreadsheet would take for a formula is kept from it by a leading apostrophe.
    """
    text = io.StringIO()
    writer = csv.writer(text)
    writer.writerow(DUE_COLUMNS)
    for due in dues:
        row = [due.unit, due.title, due.joint, due.say, "yes" if due.overdue else "no", due.date]
        row += [_odometer(due.odometer), _odometer(due.odometer_now), due.expected, due.since, due.source]
        writer.writerow(harmless(row))
    return text.getvalue()


def due_ics(dues: Iterable[Due], made_at: dt.datetime) -> str:
    """Give a calendar with an all-day event for each duty (RFC 5545).

    What is overdue stands on the day for which the list was made, where people look. A duty keeps its UID
    until it is done, so that a calendar that takes the file again moves the event and does not double it.

    Parameters
    ----------
    dues : iterable of Due
        The duties.
    made_at : datetime
        When the file is made, with a time zone.
    """
    stamp = made_at.astimezone(dt.UTC).strftime("%Y%m%dT%H%M%SZ")
    lines = ["BEGIN:VCALENDAR", "VERSION:2.0", "PRODID:-//visual-aid//due list//EN", "CALSCALE:GREGORIAN"]
    for due in dues:
        lines += _event(due, stamp)
    lines.append("END:VCALENDAR")
    return "".join(f"{piece}\r\n" for line in lines for piece in _folded(line))


def _event(due: Due, stamp: str) -> Iterator[str]:
    day = max(due.by, due.today)
    cycle = json.dumps([due.unit, due.duty, due.joint, str(due.since)])
    state = "Overdue: " if due.overdue else ""
    about = [due.say, f"{due.counted_from}: {due.since}" if due.since else "", f"Interval: {due.source}"]
    yield "BEGIN:VEVENT"
    yield f"UID:{uuid.uuid5(uuid.NAMESPACE_URL, f'visual-aid/due/{cycle}')}"
    yield f"DTSTAMP:{stamp}"
    yield f"DTSTART;VALUE=DATE:{day:%Y%m%d}"
    yield f"SUMMARY:{_text(f'{state}Unit {due.unit}: {due.title}')}"
    yield f"DESCRIPTION:{_text(chr(10).join(filter(None, about)))}"
    yield "TRANSP:TRANSPARENT"
    yield "END:VEVENT"


def _text(text: str) -> str:
    """Escape a value of type TEXT (RFC 5545, 3.3.11); control characters have no place in one."""
    text = text.encode("utf-8", "replace").decode().replace("\r\n", "\n").replace("\r", "\n")
    for plain, escaped in (("\\", "\\\\"), (";", "\\;"), (",", "\\,"), ("\n", "\\n")):
        text = text.replace(plain, escaped)
    return "".join(c if c >= " " and c != "\x7f" else " " for c in text)


def _folded(line: str) -> Iterator[str]:
    """Break a line into pieces of 75 octets at most, none within a character (RFC 5545, 3.1)."""
    piece, octets = "", 0
    for character in line:
        size = len(character.encode())
        if octets + size > _LINE_OCTETS:
            yield piece
            piece, octets = " ", 1
        piece += character
        octets += size
    yield piece


def _odometer(odometer: Measured | None) -> str:
    return "" if odometer is None else f"{figure(round(odometer.value))} {odometer.unit}"
