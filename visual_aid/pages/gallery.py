"""The gallery: what was really found and what resembles it, in orders that teach."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence

import streamlit as st

from visual_aid.evidence.look import VERSION
from visual_aid.gallery.order import by_cue, contrast_pairs, ladder
from visual_aid.model import Box
from visual_aid.outputs.lesson import title
from visual_aid.outputs.wording import CAUTION, counted
from visual_aid.pages import teaching
from visual_aid.pages.examples import ALL, TWO_ABREAST, ask_cue, paged, show_alike, show_example
from visual_aid.pages.session import ask_signature, signature, the_store
from visual_aid.pages.trouble import telling_trouble
from visual_aid.pages.viewer import BLUR, show_viewer
from visual_aid.pages.words import plain
from visual_aid.photo import PhotoError
from visual_aid.records.gallery import Looks
from visual_aid.records.teaching import GRADES, Example, Wording

PAGE_LENGTH = 24
ACROSS = 4
ORDERS = ("By cue", "Beside its look-alike", "Faint to obvious")

state = st.session_state


def show() -> None:
    """Show the example that the address names, else all of them."""
    examples = the_store().gallery.examples()
    named = next((e for e in examples if str(e.id) == st.query_params.get("example")), None)
    if named is not None:
        _one(named)
    elif examples:
        _all(examples)
    else:
        st.subheader("No examples yet", anchor=False)
        st.text("Decide on photos, then keep findings and look-alikes for teaching from the review page.")
        if st.button("Review", type="primary"):
            st.switch_page("review.py")


def _looks() -> Looks:
    return the_store().gallery.looks(VERSION)


# All examples


def _all(examples: Sequence[Example]) -> None:
    left, middle, right = st.columns([3, 2, 2])
    with left:
        order = st.segmented_control(
            "Order", ORDERS, default=ORDERS[0], required=True, key="order", persist_state="session"
        )
    with middle:
        cue = ask_cue(examples, "gallery-cue")
    with right:
        known = sorted({tag for e in examples for tag in e.wording.tags})
        tag = st.selectbox(
            "Tag",
            known,
            index=None,
            placeholder=ALL,
            key="gallery-tag",
            persist_state="session",
        )
    wanted = [e for e in examples if cue in (None, e.cue) and (tag is None or tag in e.wording.tags)]
    if order == ORDERS[1]:
        _pairs(wanted)
        return
    ordered = by_cue(wanted) if order == ORDERS[0] else ladder(wanted)
    st.caption(f"{len(ordered)} of {counted(len(examples), 'example')}. {CAUTION}")
    shown = paged(ordered, PAGE_LENGTH, "gallery-page")
    for start in range(0, len(shown), ACROSS):
        for column, example in zip(st.columns(ACROSS), shown[start : start + ACROSS], strict=False):
            with column:
                _card(example, "card")


def _pairs(wanted: Sequence[Example]) -> None:
    pairs = contrast_pairs(wanted, _looks())
    st.caption(f"{counted(len(pairs), 'pair')} of evidence and a look-alike of its cue. {CAUTION}")
    if not pairs:
        st.info("No pairs: they need evidence and a look-alike of the same cue.")
    for number, pair in enumerate(paged(pairs, PAGE_LENGTH // 2, "pairs-page")):
        with st.container(border=True):
            for column, example in zip(st.columns(2), pair, strict=True):
                with column:
                    _card(example, f"pair-{number}")


def _card(example: Example, key: str) -> None:
    show_example(example)
    st.button(
        "Open example",
        key=f"{key}-{example.id}",
        width="stretch",
        on_click=_open,
        args=(example.id,),
    )


def _open(example: int) -> None:
    st.query_params["example"] = str(example)


def _back() -> None:
    st.query_params.pop("example", None)


# One example


def _one(example: Example) -> None:
    st.button("All examples", on_click=_back)
    left, right = st.columns([9, 5], gap="medium")
    with left:
        _photo(example)
    with right:
        st.subheader(plain(title(example)), anchor=False)
        if not signature():
            ask_signature()
        if example.role == "unsettled":
            st.warning("Nobody has settled what this is. It stays out of quizzes until someone does.")
        _words(example)
        if st.button("Review this photo", width="stretch"):
            st.switch_page("review.py", query_params={"photo": example.photo})
    if example.candidate is not None:
        _more(example)


def _photo(example: Example) -> None:
    photo = the_store().photo(example.photo)
    boxes = the_store().gallery.blurred(photo.id)
    candidates = [c for c in the_store().candidates(photo.id) if c.id == example.number]
    show_viewer(
        photo,
        candidates,
        chosen=example.number,
        drawn=None,
        on_picked=lambda _: None,
        on_drawn=lambda drawn: _blur(photo.id, (*boxes, drawn[0])),
        blurred=boxes,
        drawing_is=BLUR,
    )
    st.caption(
        "Blurred boxes, place and serial numbers stay here: lessons, quizzes and files never show them. "
        "The original photo is not touched."
    )
    for number in range(len(boxes)):
        st.button(
            f"Take blurred box {number + 1} off",
            key=f"unblur-{number}",
            disabled=not signature(),
            on_click=_blur,
            args=(photo.id, teaching.without_box(boxes, number)),
        )


@telling_trouble()
def _blur(photo: str, boxes: Sequence[Box]) -> None:
    try:
        the_store().gallery.blur(photo, boxes, by=signature())
    except ValueError as error:
        state.trouble = f"Not kept: {error}."


def _words(example: Example) -> None:
    wording = example.wording
    with st.form(f"words-{example.id}"):
        grade = wording.grade
        if example.candidate is not None:
            grade = st.segmented_control("How plain is it?", GRADES, default=wording.grade, required=True)
        caption = st.text_area("Caption", wording.caption, max_chars=1000, height="content")
        hand_check = st.text_area(
            "What the hand check showed", wording.hand_check, max_chars=1000, height="content"
        )
        tags = st.text_input("Tags, with commas between them", ", ".join(wording.tags), max_chars=200)
        saved = st.form_submit_button("Save", type="primary", width="stretch", disabled=not signature())
    if saved:
        said = Wording(grade, caption.strip(), hand_check.strip(), teaching.tags(tags))
        the_store().gallery.say(example.id, said, by=signature())
        st.toast("Saved.")
    st.button(
        "Take out of the gallery",
        width="stretch",
        disabled=not signature(),
        on_click=_take_out,
        args=(example,),
    )


@telling_trouble()
def _take_out(example: Example) -> None:
    the_store().gallery.say(example.id, dataclasses.replace(example.wording, kept=False), by=signature())
    _back()


# More like this


def _more(example: Example) -> None:
    st.subheader("More like this", anchor=False)
    missing = the_store().gallery.without_looks(VERSION)
    if missing and st.button(f"Look for it on {counted(len(missing), 'more photo')}"):
        _take_in(missing)
        st.rerun()
    found = teaching.like(the_store(), example, _looks())
    if not found:
        st.text(
            "No fastener is known here to look for: add one on the review page."
            if found is None
            else "There is no other photo with a fastener."
        )
        return
    st.text("The likest first.")
    if (photo := show_alike(found, "like", TWO_ABREAST)) is not None:
        st.switch_page("review.py", query_params={"photo": photo})


def _take_in(photos: Sequence[str]) -> None:
    bar = st.progress(0.0, "Looking at photos. What is done is kept.")
    for number, photo in enumerate(photos, 1):
        try:
            with telling_trouble():
                teaching.look_at(the_store(), photo)
        except PhotoError as error:
            state.trouble = str(error)
        bar.progress(number / len(photos), f"{number} of {len(photos)} done.")


show()
