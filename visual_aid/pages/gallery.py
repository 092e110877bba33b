"""The gallery: what was really found and what resembles it, in orders that teach."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from html import escape
from typing import TypeVar

import streamlit as st

from visual_aid.evidence.look import VERSION
from visual_aid.gallery.order import by_cue, contrast_pairs, ladder
from visual_aid.model import SIGNS, Box
from visual_aid.outputs.lesson import title
from visual_aid.outputs.overlay import CAUTION
from visual_aid.outputs.palette import SIGN_STYLE
from visual_aid.pages import teaching
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
T = TypeVar("T")


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
        order = st.segmented_control("Order", ORDERS, default=ORDERS[0], required=True, key="order")
    there = [sign for sign in SIGNS if any(e.cue == sign for e in examples)]
    with middle:
        cue = st.selectbox(
            "Cue", [None, *there], format_func=lambda s: "All" if s is None else SIGN_STYLE[s].label
        )
    with right:
        known = sorted({tag for e in examples for tag in e.wording.tags})
        tag = st.selectbox("Tag", [None, *known], format_func=lambda t: t or "All")
    wanted = [e for e in examples if cue in (None, e.cue) and (tag is None or tag in e.wording.tags)]
    st.caption(f"{len(wanted)} of {len(examples)} examples. {CAUTION}")
    if order == ORDERS[1]:
        pairs = contrast_pairs(wanted, _looks())
        if not pairs:
            st.info("No pairs: they need evidence and a look-alike of the same cue.")
        for number, pair in enumerate(_paged(pairs, PAGE_LENGTH // 2)):
            with st.container(border=True):
                for column, example in zip(st.columns(2), pair, strict=True):
                    with column:
                        _card(example, f"pair-{number}")
        return
    ordered = by_cue(wanted) if order == ORDERS[0] else ladder(wanted)
    for start in range(0, len(shown := _paged(ordered, PAGE_LENGTH)), ACROSS):
        for column, example in zip(st.columns(ACROSS), shown[start : start + ACROSS], strict=False):
            with column:
                _card(example, "card")


def _paged(things: Sequence[T], length: int) -> Sequence[T]:
    pages = -(-len(things) // length)
    page = int(st.number_input(f"Page, 1 to {pages}", 1, pages)) if pages > 1 else 1
    return things[(page - 1) * length : page * length]


def _card(example: Example, key: str) -> None:
    grade = f" ({example.wording.grade})" if example.role == "evidence" else ""
    st.html(
        f'<div class="example"><img src="{_picture(example)}" alt="" loading="lazy">'
        f"<b>{escape(title(example))}</b>{grade}"
        f'<div class="small">{escape(example.wording.caption)}</div></div>'
    )
    st.button(
        "Open example",
        key=f"{key}-{example.id}",
        width="stretch",
        on_click=_open,
        args=(example.id,),
    )


def _picture(example: Example) -> str:
    return f"/example/{escape(example.photo)}/{example.id}"


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
        caption = st.text_area("Caption", wording.caption, max_chars=1000)
        hand_check = st.text_area("What the hand check showed", wording.hand_check, max_chars=1000)
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
    if missing and st.button(f"Take in {len(missing)} photos that were not looked at yet"):
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
    for start in range(0, len(found), 6):
        for column, (at, one) in zip(st.columns(6), enumerate(found[start : start + 6], start), strict=False):
            with column:
                address = f"/piece/{escape(one.photo)}/{one.cx:.1f}/{one.cy:.1f}/{one.radius:.1f}"
                st.html(
                    f'<div class="example"><img src="{address}" alt="" loading="lazy">'
                    f'<div class="small">{at + 1}. Distance {one.distance:.0f}</div></div>'
                )
                if st.button("Review", key=f"like-{at}", width="stretch"):
                    st.switch_page("review.py", query_params={"photo": one.photo})


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
