"""One candidate and the buttons that decide on it, for every page on which people decide."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

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

HEARD = 4
"""How many earlier questions are still heard: as many as can be asked before a browser has drawn one anew;
common practice, no source."""
_ASKED = "asked"


@dataclass(frozen=True, slots=True)
class Question:
    """What a person was asked.

    Attributes
    ----------
    candidate : int
        Store id of what was shown.
    seen : int
        Id of the decision that stood, 0 for none.
    on_said : callable
        Called with the outcome and ``seen``.
    """

    candidate: int
    seen: int
    on_said: Callable[[Outcome, int], None]


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
) -> Question:
    """Show a candidate and ask what it is; a finding leads on to its hand check.

    Parameters
    ----------
    at, count : int
        Its number among those shown, and how many there are.
    on_said : callable
        Called with the outcome and the id of the decision that stood when it was asked, 0 for none.

    Returns
    -------
    Question
        What was asked, for ``hear_late_presses``.
    """
    body = chosen.candidate
    asked = Question(chosen.id, 0 if chosen.decision is None else chosen.decision.id, on_said)
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
                key=_button(asked, outcome),
                shortcut=key,
                type="primary" if outcome == "confirmed" else "secondary",
                width="stretch",
                disabled=not signature(),
                on_click=_hear,
                args=(asked, outcome),
            )
    if chosen.is_finding and st.button("Hand check", shortcut="H", type="primary", width="stretch"):
        st.switch_page("hand_checks.py", query_params={"finding": str(chosen.id)})
    return asked


def hear_late_presses(asked: Question | None) -> None:
    """Hear presses made before the browser had drawn the page anew: each is for what it was pressed on.

    To be called once in each run of a page that asks for decisions. A button that all candidates share
    would take a late press for the candidate shown next, and Streamlit drops a press on a button that is
    no longer there: so each question has buttons of its own, and those of the last ones stay, unseen.

    Parameters
    ----------
    asked : Question or None
        What is asked now.
    """
    earlier: tuple[Question, ...] = st.session_state.get(_ASKED, ())
    if asked is not None:
        earlier = tuple(q for q in earlier if _name(q) != _name(asked))
    with st.container(key="late"):
        for question in earlier[-HEARD:]:
            for outcome, _, _ in BUTTONS:
                name = _button(question, outcome)
                st.button(name, key=name, on_click=_hear, args=(question, outcome))
    st.session_state[_ASKED] = (*earlier, asked)[-HEARD - 1 :] if asked is not None else earlier


@telling_trouble()
def _hear(asked: Question, outcome: Outcome) -> None:
    try:
        stands = the_store().candidate(asked.candidate).decision
    except KeyError:
        raise OvertakenError("That mark was taken back, and nothing was recorded now.") from None
    pressed_twice = (
        stands is not None
        and stands.id != asked.seen
        and (stands.outcome, stands.by) == (outcome, signature())
    )
    if not pressed_twice:
        asked.on_said(outcome, asked.seen)


def _name(asked: Question) -> tuple[int, int]:
    return asked.candidate, asked.seen


def _button(asked: Question, outcome: Outcome) -> str:
    return f"{outcome}-{asked.candidate}-{asked.seen}"
