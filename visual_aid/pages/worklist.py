"""The worklist: photos in the order in which a person should look at them."""

from __future__ import annotations

from html import escape

import streamlit as st

from visual_aid.outputs.overlay import CAUTION
from visual_aid.outputs.palette import SIGN_STYLE
from visual_aid.pages.session import the_store
from visual_aid.pages.words import STAGE_LABEL, chance, place, sentence
from visual_aid.records.entries import STAGES, Stage, WorklistEntry

PAGE_LENGTH = 20


def show() -> None:
    """Show one stage of the worklist, a page at a time."""
    counts = the_store().stages()
    if not counts:
        st.subheader("No photos yet")
        if st.button("Add photos", type="primary"):
            st.switch_page("add_photos.py")
        return
    stage: Stage = st.segmented_control(
        "Photos",
        STAGES,
        default=next(s for s in STAGES if s in counts),
        format_func=lambda s: f"{STAGE_LABEL[s]}: {counts.get(s, 0)}",
        required=True,
        key="stage",
        label_visibility="collapsed",
    )
    st.caption(CAUTION)
    page = _page(stage, counts.get(stage, 0))
    for entry in the_store().worklist(stage, limit=PAGE_LENGTH, offset=page * PAGE_LENGTH):
        _line(entry)


def _page(stage: Stage, count: int) -> int:
    pages = -(-count // PAGE_LENGTH)
    if pages < 2:
        return 0
    return int(st.number_input(f"Page, 1 to {pages}", 1, pages, key=f"page-{stage}")) - 1


def _line(entry: WorklistEntry) -> None:
    photo = entry.photo
    with st.container(border=True):
        about, action = st.columns([4, 1], vertical_alignment="center")
        about.html(
            f'<div class="line"><img src="/thumb/{escape(photo.id)}" alt="" loading="lazy"><div>'
            f"<b>{escape(photo.name)}</b>{_small(place(photo))}<div>{escape(reason(entry))}</div>"
            f"{_small(progress(entry))}</div></div>"
        )
        if action.button("Look", key=f"look-{photo.id}", width="stretch", type="primary"):
            st.switch_page("review.py", query_params={"photo": photo.id})


def _small(text: str) -> str:
    return f"<div class='small'>{escape(text)}</div>" if text else ""


def reason(entry: WorklistEntry) -> str:
    """Say in one line why a photo stands where it does."""
    screening = entry.photo.screening
    if not screening.candidates:
        problems = [sentence(problem.say) for problem in screening.quality.problems]
        return problems[0] if problems else "Nothing flagged. That proves nothing: check by hand as usual."
    top = max(screening.candidates, key=lambda c: c.score)
    return f"{SIGN_STYLE[top.cue].label}. {chance(top.score)}. {sentence(top.reason)}"


def progress(entry: WorklistEntry) -> str:
    """Say what is left to do on a photo and what came of it."""
    whole = entry.undecided + entry.decided
    if not whole:
        return f"{entry.weak} weak {'mark' if entry.weak == 1 else 'marks'}" if entry.weak else ""
    left = f"{entry.undecided} of {whole} to decide" if entry.undecided else "All decided"
    found = f"{entry.findings} confirmed" if entry.findings else "none confirmed"
    return f"{left}, {found}" if entry.decided else left


show()
