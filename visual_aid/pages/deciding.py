"""One candidate and the buttons that decide on it, for every page on which people decide."""

from __future__ import annotations

from collections.abc import Callable

import streamlit as st

from visual_aid.outputs.palette import SIGN_STYLE
from visual_aid.pages.glance import guard_presses
from visual_aid.pages.session import holder, signature, the_store
from visual_aid.pages.trouble import say, telling_trouble
from visual_aid.pages.words import OUTCOME_SIGN, chance, plain, said, sentence
from visual_aid.records.entries import Lease, Outcome, OvertakenError, StoredCandidate

BUTTONS: tuple[tuple[Outcome, str, str], ...] = (
    ("confirmed", "Confirm", "Y"),
    ("ruled_out", "Rule out", "N"),
    ("cannot_tell", "Cannot tell", "T"),
)


def take(photo: str) -> Lease | None:
    """Have a photo kept for whoever is at work; give who has it already, None where nobody does.

    A photo that cannot be kept for anybody is shown all the same, with the reason.
    """
    try:
        return the_store().leases.take(photo, holder=holder(), by=signature())
    except OSError as error:
        st.error(plain(say(error)))
        return None


def ask_decision(
    chosen: StoredCandidate, at: int, count: int, on_said: Callable[[Outcome, int], None]
) -> None:
    """Show a candidate and ask what it is; a finding leads on to its hand check.

    Each question has buttons of its own. One that all candidates share would take a press made before the
    browser had drawn the page anew for the candidate shown next; and what a button calls back is called
    even if the page no longer has it, so that a late press counts for what it was pressed on.

    Parameters
    ----------
    at, count : int
        Its number among those shown, and how many there are.
    on_said : callable
        Called with the outcome and the id of the decision that stood when it was asked, 0 for none.
    """
    body = chosen.candidate
    seen = 0 if chosen.decision is None else chosen.decision.id
    guard_presses([key for _, _, key in BUTTONS])
    st.subheader(f"{at} of {count}: {SIGN_STYLE[body.cue].label}", anchor=False)
    st.text("Marked by a person" if chosen.source == "person" else chance(body.score))
    if body.reason:
        st.text(sentence(body.reason))
    if not chosen.current:
        st.text("An earlier screening flagged this, the last one does not.")
    st.text(f"{OUTCOME_SIGN[chosen.outcome]} {said(chosen.decision)}".strip())
    with st.container(key="decide", horizontal=True):
        for outcome, label, key in BUTTONS:
            st.button(
                label,
                key=f"{outcome}-{chosen.id}-{seen}",
                shortcut=key,
                type="primary" if outcome == "confirmed" else "secondary",
                width="stretch",
                disabled=not signature(),
                on_click=_hear,
                args=(chosen.id, seen, outcome, on_said),
            )
    if chosen.is_finding and st.button("Hand check", shortcut="H", type="primary", width="stretch"):
        st.switch_page("hand_checks.py", query_params={"finding": str(chosen.id)})


@telling_trouble()
def _hear(candidate: int, seen: int, outcome: Outcome, on_said: Callable[[Outcome, int], None]) -> None:
    try:
        stands = the_store().candidate(candidate).decision
    except KeyError:
        raise OvertakenError("That mark was taken back, and nothing was recorded now.") from None
    pressed_twice = (
        stands is not None and stands.id != seen and (stands.outcome, stands.by) == (outcome, signature())
    )
    if not pressed_twice:
        on_said(outcome, seen)
