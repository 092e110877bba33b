"""What every page needs: the store, and who is at work."""

from __future__ import annotations

import functools
import os

import streamlit as st

from visual_aid.records import PHOTOS_VARIABLE
from visual_aid.records.store import Store

STORE_VARIABLE = "VISUAL_AID_STORE"
"""Environment variable that names the records: an SQLite file or a database URL."""
DEFAULT_STORE = "visual-aid.sqlite"

SIGNATURE = "signature"


def the_store() -> Store:
    """Give the store that this process works on, opened once."""
    return _opened(os.environ.get(STORE_VARIABLE, DEFAULT_STORE), os.environ.get(PHOTOS_VARIABLE))


@functools.cache
def _opened(target: str, photos: str | None) -> Store:
    return Store.open(target, photos=photos)


def keep_signature() -> None:
    """Keep who is at work from page to page; a session starts with the name of whoever decided last.

    To be called at the start of each run: what a field holds is forgotten once no field shows it.
    """
    name = st.session_state.get(SIGNATURE)
    st.session_state[SIGNATURE] = the_store().last_signature() if name is None else name


def signature() -> str:
    """Give the name under which decisions are recorded; empty until someone has typed one."""
    return str(st.session_state[SIGNATURE]).strip()


def ask_signature() -> None:
    """Ask who is at work."""
    st.text_input("Your name or initials", key=SIGNATURE, max_chars=60, placeholder="Needed to decide")
