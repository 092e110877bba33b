"""One photo with what is flagged on it; a person decides."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from functools import partial
from html import escape

import streamlit as st

from visual_aid.model import Fastener
from visual_aid.outputs.events import OUTCOME_LABEL
from visual_aid.outputs.palette import SIGN_STYLE
from visual_aid.outputs.wording import CAUTION, counted
from visual_aid.pages import actions, marking, teaching
from visual_aid.pages.deciding import ask_decision, take
from visual_aid.pages.examples import THREE_ABREAST, show_alike
from visual_aid.pages.filters import chosen_filter
from visual_aid.pages.intake import add_others_like, point_out_fastener
from visual_aid.pages.people import TEACHERS
from visual_aid.pages.session import ask_signature, holder, may, signature, the_store
from visual_aid.pages.trouble import telling_trouble
from visual_aid.pages.viewer import show_viewer
from visual_aid.pages.words import measure, place, plain, sentence
from visual_aid.photo import PhotoError
from visual_aid.records.entries import EVERYTHING, Outcome, StoredCandidate, StoredPhoto
from visual_aid.records.teaching import Example

KEYS = (
    ("Y, N, T", "confirm, rule out, cannot tell"),
    ("Left, Right", "the mark before, the next one"),
    ("Z", "undo"),
    ("H", "hand check of a confirmed mark"),
    ("G", "keep for teaching"),
    ("Page Down", "next photo"),
    ("+, -, 0, C", "closer, further, the whole photo, close to the mark"),
    ("L, K", "lines and circles on or off"),
    ("B, O", "draw a missed mark as a box or as an outline; Shift and drag draws a box at once"),
    ("F", "point out a fastener"),
    ("Drag a corner", "change a box that was drawn; a part that wears is measured anew"),
    ("M", "while a part is measured: point out a known length, end by end"),
    ("W", "the visit before"),
    ("Escape", "back to looking"),
)

state = st.session_state


def show() -> None:
    """Show the photo that the address names, else the last one shown, else the first to decide on."""
    photo = _photo()
    if photo is None:
        st.subheader("No photo to decide on")
        if st.button("Worklist"):
            st.switch_page("worklist.py")
        return
    st.query_params["photo"] = photo.id
    if state.get("photo") != photo.id:
        state.photo, state.chosen, state.weak = photo.id, None, False
        marking.drop_drawn()
    lease = take(photo.id)
    candidates = actions.to_show(the_store(), photo.id, weak=state.weak)
    hidden = len(the_store().candidates(photo.id)) - len(candidates)
    if state.chosen not in [c.id for c in candidates]:
        state.chosen = actions.first_open(candidates)

    left, right = st.columns([9, 5], gap="medium")
    with left:
        _picture(photo, candidates)
    with right, st.container(gap="xsmall"):
        if not signature():
            ask_signature()
        if state.drawn is not None:
            marking.ask_about_drawn(photo)
        elif lease is not None:
            st.warning(f"{plain(lease.by) or 'Somebody else'} is at work on this photo. Take the next one.")
        elif state.chosen is not None:
            _decide(photo.id, candidates)
            _magnifier(photo, state.chosen)
        else:
            st.subheader("Nothing likely" if hidden else "Nothing flagged", anchor=False)
        if state.drawn is None:
            marking.tell_held(photo, _open)
            _teach(photo.id, candidates)
        _onwards(photo.id, candidates)
        st.caption(CAUTION)
        _details(candidates)
        st.text(" · ".join(filter(None, [photo.name, place(photo)])))
        _list(candidates)
        _others(photo, candidates)
        if hidden:
            label = f"Show {counted(hidden, 'weak mark')}"
            st.button(label, width="stretch", on_click=state.update, args=({"weak": True},))
        _silence(photo)
        _keys()


def _photo() -> StoredPhoto | None:
    for known in (st.query_params.get("photo"), state.get("photo")):
        with suppress(KeyError):
            return the_store().photo(known or "")
    first = the_store().leases.take_next(None, holder=holder(), by=signature(), chosen=chosen_filter())
    return None if first is None else the_store().photo(first)


# The photo


def _picture(photo: StoredPhoto, candidates: Sequence[StoredCandidate]) -> None:
    show_viewer(
        photo,
        candidates,
        chosen=state.chosen,
        drawn=state.drawn,
        before=f"/before/{photo.id}" if the_store().visits.former(photo) else None,
        on_picked=_choose,
        on_drawn=marking.keep_drawn,
        on_fastener=_point_out,
        length=state.length,
        on_length=marking.keep_length if marking.asks_length() else None,
    )
    if (pointed := _pointed(photo)) is not None:
        label = "Find others like the one added"
        st.button(label, width="stretch", on_click=_find_others, args=(photo, pointed))
    for problem in photo.screening.quality.problems:
        st.warning(f"Hard to judge. {plain(sentence(problem.say))}")


def _choose(candidate: int) -> None:
    state.chosen = candidate


def _pointed(photo: StoredPhoto) -> Fastener | None:
    """Give the fastener that was pointed out last, if it is on this photo."""
    return next((f for f in photo.screening.fasteners if (photo.id, f.id) == state.get("pointed")), None)


@telling_trouble()
def _point_out(cx: float, cy: float, radius: float | None) -> None:
    before = the_store().photo(state.photo)
    with _telling_failure():
        after = point_out_fastener(the_store(), before, cx, cy, radius)
        known = {f.id for f in before.screening.fasteners}
        added = [f.id for f in after.screening.fasteners if f.id not in known]
        state.pointed = (before.id, added[0]) if added else None


@telling_trouble()
def _find_others(photo: StoredPhoto, pointed: Fastener) -> None:
    with _telling_failure():
        count = add_others_like(the_store(), photo, pointed)
        state.pointed = None
        if count:
            added = counted(count, "fastener")
            st.toast(f"{added} more. A tap with the same tool takes off what is none.", duration="long")
        else:
            st.toast("No other fastener like it was found.", duration="long")


@contextmanager
def _telling_failure() -> Iterator[None]:
    """Keep what was decided on the page, whatever the engine does with the photo."""
    try:
        yield
    except PhotoError as error:
        state.trouble = str(error)
    except OSError:
        raise
    except Exception as error:
        state.trouble = f"The photo could not be screened again ({error!r}): report it with the photo."


# The decision


def _decide(photo: str, candidates: Sequence[StoredCandidate]) -> None:
    at, chosen = next((i, c) for i, c in enumerate(candidates, 1) if c.id == state.chosen)
    ask_decision(chosen, at, len(candidates), partial(_say, photo, chosen.id))
    if chosen.before is not None and st.button("Compare the visits", width="stretch"):
        st.switch_page("compare.py", query_params={"before": chosen.before, "after": photo})


def _magnifier(photo: StoredPhoto, chosen: int) -> None:
    # The number in the address keeps a browser from showing the picture of an earlier screening.
    st.html(
        f'<img class="magnifier" src="/magnified/{photo.id}/{chosen}?{len(photo.screening.fasteners)}" '
        'alt="The fastener head on, with what was measured drawn in">'
    )


@telling_trouble()
def _say(photo: str, candidate: int, outcome: Outcome, seen: int) -> None:
    state.chosen = candidate  # to look again at, where the decision is refused
    state.chosen = actions.decide(
        the_store(),
        photo,
        candidate,
        outcome,
        by=signature(),
        note=state.get("note", ""),
        weak=state.weak,
        holder=holder(),
        seen=seen,
    )
    state.note = ""


def _details(candidates: Sequence[StoredCandidate]) -> None:
    with st.expander("Figures, note, name"):
        for stored in candidates:
            if stored.id == state.chosen:
                for name, value in stored.candidate.measures.items():
                    st.text(": ".join(measure(name, value)))
        st.text_input("Note, kept with the next decision", key="note", max_chars=500)
        if signature():
            ask_signature()


def _onwards(photo: str, candidates: Sequence[StoredCandidate]) -> None:
    done = all(c.outcome is not None for c in candidates)
    with st.container(key="onwards", horizontal=True):
        if len(candidates) > 1:
            st.button("Back", shortcut="Left", width="stretch", on_click=_step, args=(candidates, -1))
            st.button("Next", shortcut="Right", width="stretch", on_click=_step, args=(candidates, 1))
        st.button(
            "Undo", shortcut="Z", width="stretch", disabled=not signature(), on_click=_undo, args=(photo,)
        )
        st.button(
            "Next photo",
            shortcut="PageDown",
            type="primary" if done else "secondary",
            width="stretch",
            on_click=_open_next,
            args=(photo,),
        )
    if candidates and done:
        st.success("All decided on this photo.")


def _step(candidates: Sequence[StoredCandidate], step: int) -> None:
    state.chosen = actions.neighbour(candidates, state.chosen, step)


@telling_trouble()
def _undo(photo: str) -> None:
    candidate = actions.undo(the_store(), photo, by=signature())
    if candidate is None:
        state.trouble = "Nothing of yours to undo on this photo."
    else:
        state.chosen = candidate


@telling_trouble()
def _open_next(photo: str) -> None:
    chosen = chosen_filter()
    following = the_store().leases.take_next(photo, holder=holder(), by=signature(), chosen=chosen)
    if following is None:
        which = "No other photo" if chosen == EVERYTHING else "No other photo that the filter shows"
        st.toast(f"{which} waits for a decision.", duration="long")
    else:
        st.query_params["photo"] = following


# For teaching


def _teach(photo: str, candidates: Sequence[StoredCandidate]) -> None:
    chosen = next((c for c in candidates if c.id == state.chosen), None)
    kept = {e.number: e for e in the_store().gallery.of_photo(photo)}
    if chosen is not None and (teaching.can_keep(chosen) or chosen.id in kept):
        _keep_button("Keep for teaching", photo, chosen, kept.get(chosen.id))
    elif teaching.nothing_wrong(the_store().candidates(photo)):
        _keep_button("Keep as a photo with nothing wrong", photo, None, kept.get(None))


def _keep_button(label: str, photo: str, stored: StoredCandidate | None, there: Example | None) -> None:
    if there is None:
        st.button(
            label,
            shortcut="G",
            width="stretch",
            disabled=not signature(),
            on_click=_keep,
            args=(photo, stored),
        )
    elif not may(*TEACHERS):
        st.button("In the gallery", width="stretch", disabled=True)
    elif st.button("In the gallery: open it", width="stretch"):
        st.switch_page("gallery.py", query_params={"example": str(there.id)})


@telling_trouble()
def _keep(photo: str, stored: StoredCandidate | None) -> None:
    teaching.keep(the_store(), photo, stored, by=signature())


# What else there is to say


def _list(candidates: Sequence[StoredCandidate]) -> None:
    for at, stored in enumerate(candidates, 1):
        label = f"{at} {SIGN_STYLE[stored.candidate.cue].label}: {OUTCOME_LABEL[stored.outcome].lower()}"
        st.button(label, key=f"choose-{stored.id}", width="stretch", on_click=_choose, args=(stored.id,))


def _others(photo: StoredPhoto, candidates: Sequence[StoredCandidate]) -> None:
    """Show, once asked, where else at the visit a fastener looks like the one decided on."""
    chosen = next((c for c in candidates if c.id == state.chosen), None)
    if chosen is None or photo.visit is None:
        return
    if state.get("others") != chosen.id:
        label = "Others like this at the visit"
        st.button(label, width="stretch", on_click=state.update, args=({"others": chosen.id},))
        return
    found = teaching.like_at_visit(the_store(), photo, chosen.candidate.box)
    st.text("The likest first." if found else "No fastener on the visit's other photos can be compared.")
    if (wanted := show_alike(found, "other", THREE_ABREAST)) is not None:
        _open(wanted)
        st.rerun()


def _open(photo: str) -> None:
    st.query_params["photo"] = photo


def _silence(photo: StoredPhoto) -> None:
    silent = photo.screening.not_judged
    if not silent:
        return
    with st.expander(f"Not judged: {len(silent)}", expanded=True):
        for one in silent:
            st.text(f"{SIGN_STYLE[one.cue].label}: {one.why}")


def _keys() -> None:
    with st.expander("Keys"):
        st.html("".join(f"<div><b>{escape(key)}</b> {escape(what)}</div>" for key, what in KEYS))


show()
