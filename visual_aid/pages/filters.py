"""Which photos of the worklist to show."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import streamlit as st

from visual_aid.model import CHANGES, CUES
from visual_aid.outputs.palette import SIGN_STYLE
from visual_aid.outputs.wording import day
from visual_aid.pages.session import the_store
from visual_aid.records.entries import FITNESSES, SIDES, Filter, Fitness, Visit

FITNESS_LABEL: Mapping[Fitness, str] = {
    "good": "Good",
    "hard": "Hard to judge",
    "unusable": "Not to be judged",
}

ALL = "All"
SHOTS = "filter-shots"
"""What shows more instead of less, and so counts as no filter."""
EMPTY: Mapping[str, object] = {
    **dict.fromkeys(("filter-units", "filter-cues", "filter-fitness"), ()),
    **dict.fromkeys(("filter-visit", "filter-axle", "filter-side", "filter-component")),
    **dict.fromkeys(("filter-since", "filter-until")),
    SHOTS: False,
}
"""What each part of the filter holds where it filters nothing."""

state = st.session_state


def ask_filter() -> Filter:
    """Ask which photos to show; what is left empty filters nothing, what is set is kept from page to page."""
    store = the_store()
    axles, components = store.places()
    narrowed = sum(bool(state.get(key)) for key in EMPTY if key != SHOTS)
    touched = narrowed or state.get(SHOTS)
    with st.popover(f"Filter: {narrowed} set" if narrowed else "Filter"):
        left, middle, right = st.columns(3)
        left.multiselect(
            "Units", store.visits.units(), key="filter-units", placeholder=ALL, persist_state="session"
        )
        units = chosen_filter().units
        visits = {v.id: v for v in store.visits.all() if not units or v.unit in units}
        middle.selectbox(
            "Visit",
            visits,
            index=None,
            format_func=lambda i: _visit(visits[i]),
            key="filter-visit",
            placeholder=ALL,
            persist_state="session",
        )
        right.multiselect(
            "Cues",
            (*CUES, *CHANGES),
            format_func=lambda cue: SIGN_STYLE[cue].label,
            key="filter-cues",
            placeholder=ALL,
            persist_state="session",
        )
        left, middle, right = st.columns(3)
        left.selectbox("Axle", axles, index=None, key="filter-axle", placeholder=ALL, persist_state="session")
        middle.selectbox(
            "Side", SIDES, index=None, key="filter-side", placeholder=ALL, persist_state="session"
        )
        right.selectbox(
            "Component",
            components,
            index=None,
            key="filter-component",
            placeholder=ALL,
            persist_state="session",
        )
        left, middle, right = st.columns(3)
        left.date_input("From", None, key="filter-since", persist_state="session")
        middle.date_input("To", None, key="filter-until", persist_state="session")
        right.multiselect(
            "Quality",
            FITNESSES,
            format_func=FITNESS_LABEL.__getitem__,
            key="filter-fitness",
            placeholder=ALL,
            persist_state="session",
        )
        st.checkbox("Show every shot of a burst", key=SHOTS, persist_state="session")
        st.button("Show all photos again", disabled=not touched, on_click=_clear)
    return chosen_filter()


def chosen_filter() -> Filter:
    """Give the filter as it was last set, on whichever page."""
    said: dict[str, Any] = {key: state.get(key, empty) for key, empty in EMPTY.items()}
    return Filter(
        units=tuple(said["filter-units"]),
        visit=said["filter-visit"],
        axle=said["filter-axle"],
        side=said["filter-side"],
        component=said["filter-component"],
        cues=tuple(said["filter-cues"]),
        since=said["filter-since"],
        until=said["filter-until"],
        fitness=tuple(said["filter-fitness"]),
        every_shot=said[SHOTS],
    )


def _clear() -> None:
    state.update(EMPTY)


def _visit(visit: Visit) -> str:
    return f"{visit.unit}, {day(visit.date)}"
