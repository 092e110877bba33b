"""The worklist: photos in the order in which a person should look at them."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from functools import partial
from html import escape

import streamlit as st

from visual_aid.outputs import exports
from visual_aid.outputs.palette import SIGN_STYLE
from visual_aid.outputs.wording import CAUTION, counted
from visual_aid.pages.filters import ask_filter
from visual_aid.pages.session import ask_signature, holder, signature, the_store
from visual_aid.pages.trouble import telling_trouble
from visual_aid.pages.words import STAGE_LABEL, chance, place, sentence
from visual_aid.records.entries import EVERYTHING, STAGES, Bulk, Filter, Stage, WorklistEntry

PAGE_LENGTH = 20

state = st.session_state


def show() -> None:
    """Show one stage of the worklist, a page at a time."""
    if not the_store().holds_photos():
        st.subheader("No photos yet")
        if st.button("Add photos", type="primary"):
            st.switch_page("add_photos.py")
        return
    chosen = ask_filter()
    counts = the_store().stages(chosen)
    stage: Stage = st.segmented_control(
        "Photos",
        STAGES,
        default=next((s for s in STAGES if s in counts), STAGES[0]),
        format_func=lambda s: f"{STAGE_LABEL[s]}: {counts.get(s, 0)}",
        required=True,
        key="stage",
        label_visibility="collapsed",
    )
    st.caption(CAUTION)
    page = _page(stage, counts.get(stage, 0))
    entries = the_store().worklist(stage, chosen, limit=PAGE_LENGTH, offset=page * PAGE_LENGTH)
    if not entries:
        st.text("No photos here." if chosen == EVERYTHING else "No photos here with this filter.")
    picked = [entry.photo.id for entry in entries if _line(entry)]
    _exports(stage, chosen)
    if picked or state.get("bulk") is not None:
        with st.bottom:  # in sight wherever on the list one is
            _bulk_done()
            if picked:
                _rule_out(picked)


def _page(stage: Stage, count: int) -> int:
    pages = -(-count // PAGE_LENGTH)
    if pages < 2:
        return 0
    return int(st.number_input(f"Page, 1 to {pages}", 1, pages, key=f"page-{stage}")) - 1


def _line(entry: WorklistEntry) -> bool:
    """Show one photo, and tell whether it is picked."""
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
        return entry.stage == "to_decide" and action.checkbox("Pick", key=f"pick-{photo.id}")


def _small(text: str) -> str:
    return f"<div class='small'>{escape(text)}</div>" if text else ""


def reason(entry: WorklistEntry) -> str:
    """Say in one line why a photo stands where it does."""
    top = entry.top
    if top is None:
        problems = [sentence(problem.say) for problem in entry.photo.screening.quality.problems]
        return problems[0] if problems else "Nothing flagged. That proves nothing: check by hand as usual."
    return f"{SIGN_STYLE[top.cue].label}. {chance(top.score)}. {sentence(top.reason)}"


def progress(entry: WorklistEntry) -> str:
    """Say what is left to do on a photo and what came of it."""
    whole = entry.undecided + entry.decided
    parts = []
    if whole:
        parts.append(f"{entry.undecided} of {whole} to decide" if entry.undecided else "All decided")
        if entry.decided:
            parts.append(f"{entry.findings} confirmed" if entry.findings else "none confirmed")
    elif entry.weak:
        parts.append(counted(entry.weak, "weak mark"))
    if entry.like:
        parts.append(f"stands for {counted(entry.like, 'more shot')} like it")
    return ", ".join(parts)


# Many at once


def _rule_out(picked: Sequence[str]) -> None:
    with st.container(horizontal=True, vertical_alignment="bottom"):
        if not signature():
            ask_signature()
        st.button(
            f"Rule out all marks on {counted(len(picked), 'picked photo')}",
            disabled=not signature(),
            on_click=_say_ruled_out,
            args=(picked,),
        )


@telling_trouble()
def _say_ruled_out(picked: Sequence[str]) -> None:
    state.bulk = the_store().rule_out(picked, by=signature(), holder=holder())


def _bulk_done() -> None:
    bulk: Bulk | None = state.get("bulk")
    if bulk is None:
        return
    held = f" Left alone: {bulk.held}, somebody is at work there." if bulk.held else ""
    with st.container(horizontal=True, vertical_alignment="center"):
        marks, photos = counted(bulk.candidates, "mark"), counted(bulk.photos, "photo")
        st.success(f"Ruled out: {marks} on {photos}.{held}")
        st.button("Undo all of it", on_click=_undo_bulk, args=(bulk,))


@telling_trouble()
def _undo_bulk(bulk: Bulk) -> None:
    the_store().undo_bulk(bulk.id, by=signature())
    state.bulk = None


# For other programs


def _exports(stage: Stage, chosen: Filter) -> None:
    store = the_store()
    entries = partial(store.entries, stage, chosen)

    def table(write: Callable[[Iterator[WorklistEntry]], bytes]) -> Callable[[], bytes]:
        return lambda: write(entries())

    def labels() -> bytes:
        return exports.coco_json((e.photo, store.candidates(e.photo.id)) for e in entries())

    files = (
        ("CSV", "worklist.csv", "text/csv", table(exports.worklist_csv)),
        (
            "XLSX",
            "worklist.xlsx",
            "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
            table(exports.worklist_xlsx),
        ),
        ("Parquet", "worklist.parquet", "application/vnd.apache.parquet", table(exports.worklist_parquet)),
        ("COCO JSON", "marks.coco.json", "application/json", labels),
    )
    with st.expander("Take this list elsewhere"), st.container(horizontal=True):
        for label, name, kind, data in files:
            st.download_button(label, data, name, kind, on_click="ignore")


show()
