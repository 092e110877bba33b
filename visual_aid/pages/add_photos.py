"""Photos come in: several uploads at once, or a folder on this machine."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from functools import partial
from itertools import islice
from pathlib import Path

import streamlit as st
from streamlit.runtime.uploaded_file_manager import UploadedFile

from visual_aid.backlog.sources import SUFFIXES, photo_files
from visual_aid.outputs.wording import counted
from visual_aid.pages.intake import Taken, take_file, take_upload
from visual_aid.pages.session import VISIT, ask_signature, may, signature, the_store
from visual_aid.pages.trouble import telling_trouble
from visual_aid.pages.uploads import MOST, let_go
from visual_aid.pages.words import plain
from visual_aid.records.entries import ODOMETER_UNITS, OdometerUnit, Visit

GUIDE = """
<ul class="guide">
<li><b>Two shots of each place:</b> one wide, so that the place is known again, one close, so that each nut
is at least a twentieth of the photo's width.</li>
<li><b>Both sides:</b> left and right of each axle, from the front down the left, and back up the right.</li>
<li><b>Distance:</b> wide from 1.5 to 2 m (5 to 6 ft), close from 0.3 to 0.6 m (1 to 2 ft). Step closer; do
not zoom.</li>
<li><b>Angle:</b> straight at the nuts, 30&deg; off at most, the phone upright and level. Stripes and gaps do
not show from the side.</li>
<li><b>Light:</b> lamp or sun from the side, not from behind you and not into the lens. In shade use a lamp
rather than the flash.</li>
<li><b>Still and sharp:</b> tap the nut to focus, elbows in, wipe the lens. Do not wipe the nut: the dust is
the evidence.</li>
<li><b>Stay clear:</b> wheels chocked, engine off. Nobody under a frame that only air holds up.</li>
</ul>
"""
"""How to take the photos: what the engine's checks of quality and its finder ask for, in a walker's words.
Distances and angles are common practice, no source; the size of a nut leaves out those under 25 pixels in
radius at the engine's working scale, of which it misses many."""

TROUBLES_SHOWN = 100

state = st.session_state


def show() -> None:
    """Show the two ways in, and what became of the last photos."""
    visit = _visit()
    with st.expander("How to take the photos"):
        st.html(GUIDE)
    ready = visit is None or bool(signature())
    uploads = st.file_uploader(
        "Photos from this device",
        type=[suffix.removeprefix(".") for suffix in sorted(SUFFIXES)],
        accept_multiple_files=True,
        key=f"uploads-{state.get('batch', 0)}",
    )
    if len(uploads) >= MOST:
        st.warning(
            f"{MOST} photos are the most at once. Screen these, then add those that are marked as failed. "
            "A photo that is in the records already is passed over."
        )
    if uploads and visit is None:
        st.warning(
            "No unit number: the photos will belong to no visit, and to no report. "
            "To put them into a visit later, add them again with the number."
        )
    if uploads and st.button(f"Screen {counted(len(uploads), 'photo')}", type="primary", disabled=not ready):
        begun = _begun(visit)
        _take([partial(_take_upload, upload, begun) for upload in uploads])
        state.batch = state.get("batch", 0) + 1
        st.rerun()
    folder = ""
    if may("lead"):  # whoever may name any folder reads any photo of the machine that serves
        folder = st.text_input(
            "Or a folder on this machine", key="folder", placeholder="Path, with its subfolders"
        )
    if folder:
        st.caption("Photos are not copied: keep the folder where it is.")
    if folder and st.button("Screen the folder", disabled=not ready):
        path = Path(folder).expanduser()
        left_out: list[str] = []
        files = photo_files([path], left_out.append) if os.path.isdir(path) else []
        if not files:
            for line in left_out:
                st.error(plain(line))
            st.error(f"No photos in {plain(folder)}: check the path.")
        else:
            begun = _begun(visit)
            refused = [partial(Taken, folder, False, line) for line in left_out]
            _take([*refused, *(partial(take_file, the_store(), file, begun) for file in files)])
            st.rerun()
    _results(state.get("taken", []))
    if may("lead"):  # who may know the paths of the machine
        _backlog_troubles()


def _visit() -> Callable[[], Visit] | None:
    """Ask which visit the photos belong to; None for none, else what finds or begins it."""
    left, right = st.columns(2)
    unit = left.text_input(
        "Unit number", key="unit", max_chars=60, placeholder="Empty for photos of no unit"
    ).strip()
    with right:
        ask_signature()
    left, middle, right = st.columns([3, 3, 2], vertical_alignment="bottom")
    date = left.date_input("Date of the visit", "today", max_value="today")
    odometer = middle.number_input("Odometer", min_value=0.0, value=None, step=1.0, format="%.0f")
    odometer_unit: OdometerUnit = right.segmented_control(
        "Odometer in", ODOMETER_UNITS, default=ODOMETER_UNITS[0], required=True
    )
    if not unit:
        return None
    if not signature():
        st.error("A visit needs the name of the inspector.")
    return lambda: the_store().visits.begin(
        unit, date, inspector=signature(), odometer=odometer, odometer_unit=odometer_unit
    )


def _begun(visit: Callable[[], Visit] | None) -> Visit | None:
    if visit is None:
        return None
    begun = visit()
    state[VISIT] = begun.id
    return begun


def _take_upload(upload: UploadedFile, visit: Visit | None) -> Taken:
    taken = take_upload(the_store(), upload.getvalue(), upload.name, visit)
    let_go(upload.file_id)
    return taken


def _take(takes: Sequence[Callable[[], Taken]]) -> None:
    """Work through photos one by one; what is done is kept whatever happens next."""
    state.taken = []
    bar = st.progress(0.0, "Screening. Stay on this page; photos that are done are kept.")
    for number, take in enumerate(takes, 1):
        state.taken = [*state.taken, take()]
        bar.progress(number / len(takes), f"{number} of {len(takes)} done. Stay on this page.")
    with telling_trouble():
        the_store().backlog.group_bursts()


def _results(taken: Sequence[Taken]) -> None:
    if not taken:
        return
    kept = sum(one.kept for one in taken)
    st.subheader(f"{counted(kept, 'photo')} in the records", anchor=False)
    for one in taken:
        if not one.kept:
            st.error(f"Refused: {plain(one.say)}")
    for one in taken:
        if one.retake:
            st.warning(f"Take again while you are there. {plain(one.say)}")
    if kept:
        with st.container(key="onwards", horizontal=True):
            if state.get(VISIT) is not None and st.button("Visit", type="primary", width="stretch"):
                st.switch_page("visit.py")
            if st.button("Worklist", width="stretch"):
                st.switch_page("worklist.py")
    for one in taken:
        if one.kept and not one.retake:
            st.text(one.say)


def _backlog_troubles() -> None:
    """Show what a backlog, which may have run overnight, could not screen."""
    troubles = the_store().backlog.troubles()
    if not troubles:
        return
    with st.expander(f"{counted(len(troubles), 'photo')} of the backlog could not be screened"):
        for url, why in islice(troubles.items(), TROUBLES_SHOWN):
            st.text(f"{url}: {why}")
        if len(troubles) > TROUBLES_SHOWN:
            st.text(f"and {len(troubles) - TROUBLES_SHOWN} more")


show()
