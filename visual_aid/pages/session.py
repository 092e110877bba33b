"""What every page needs: the store, and who is at work."""

from __future__ import annotations

import functools
import os
import secrets

import streamlit as st

from visual_aid.pages import signin
from visual_aid.pages.people import Person, Role
from visual_aid.pages.words import visit_name
from visual_aid.records import PHOTOS_VARIABLE
from visual_aid.records.entries import StoredCandidate, Visit
from visual_aid.records.store import Store

STORE_VARIABLE = "VISUAL_AID_STORE"
"""Environment variable that names the records: an SQLite file or a database URL."""
DEFAULT_STORE = "visual-aid.sqlite"

SIGNATURE = "signature"
HOLDER = "holder"
VISIT = "visit"


def the_store() -> Store:
    """Give the store that this process works on, opened once."""
    return _opened(os.environ.get(STORE_VARIABLE, DEFAULT_STORE), os.environ.get(PHOTOS_VARIABLE))


@functools.cache
def _opened(target: str, photos: str | None) -> Store:
    return Store.open(target, photos=photos)


def signed_in() -> Person | None:
    """Give who has signed in; None where only this machine reaches the page."""
    door = signin.at_the_door
    return None if door is None else door.who(st.context.cookies.get(signin.COOKIE))


def may(*roles: Role) -> bool:
    """Tell whether whoever is at work has one of these roles; without sign-in everyone may do all."""
    person = signed_in()
    return signin.at_the_door is None or (person is not None and person.role in roles)


def keep_signature() -> None:
    """Keep who is at work from page to page; a session starts with the name of whoever decided last.

    To be called at the start of each run: what a field holds is forgotten once no field shows it.
    """
    if (person := signed_in()) is not None:
        st.session_state[SIGNATURE] = person.name
        return
    name = st.session_state.get(SIGNATURE)
    st.session_state[SIGNATURE] = the_store().last_signature() if name is None else name


def signature() -> str:
    """Give the name under which decisions are recorded; empty until someone has typed one.

    Whoever has signed in is recorded by that name and no other.
    """
    if (person := signed_in()) is not None:
        return person.name
    return str(st.session_state[SIGNATURE]).strip()


def the_visit() -> Visit | None:
    """Let the person choose the visit at hand; it is the last one at first, and kept from page to page.

    None where there is no visit yet.
    """
    visits = {visit.id: visit for visit in the_store().visits.all()}
    if not visits:
        return None
    if st.session_state.get(VISIT) not in visits:
        st.session_state[VISIT] = next(iter(visits))
    chosen = st.selectbox(
        "Visit", visits, format_func=lambda id_: visit_name(visits[id_]), key=VISIT, persist_state="session"
    )
    return visits[chosen]


def finding_at_hand() -> StoredCandidate | None:
    """Give the finding that the address names, None if it names none."""
    try:
        named = the_store().candidate(int(st.query_params.get("finding", "")))
        return named if named.is_finding else None
    except (KeyError, ValueError, OverflowError):
        return None


def holder() -> str:
    """Give the name, of this browser session alone, under which photos are taken to decide on."""
    if HOLDER not in st.session_state:
        st.session_state[HOLDER] = secrets.token_urlsafe(9)
    return str(st.session_state[HOLDER])


def ask_signature() -> None:
    """Ask who is at work, unless they have signed in."""
    st.text_input(
        "Your name or initials",
        key=SIGNATURE,
        max_chars=60,
        placeholder="Needed to record anything",
        disabled=signed_in() is not None,
    )
