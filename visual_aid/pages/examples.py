"""Examples of the gallery and fasteners that look alike, as cards, for every page that shows many of them."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape
from typing import TypeVar

import streamlit as st

from visual_aid.gallery.alike import Alike
from visual_aid.model import SIGNS, Sign
from visual_aid.outputs.lesson import title
from visual_aid.outputs.palette import SIGN_STYLE
from visual_aid.records.teaching import Example

ALL = "All"
THREE_ABREAST, TWO_ABREAST = 104, 164
"""Widths of a card in CSS pixels: so many stand side by side on a phone."""

T = TypeVar("T")


def ask_cue(examples: Sequence[Example], key: str) -> Sign | None:
    """Ask which of the examples' cues to show; None for all. What is set is kept from page to page."""
    there = [sign for sign in SIGNS if any(e.cue == sign for e in examples)]
    return st.selectbox(
        "Cue",
        there,
        index=None,
        format_func=lambda sign: SIGN_STYLE[sign].label,
        placeholder=ALL,
        key=key,
        persist_state="session",
    )


def paged(things: Sequence[T], length: int, key: str) -> Sequence[T]:
    """Give a page of things, and ask which where there are several."""
    pages = -(-len(things) // length)
    if pages < 2:
        return things
    page = int(
        st.number_input(f"Page, 1 to {pages}", 1, pages, key=f"{key}-{pages}", persist_state="session")
    )
    return things[(page - 1) * length : page * length]


def show_example(example: Example) -> None:
    """Show an example's close-up and what is said of it."""
    grade = f" ({example.wording.grade})" if example.role == "evidence" else ""
    st.html(
        f'<div class="example"><img src="{picture(example)}" alt="" loading="lazy">'
        f"<b>{escape(title(example))}</b>{grade}"
        f'<div class="small">{escape(example.wording.caption)}</div></div>'
    )


def picture(example: Example) -> str:
    """Give the address of an example's close-up."""
    return f"/example/{escape(example.photo)}/{example.id}"


def show_alike(found: Sequence[Alike], key: str, width: int) -> str | None:
    """Show fasteners that look like one, the likest first; give the photo that is to be looked at."""
    wanted = None
    with st.container(horizontal=True, gap="small"):
        for at, one in enumerate(found):
            with st.container(width=width, gap="xxsmall"):
                address = f"/piece/{escape(one.photo)}/{one.cx:.1f}/{one.cy:.1f}/{one.radius:.1f}"
                st.html(f'<img class="card" src="{address}" alt="" loading="lazy">')
                if st.button("Look", key=f"{key}-{at}", width="stretch"):
                    wanted = one.photo
    return wanted
