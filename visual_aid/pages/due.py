"""What is due: by date and odometer, the overdue first."""

from __future__ import annotations

import datetime as dt
from html import escape
from typing import Any

import streamlit as st

from visual_aid.followup.intervals import (
    DUTIES,
    DUTY_TITLE,
    USUAL,
    Done,
    Due,
    Duty,
    Interval,
    Joint,
    due_list,
)
from visual_aid.followup.logged import done_body, interval_body, joint_body
from visual_aid.followup.units import UNITS, Measured
from visual_aid.outputs.due_list import due_csv, due_ics
from visual_aid.outputs.visit_report import log_of
from visual_aid.outputs.wording import counted, day
from visual_aid.pages.session import ask_signature, signature, the_store
from visual_aid.pages.trouble import telling_trouble
from visual_aid.pages.words import plain, sentence
from visual_aid.records.entries import Line, LineKind

ALL = "All units"

state = st.session_state


def show() -> None:
    """Show what is due on one unit or on all of them, and what can be written down about a unit."""
    units = the_store().visits.units()
    if not units:
        st.subheader("No unit yet", anchor=False)
        if st.button("Add photos", type="primary"):
            st.switch_page("add_photos.py")
        return
    unit = st.selectbox("Unit", [ALL, *units], key="due-unit", persist_state="session")
    wanted = units if unit == ALL else (unit,)
    dues = due_list([log_of(the_store(), number) for number in wanted], dt.date.today())
    _exports(dues)
    for due in dues:
        _line(due)
    if unit == ALL:
        st.caption("Choose a unit to record what was carried out on it, or its maker's intervals.")
    else:
        _write_down(unit)


def _exports(dues: tuple[Due, ...]) -> None:
    with st.container(key="exports", horizontal=True):
        st.download_button(
            "Calendar (.ics)",
            lambda: due_ics(dues, dt.datetime.now(dt.UTC)),
            "due.ics",
            "text/calendar",
            on_click="ignore",
            width="stretch",
        )
        st.download_button(
            "Table (.csv)",
            lambda: due_csv(dues).encode("utf-8-sig"),
            "due.csv",
            "text/csv",
            on_click="ignore",
            width="stretch",
        )


def _line(due: Due) -> None:
    last = f"{due.counted_from} {day(due.since)}. " if due.since else ""
    on = f" ({day(due.date)})" if due.since and due.date else ""
    st.html(
        f'<div class="due{" overdue" if due.overdue else ""}">'
        f"<b>{'Overdue. ' if due.overdue else ''}Unit {escape(due.unit)}: {escape(due.title)}</b>"
        f"<div>{escape(sentence(due.say + on))}</div>"
        f"<div class='small'>{escape(last)}Interval: {escape(due.source)}.</div></div>"
    )


# What is written down about a unit


def _write_down(unit: str) -> None:
    if not signature():
        ask_signature()
    with st.expander("An inspection or a torque check was carried out"):
        _done(unit)
    with st.expander("A joint is new or was disturbed"):
        _joint(unit)
    with st.expander("The maker's intervals for this unit"):
        _intervals(unit)


def _done(unit: str) -> None:
    joints = [line.body["name"] for line in the_store().logbook.lines("joint", unit=unit)]
    duties = [duty for duty in DUTIES if duty != "break_in_retorque" or joints]
    duty: Duty = st.selectbox(
        "What was carried out", duties, format_func=DUTY_TITLE.__getitem__, key="done-duty"
    )
    joint = st.selectbox("Joint", joints, key="done-joint") if duty == "break_in_retorque" else ""
    date, odometer = _when("done")
    _keep("duty_done", done_body(Done(duty, date, odometer, joint)), unit, "Record it", "done")


def _joint(unit: str) -> None:
    example = "Needed, such as: U-bolts, axle 2 left"
    name = st.text_input("Joint", key="joint-name", max_chars=100, placeholder=example).strip()
    date, odometer = _when("joint")
    _keep("joint", joint_body(Joint(name, date, odometer)) if name else {}, unit, "Record it", "joint")
    for line in the_store().logbook.lines("joint", unit=unit):
        st.button(
            plain(f"Take back: {line.body['name']}, {day(dt.date.fromisoformat(line.body['date']))}"),
            key=f"take-back-{line.id}",
            disabled=not signature(),
            on_click=_take_back,
            args=(line.id,),
        )


def _intervals(unit: str) -> None:
    st.text("The maker's interval replaces the usual one. Of several figures the first one reached counts.")
    duty: Duty = st.selectbox("Interval of", DUTIES, format_func=DUTY_TITLE.__getitem__, key="interval-duty")
    own = {line.body["duty"]: line for line in the_store().logbook.lines("interval", unit=unit)}
    st.text(f"Usual: {_interval_words(USUAL[duty])}.")
    left, middle, right = st.columns(3)
    days = left.number_input("Days", 0, 3650, key="interval-days")
    months = middle.number_input("Months", 0, 120, key="interval-months")
    with right:
        distance = _distance("Distance", "interval")
        if distance is not None and not distance.value:
            distance = None
    source = st.text_input(
        "Where the maker says so",
        key="interval-source",
        max_chars=200,
        placeholder="Needed, with one of the figures above",
    ).strip()
    given = bool(source and (days or months or distance))
    body = interval_body(duty, Interval(source, int(days), int(months), distance)) if given else {}
    _keep("interval", body, unit, "Record the maker's interval", "interval", supersedes=own.get(duty))
    for line in own.values():
        st.button(
            plain(f"Back to the usual: {DUTY_TITLE[line.body['duty']]} (now by {line.body['source']})"),
            key=f"take-back-{line.id}",
            disabled=not signature(),
            on_click=_take_back,
            args=(line.id,),
        )


def _interval_words(interval: Interval) -> str:
    parts = [
        counted(interval.days, "day") if interval.days else "",
        counted(interval.months, "month") if interval.months else "",
        str(interval.distance or ""),
    ]
    return f"{' or '.join(filter(None, parts))} ({interval.source})"


def _when(prefix: str) -> tuple[dt.date, Measured | None]:
    left, right = st.columns(2)
    date = left.date_input("Date", "today", max_value="today", key=f"{prefix}-date")
    with right:
        return date, _distance("Odometer then", prefix)


def _distance(label: str, prefix: str) -> Measured | None:
    left, right = st.columns([3, 2], vertical_alignment="bottom")
    value = left.number_input(
        label, min_value=0.0, value=None, step=1.0, format="%.0f", key=f"{prefix}-distance"
    )
    unit = right.segmented_control(
        f"Unit of: {label}",
        UNITS["distance"],
        key=f"{prefix}-distance-unit",
        default=UNITS["distance"][0],
        required=True,
        label_visibility="collapsed",
    )
    return None if value is None else Measured(value, str(unit))


def _keep(
    kind: LineKind,
    body: dict[str, Any],
    unit: str,
    label: str,
    prefix: str,
    supersedes: Line | None = None,
) -> None:
    """Offer to write a line down; an empty body is not yet one."""
    st.button(
        label,
        key=f"{prefix}-keep",
        type="primary",
        disabled=not body or not signature(),
        on_click=_write,
        args=(kind, body, unit, prefix, None if supersedes is None else supersedes.id),
    )
    if state.pop(f"{prefix}-recorded", False):  # under the button that was pressed: the list is out of sight
        st.success("Recorded. The list above has been worked out anew.")


@telling_trouble()
def _write(kind: LineKind, body: dict[str, Any], unit: str, prefix: str, supersedes: int | None) -> None:
    the_store().logbook.write(kind, body, by=signature(), unit=unit, supersedes=supersedes)
    # Emptied rather than dropped: a browser goes on showing what was typed into a field that is dropped.
    empty = {"name": "", "source": "", "days": 0, "months": 0, "distance": None, "date": dt.date.today()}
    for part, value in empty.items():
        if f"{prefix}-{part}" in state:
            state[f"{prefix}-{part}"] = value
    state[f"{prefix}-recorded"] = True


@telling_trouble()
def _take_back(line: int) -> None:
    the_store().logbook.take_back(line, by=signature())


show()
