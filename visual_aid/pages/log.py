"""The log: everything that people did, with who and when."""

from __future__ import annotations

from html import escape

import streamlit as st

from visual_aid.outputs.events import events_csv, what
from visual_aid.outputs.palette import SIGN_STYLE
from visual_aid.outputs.wording import local
from visual_aid.pages.session import the_store

SHOWN = 100
ALL = "All units"


def show() -> None:
    """Show what was done last, and give all of it as a table."""
    units = the_store().visits.units()
    chosen = st.selectbox("Unit", [ALL, *units], key="log-unit", persist_state="session")
    unit = None if chosen == ALL else chosen
    events = the_store().logbook.events(unit=unit, limit=SHOWN)
    if not events:
        st.subheader("Nothing written down yet", anchor=False)
        return
    st.download_button(
        "All of it as a table (.csv)",
        lambda: events_csv(the_store().logbook.events(unit=unit)).encode("utf-8-sig"),
        "log.csv",
        "text/csv",
        on_click="ignore",
    )
    st.caption(f"The last {len(events)}, newest first. What was taken back stays here too.")
    for event in events:
        sign = "" if event.sign is None else SIGN_STYLE[event.sign].label
        about = " · ".join(filter(None, (f"Unit {event.unit}" if event.unit else "", event.about, sign)))
        st.html(
            f'<div class="event"><b>{escape(what(event))}</b><div class="small">'
            f"{local(event.at)} by {escape(event.by)}. {escape(about)}</div></div>"
        )


show()
