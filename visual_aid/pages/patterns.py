"""Where findings recur: units, places and cues, and which of the units are overdue for their torque check."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Callable, Sequence

import pandas as pd
import streamlit as st

from visual_aid.followup.intervals import Due, due_list
from visual_aid.outputs.palette import SIGN_STYLE
from visual_aid.outputs.visit_report import log_of
from visual_aid.outputs.wording import CAUTION
from visual_aid.pages.session import the_store
from visual_aid.pages.words import where
from visual_aid.records.entries import Pattern

TORQUE_CHECKS = ("yearly_retorque", "break_in_retorque")


def show() -> None:
    """Show what recurs, most often first."""
    patterns = the_store().patterns()
    if not patterns:
        st.subheader("No findings of a unit yet", anchor=False)
        st.text(
            "Patterns are counted from confirmed marks on photos whose unit is known. Photos "
            "of a backlog have a unit once they are added again, under Add photos, with the unit number."
        )
        return
    st.caption(CAUTION)
    for title, name in (("Units", _unit), ("Places", _place), ("What was found", _found)):
        _counts(title, patterns, name)
    _overdue(patterns)
    st.subheader("All of it", anchor=False)
    days = st.column_config.DateColumn(format="D MMM YYYY")
    st.dataframe(_table(patterns), hide_index=True, width="stretch", column_config={"Last": days})


def _unit(pattern: Pattern) -> str:
    return f"Unit {pattern.unit}"


def _place(pattern: Pattern) -> str:
    if pattern.axle is None or pattern.side is None or pattern.component is None:
        return "Place not said"
    return where((pattern.axle, pattern.side, pattern.component))


def _found(pattern: Pattern) -> str:
    return SIGN_STYLE[pattern.sign].label


def _counts(title: str, patterns: Sequence[Pattern], name: Callable[[Pattern], str]) -> None:
    counted: Counter[str] = Counter()
    visits: Counter[str] = Counter()
    for pattern in patterns:
        counted[name(pattern)] += pattern.findings
        visits[name(pattern)] = max(visits[name(pattern)], pattern.visits)
    table = pd.DataFrame(
        [(label, number, visits[label]) for label, number in counted.most_common()],
        columns=[title, "Findings", "Visits, at least"],
    )
    st.subheader(title, anchor=False)
    most = int(table["Findings"].max())
    bars = st.column_config.ProgressColumn(format="%d", min_value=0, max_value=most, color="#0b4f6c")
    st.dataframe(table, hide_index=True, width="stretch", column_config={"Findings": bars})


def _overdue(patterns: Sequence[Pattern]) -> None:
    found: Counter[str] = Counter()
    for pattern in patterns:
        found[pattern.unit] += pattern.findings
    st.subheader("Torque check overdue", anchor=False)
    dues = due_list([log_of(the_store(), unit) for unit in found], dt.date.today())
    overdue = [due for due in dues if due.duty in TORQUE_CHECKS and (due.overdue or due.since is None)]
    if not overdue:
        st.text("None of the units with findings.")
        return
    overdue.sort(key=lambda due: -found[due.unit])
    st.dataframe(_due_table(overdue, found), hide_index=True, width="stretch")


def _due_table(dues: Sequence[Due], found: Counter[str]) -> pd.DataFrame:
    rows = [(due.unit, found[due.unit], due.title, due.say) for due in dues]
    return pd.DataFrame(rows, columns=["Unit", "Findings", "What is due", "How it stands"])


def _table(patterns: Sequence[Pattern]) -> pd.DataFrame:
    rows = [(p.unit, _place(p), _found(p), p.findings, p.visits, p.last) for p in patterns]
    return pd.DataFrame(rows, columns=["Unit", "Place", "What", "Findings", "Visits", "Last"])


show()
