"""What kept something from being recorded is told, for every form of every page alike."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager

import streamlit as st

from visual_aid.pages.words import plain, sentence
from visual_aid.records.entries import OvertakenError

_TROUBLES = (OSError, OvertakenError)


@contextmanager
def telling_trouble() -> Iterator[None]:
    """Have the page tell why nothing was recorded: somebody was first, or the disk is full.

    Everything that a page calls back and that writes is decorated with it, since Streamlit shows nothing
    else of a page whose callback failed; what was typed stays.
    """
    try:
        yield
    except _TROUBLES as error:
        st.session_state.trouble = say(error)


def run_telling_trouble(run: Callable[[], None]) -> None:
    """Run a page; where it could not record something, run it anew with the reason above it."""
    told = show_trouble()
    try:
        run()
    except _TROUBLES as error:
        st.session_state.trouble = say(error)
        if not told:
            st.rerun()  # else what comes after the button would be gone, with what was typed there
        show_trouble()


def show_trouble() -> bool:
    """Tell once what went wrong with the last thing that was asked for; give whether there was something."""
    if "trouble" not in st.session_state:
        return False
    trouble = plain(st.session_state.pop("trouble"))
    st.error(trouble)
    st.toast(trouble, icon=":material/error:", duration="long")  # the top of the page may be out of sight
    return True


def say(error: Exception) -> str:
    """Say in a sentence why something was not recorded."""
    return sentence((error.strerror if isinstance(error, OSError) else None) or str(error))
