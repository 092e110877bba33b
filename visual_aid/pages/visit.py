"""A visit: its photos by place, what is left to do, and the report."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from html import escape
from itertools import groupby

import streamlit as st

from visual_aid.followup.walk import (
    PARTS,
    guess,
    other_side_missing,
    shots_of,
    usual_route,
    walked_route,
)
from visual_aid.outputs.paper import PAPERS, Paper
from visual_aid.outputs.report_html import report_html
from visual_aid.outputs.report_pdf import report_pdf
from visual_aid.outputs.visit_report import visit_report
from visual_aid.outputs.wording import counted
from visual_aid.pages import actions
from visual_aid.pages.session import ask_signature, signature, the_store, the_visit
from visual_aid.pages.trouble import show_trouble, telling_trouble
from visual_aid.pages.words import plain, sentence, where
from visual_aid.records.entries import ODOMETER_UNITS, SIDES, Filter, OdometerUnit, Spot, StoredPhoto, Visit

PLACE_UNKNOWN = "Place not known"
CARD = 164
"""Width of a photo's card in CSS pixels: two side by side on a phone."""

state = st.session_state


def show() -> None:
    """Show the visit at hand."""
    visit = the_visit()
    if visit is None:
        st.subheader("No visit yet", anchor=False)
        if st.button("Add photos", type="primary"):
            st.switch_page("add_photos.py")
        return
    photos = the_store().visits.photos(visit.id)
    odometer = "" if visit.odometer is None else f" · {visit.odometer:.0f} {visit.odometer_unit}"
    st.text(f"{counted(len(photos), 'photo')} · inspector {visit.inspector}{odometer}")
    if not signature():
        ask_signature()
    _to_do(visit)
    _retakes(photos)
    _places(visit, photos)
    _report(visit)
    with st.expander("Put the visit right"):
        _amend(visit)


# What is left to do


def _to_do(visit: Visit) -> None:
    waiting = the_store().worklist("to_decide", Filter(visit=visit.id))
    findings = actions.findings(the_store(), visit)
    unchecked = [f for f, _ in findings if not the_store().logbook.lines("hand_check", candidate=f.id)]
    with st.container(key="to-do", horizontal=True):
        if waiting and st.button(
            f"Decide on {counted(sum(e.undecided for e in waiting), 'mark')}", type="primary", width="stretch"
        ):
            st.switch_page("review.py", query_params={"photo": waiting[0].photo.id})
        if findings and st.button(
            f"Hand checks: {len(findings) - len(unchecked)} of {len(findings)} done",
            type="primary" if unchecked and not waiting else "secondary",
            width="stretch",
        ):
            st.switch_page("hand_checks.py")
        if st.button("Add photos", width="stretch"):
            st.switch_page("add_photos.py")


def _retakes(photos: Sequence[StoredPhoto]) -> None:
    again = [photo for photo in photos if not photo.screening.quality.usable]
    if not again:
        return
    st.subheader(f"Take again: {len(again)}", anchor=False)
    for photo in again:
        say = " ".join(sentence(problem.say) for problem in photo.screening.quality.problems)
        place = where(photo.position.spot) if photo.position else ""
        st.html(
            f'<div class="line"><img src="/thumb/{escape(photo.id)}" alt="" loading="lazy"><div>'
            f"<b>{escape(photo.name)}</b><div>{escape(place)}</div><div>{escape(say)}</div></div></div>"
        )


# Where the photos were taken


def _places(visit: Visit, photos: Sequence[StoredPhoto]) -> None:
    st.subheader("Places", anchor=False)
    route = _route(visit)
    guesses = guess(shots_of(photos), route)
    if guesses:
        st.text("Guessed from time and order, marked with ?. Tap a place that is wrong, then keep the rest.")
        st.button(
            f"Keep {counted(len(guesses), 'guessed place')}",
            type="primary",
            disabled=not signature(),
            on_click=_keep,
            args=(guesses,),
        )
    spots = {p.id: p.position.spot if p.position else guesses.get(p.id) for p in photos}
    missing = other_side_missing(spot for spot in spots.values() if spot)
    if missing and not guesses:
        st.text(f"No photo of these yet, only of their other side: {'; '.join(map(where, missing))}.")
    with st.container(horizontal=True, gap="small"):
        for photo in photos:
            with st.container(width=CARD, gap="xxsmall"):
                _card(photo, spots[photo.id], photo.id in guesses, route)


def _route(visit: Visit) -> tuple[Spot, ...]:
    """Give the way around the unit: that of its last visit, else the usual one, as the person sets it."""
    for earlier in the_store().visits.all(visit.unit):
        if earlier.date < visit.date and earlier.id != visit.id:
            walked = walked_route(shots_of(the_store().visits.photos(earlier.id)))
            if len(walked) > 1:
                return walked
    with st.expander("The way around"):
        axles = st.number_input("Axles", 1, 20, 3, key=f"axles-{visit.id}", persist_state="session")
        parts = st.pills(
            "Parts photographed at each axle, in order",
            PARTS,
            selection_mode="multi",
            default=PARTS[:2],
            key=f"parts-{visit.id}",
            persist_state="session",
        )
    return usual_route(int(axles), parts)


def _card(photo: StoredPhoto, spot: Spot | None, guessed: bool, route: Sequence[Spot]) -> None:
    findings = sum(c.is_finding for c in the_store().candidates(photo.id))
    found = counted(findings, "finding") if findings else ""
    about = (photo.name, (photo.screening.photo.taken or "")[11:16], found)
    st.html(
        f'<img class="card" src="/thumb/{escape(photo.id)}" alt="" loading="lazy">'
        f'<div class="small">{escape(" · ".join(filter(None, about)))}</div>'
    )
    label = plain(where(spot)) if spot else PLACE_UNKNOWN
    if guessed:
        label += "\N{NO-BREAK SPACE}?"
    if st.button(label, key=f"place-{photo.id}", width="stretch", disabled=not signature()):
        _ask_place(photo, spot, route)
    if st.button("Look", key=f"look-{photo.id}", width="stretch"):
        st.switch_page("review.py", query_params={"photo": photo.id})
    former = the_store().visits.former(photo)
    if former and st.button("Compare", key=f"compare-{photo.id}", width="stretch"):
        st.switch_page("compare.py", query_params={"before": former.id, "after": photo.id})


@telling_trouble()
def _keep(places: Mapping[str, Spot]) -> None:
    the_store().visits.place(places, by=signature())


@st.dialog("Where was it taken?", width="large")
def _ask_place(photo: StoredPhoto, now: Spot | None, route: Sequence[Spot]) -> None:
    """Offer every place of the way around, one tap each, and another one."""
    known = [p.spot for p in the_store().visits.positions(photo.visit.unit)] if photo.visit else []
    st.html(
        f'<div class="line"><img src="/thumb/{escape(photo.id)}" alt=""><b>{escape(photo.name)}</b></div>'
    )
    spots = sorted({*route, *known})
    for (axle, side), group in groupby(spots, key=lambda spot: spot[:2]):
        with st.container(horizontal=True, gap="xsmall"):
            for spot in group:
                if st.button(
                    plain(f"Axle {axle} {side}, {spot[2]}"),
                    key=f"spot-{spot}",
                    type="primary" if spot == now else "secondary",
                    on_click=_place,
                    args=(photo, spot),
                ):
                    _close_or_tell()
    with st.expander("Another place"):
        axle_, side_, part = now or (1, SIDES[0], "")
        axle_ = int(st.number_input("Axle, 1 at the front", 1, 20, axle_))
        side_ = st.segmented_control("Side", SIDES, default=side_, required=True)
        part = st.text_input("Component", part, max_chars=100)
        if st.button("It is there", type="primary", disabled=not part.strip()):
            _place(photo, (axle_, side_, part))
            _close_or_tell()


@telling_trouble()
def _place(photo: StoredPhoto, spot: Spot) -> None:
    the_store().visits.place({photo.id: spot}, by=signature())


def _close_or_tell() -> None:
    """Close what asked for a place; it stays, with what was typed and the reason, where none was kept."""
    if not show_trouble():
        st.rerun()


# The report


def _report(visit: Visit) -> None:
    st.subheader("Report", anchor=False)
    name = f"unit-{''.join(c if c.isalnum() else '-' for c in visit.unit)}-{visit.date}"
    paper: Paper = st.segmented_control(
        "Paper", PAPERS, default=PAPERS[0], required=True, key="paper", persist_state="session"
    )
    with st.container(key="reports", horizontal=True):
        st.download_button(
            "Report as PDF",
            lambda: report_pdf(visit_report(the_store(), visit, _now()), paper),
            f"{name}.pdf",
            "application/pdf",
            on_click="ignore",
            width="stretch",
        )
        st.download_button(
            "Report as one HTML file",
            lambda: report_html(visit_report(the_store(), visit, _now())),
            f"{name}.html",
            "text/html",
            on_click="ignore",
            width="stretch",
        )
    st.caption("Pictures in the report carry neither place nor camera.")


def _now() -> dt.datetime:
    return dt.datetime.now().astimezone()


# What was noted wrongly


def _amend(visit: Visit) -> None:
    left, right = st.columns(2)
    latest = max(visit.date, dt.date.today())
    date = left.date_input("Date of the visit", visit.date, max_value=latest, key=f"date-{visit.id}")
    inspector = right.text_input("Inspector", visit.inspector, key=f"inspector-{visit.id}", max_chars=60)
    left, right = st.columns(2)
    odometer = left.number_input(
        "Odometer", min_value=0.0, value=visit.odometer, step=1.0, format="%.0f", key=f"odometer-{visit.id}"
    )
    unit: OdometerUnit = right.segmented_control(
        "Odometer in",
        ODOMETER_UNITS,
        default=visit.odometer_unit or ODOMETER_UNITS[0],
        required=True,
        key=f"odometer-unit-{visit.id}",
    )
    st.button(
        "Put it right",
        disabled=not signature() or not inspector.strip(),
        on_click=_put_right,
        args=(visit, date, inspector, odometer, unit),
    )


@telling_trouble()
def _put_right(
    visit: Visit, date: dt.date, inspector: str, odometer: float | None, unit: OdometerUnit
) -> None:
    the_store().visits.amend(
        visit.id, by=signature(), date=date, inspector=inspector, odometer=odometer, odometer_unit=unit
    )


show()
