"""Photos come in: several uploads at once, or a folder on this machine."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path

import streamlit as st

from visual_aid.backlog import SUFFIXES, photo_files
from visual_aid.pages.intake import Taken, take_file, take_upload
from visual_aid.pages.session import ask_signature, signature, the_store
from visual_aid.records.entries import ODOMETER_UNITS, SIDES, OdometerUnit, Position, Visit

state = st.session_state


def show() -> None:
    """Show the two ways in, and what became of the last photos."""
    try:
        visit, position = _belongs_to()
    except ValueError as error:
        st.error(f"{str(error).capitalize()}.")
        return
    uploads = st.file_uploader(
        "Photos from this device",
        type=[suffix.removeprefix(".") for suffix in sorted(SUFFIXES)],
        accept_multiple_files=True,
        key=f"uploads-{state.get('batch', 0)}",
    )
    if uploads and st.button(f"Screen {_photos(len(uploads))}", type="primary"):
        _take([partial(take_upload, the_store(), u.getvalue(), u.name, visit, position) for u in uploads])
        state.batch = state.get("batch", 0) + 1
        st.rerun()
    folder = st.text_input(
        "Or a folder on this machine", key="folder", placeholder="Path, with its subfolders"
    )
    if folder and st.button("Screen the folder"):
        path = Path(folder).expanduser()
        files = photo_files([path]) if path.is_dir() else []
        if not files:
            st.error(f"No photos in {folder}: check the path.")
        else:
            _take([partial(take_file, the_store(), file, visit, position) for file in files])
            st.rerun()
    _results(state.get("taken", []))


def _belongs_to() -> tuple[Visit | None, Position | None]:
    with st.expander("Which unit? (optional)"):
        left, right = st.columns(2)
        unit = left.text_input("Unit number", key="unit", max_chars=60).strip()
        with right:
            ask_signature()
        left, middle, right = st.columns(3)
        date = left.date_input("Date of the visit", "today")
        odometer = middle.number_input("Odometer", min_value=0.0, value=None, step=1.0, format="%.0f")
        odometer_unit: OdometerUnit = right.selectbox("Odometer in", ODOMETER_UNITS)
        left, middle, right = st.columns(3)
        axle = left.number_input("Axle, 1 at the front", 1, 20, value=None)
        side = middle.selectbox("Side", SIDES)
        component = right.text_input("Component", max_chars=100, placeholder="wheel end, spring seat, ...")
    if not unit:
        return None, None
    visit = the_store().visits.begin(
        unit, date, inspector=signature(), odometer=odometer, odometer_unit=odometer_unit
    )
    if axle is None and not component:
        return visit, None
    return visit, the_store().visits.position(unit, int(axle or 0), side, component)


def _take(takes: Sequence[Callable[[], Taken]]) -> None:
    """Work through photos one by one; what is done is kept whatever happens next."""
    state.taken = []
    bar = st.progress(0.0, "Screening. Stay on this page; photos that are done are kept.")
    for number, take in enumerate(takes, 1):
        state.taken = [*state.taken, take()]
        bar.progress(number / len(takes), f"{number} of {len(takes)} done. Stay on this page.")


def _results(taken: Sequence[Taken]) -> None:
    if not taken:
        return
    kept = sum(one.kept for one in taken)
    st.subheader(f"{_photos(kept)} in the records", anchor=False)
    for one in taken:
        if not one.kept:
            st.error(f"Refused: {one.say}")
    if kept and st.button("Worklist", type="primary"):
        st.switch_page("worklist.py")
    for one in taken:
        if one.kept:
            st.text(one.say)


def _photos(count: int) -> str:
    return f"{count} photo" if count == 1 else f"{count} photos"


show()
