"""Everything that people did, in words, for the page and for a spreadsheet."""

from __future__ import annotations

import csv
import datetime as dt
import io
from collections.abc import Iterable, Mapping
from typing import Any

from visual_aid.followup.handchecks import VERDICT_WORDS
from visual_aid.followup.intervals import DUTY_TITLE
from visual_aid.followup.units import figure
from visual_aid.outputs.palette import SIGN_STYLE
from visual_aid.outputs.tables import harmless
from visual_aid.outputs.wording import day
from visual_aid.records.entries import Event, Outcome

EVENT_COLUMNS = ("at", "by", "unit", "photo", "sign", "what")
OUTCOME_LABEL: Mapping[Outcome | None, str] = {
    "confirmed": "Confirmed",
    "ruled_out": "Ruled out",
    "cannot_tell": "Cannot tell",
    None: "Not decided yet",
}


def what(event: Event) -> str:
    """Say in one line what a person did."""
    body = event.body
    match event.kind:
        case "decision":
            line = OUTCOME_LABEL[body["outcome"]]
            return f"Decision taken back; now: {line.lower()}" if event.takes_back else _noted(line, body)
        case "hand_check":
            line = _noted(f"{body['title']}: {VERDICT_WORDS[body['verdict']].lower()}", body)
        case "torque_sheet":
            line = f"Torque worksheet for {body['thread']}: {body['say']}"
        case "follow_up":
            line = f"To be done: {body['say']}"
        case "placed":
            line = f"Place: {_where(body)}"
            line += f" (before: {_where(body['before'])})" if "before" in body else ""
        case "visit_edit":
            changes = (
                f"{name.replace('_', ' ')} from {_value(name, old)} to {_value(name, new)}"
                for name, (old, new) in body.items()
            )
            line = f"Visit put right: {', '.join(changes)}"
        case "joint":
            line = f"Joint new or disturbed: {body['name']}, {_day(body)}"
        case "duty_done":
            joint = f", {body['joint']}" if body["joint"] else ""
            line = f"{DUTY_TITLE[body['duty']]} carried out{joint}, {_day(body)}"
        case "interval":
            line = f"Maker's interval for {DUTY_TITLE[body['duty']].lower()}: {body['source']}"
    return f"Taken back: {line}" if event.takes_back else line


def events_csv(events: Iterable[Event]) -> str:
    """Give one CSV row (RFC 4180) an event, in the order given; times in UTC.

    A text that a spreadsheet would take for a formula is kept from it by a leading apostrophe.
    """
    text = io.StringIO()
    writer = csv.writer(text)
    writer.writerow(EVENT_COLUMNS)
    for event in events:
        sign = "" if event.sign is None else SIGN_STYLE[event.sign].label
        row = [event.at.isoformat(), event.by, event.unit, event.about, sign, what(event)]
        writer.writerow(harmless(row))
    return text.getvalue()


def _day(body: Mapping[str, Any]) -> str:
    return day(dt.date.fromisoformat(body["date"]))


def _value(name: str, value: Any) -> str:  # noqa: ANN401
    if value is None:
        return "nothing"
    if name == "date":
        return day(dt.date.fromisoformat(value))
    return figure(round(value)) if name == "odometer" else str(value)


def _noted(line: str, body: Mapping[str, Any]) -> str:
    return f"{line} ({body['note']})" if body["note"] else line


def _where(place: Mapping[str, Any]) -> str:
    return f"axle {place['axle']} {place['side']}, {place['component']}"
