"""One place at two visits: both photos laid on each other, which nuts turned and what else is new."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import suppress
from functools import partial
from html import escape

import streamlit as st

from visual_aid.measure.visits import Comparison, compare
from visual_aid.outputs.palette import SIGN_STYLE
from visual_aid.outputs.wording import CAUTION, counted, day
from visual_aid.pages import actions
from visual_aid.pages.deciding import ask_decision, take
from visual_aid.pages.session import ask_signature, holder, signature, the_store
from visual_aid.pages.trouble import telling_trouble
from visual_aid.pages.viewer import show_viewer
from visual_aid.pages.words import plain, sentence, where
from visual_aid.photo import PhotoError
from visual_aid.records.entries import Outcome, Position, StoredCandidate, StoredPhoto

SIXTHS = (
    "Clockwise as seen. A hexagon looks the same after 60°: unless marks on the nut tell more, the turn may "
    "be 60° more or less. A nut that was found on one of the photos alone is not compared."
)

state = st.session_state


def show() -> None:
    """Let the person choose two visits of a place, compare them, and decide on every nut that turned."""
    pair = _pair()
    if pair is None:
        return
    before, after = pair
    comparison = the_store().comparisons.between(before.id, after.id)
    if comparison is None:
        if st.button("Compare", type="primary", width="stretch"):
            _compare(before, after)
        _side_by_side(before, after)
    elif comparison.why is not None:
        st.warning(f"These two photos cannot be compared. {plain(sentence(comparison.why))}")
        _next_place()
        _side_by_side(before, after)
    else:
        _result(before, after, comparison)


# Which two


def _pair() -> tuple[StoredPhoto, StoredPhoto] | None:
    """Ask for the place and the two visits; the address may name them."""
    places = _places()
    if not places:
        st.subheader("No place photographed at two visits yet", anchor=False)
        st.text("Say under Visit where each photo was taken: places with two visits are listed here.")
        return None
    _take_from_address()
    spot, when = st.columns(2), st.columns(2)
    units = list(dict.fromkeys(place.unit for place in places.values()))
    unit = spot[0].selectbox("Unit", units, key="compare-unit")
    here = [id_ for id_, place in places.items() if place.unit == unit]
    place = spot[1].selectbox(
        "Place", here, format_func=lambda id_: where(places[id_].spot), key="compare-place"
    )
    photos = {photo.id: photo for photo in the_store().visits.at(place)}
    later = [id_ for id_ in photos if _earlier(photos, id_)]
    after = when[1].selectbox(
        "Visit after", later, format_func=lambda id_: _label(photos[id_]), key="compare-after"
    )
    before = when[0].selectbox(
        "Visit before",
        _earlier(photos, after),
        format_func=lambda id_: _label(photos[id_]),
        key="compare-before",
    )
    st.query_params.update(before=before, after=after)
    state.pair = before, after
    return photos[before], photos[after]


def _places() -> Mapping[int, Position]:
    """Give the places with photos from visits on different days, by id."""
    return {place.id: place for place in the_store().visits.seen_again()}


def _take_from_address() -> None:
    asked = st.query_params.get("before", ""), st.query_params.get("after", "")
    if not asked[1] or asked == state.get("pair"):
        return
    with suppress(KeyError):
        after = the_store().photo(asked[1])
        if after.position is not None:
            state["compare-unit"], state["compare-place"] = after.position.unit, after.position.id
            state["compare-after"], state["compare-before"] = after.id, asked[0]


def _earlier(photos: Mapping[str, StoredPhoto], after: str) -> list[str]:
    """Give the photos of earlier days than this one's, the last first."""
    visit = photos[after].visit
    return [id_ for id_, p in photos.items() if visit and p.visit and p.visit.date < visit.date]


def _label(photo: StoredPhoto) -> str:
    return f"{day(photo.visit.date)}, {photo.name}" if photo.visit else photo.name


def _compare(before: StoredPhoto, after: StoredPhoto) -> None:
    store = the_store()
    try:
        with st.spinner("Laying the two photos on each other"):
            found = compare(store.read(before), store.read(after), (before.screening, after.screening))
        store.comparisons.keep(before.id, after.id, found)
    except PhotoError as error:
        st.error(plain(str(error)))
        return
    st.rerun()


def _side_by_side(before: StoredPhoto, after: StoredPhoto) -> None:
    for column, photo in zip(st.columns(2), (before, after), strict=True):
        column.html(
            f'<img class="beside" src="/photo/{escape(photo.id)}" alt="{escape(_label(photo))}">'
            f"<div>{escape(_label(photo))}</div>"
        )


# What came of it


def _result(before: StoredPhoto, after: StoredPhoto, comparison: Comparison) -> None:
    turned = [c for c in the_store().candidates(after.id) if c.before == before.id]
    if state.get("turned") not in [c.id for c in turned]:
        state.turned = actions.first_open(turned)
    lease = take(after.id)
    left, right = st.columns([9, 5], gap="medium")
    with left:
        show_viewer(
            after,
            turned,
            chosen=state.turned,
            drawn=None,
            before=f"/laid/{before.id}/{after.id}",
            drawing_is=None,
            on_picked=_choose,
        )
    with right, st.container(gap="xsmall"):
        if not signature():
            ask_signature()
        if lease is not None:
            st.warning(f"{plain(lease.by) or 'Somebody else'} is at work on this photo. Take the next one.")
        elif turned:
            _decide(after.id, turned)
        else:
            st.subheader("No turn seen", anchor=False)
            _next_place()
        _measured(comparison)
        _news(comparison, after)
        st.caption(f"{SIXTHS} {CAUTION}")


def _choose(candidate: int) -> None:
    state.turned = candidate


def _decide(photo: str, turned: Sequence[StoredCandidate]) -> None:
    at, chosen = next((i, c) for i, c in enumerate(turned, 1) if c.id == state.turned)
    ask_decision(chosen, at, len(turned), partial(_say, photo, chosen.id))
    with st.container(key="onwards", horizontal=True):
        if len(turned) > 1:
            st.button("Next", shortcut="Right", width="stretch", on_click=_step, args=(turned,))
        st.button(
            "Undo", shortcut="Z", width="stretch", disabled=not signature(), on_click=_undo, args=(photo,)
        )
    if all(c.outcome is not None for c in turned):
        st.success("All decided on these two photos.")
        _next_place()
    st.text_input("Note, kept with the next decision", key="note", max_chars=500)


def _next_place() -> None:
    """Lead on, where nothing here waits for a decision."""
    here = [id_ for id_, place in _places().items() if place.unit == state["compare-unit"]]
    if len(here) > 1:
        following = here[(here.index(state["compare-place"]) + 1) % len(here)]
        st.button("Next place", width="stretch", on_click=_go_to, args=(following,))


def _go_to(place: int) -> None:
    state["compare-place"] = place
    for photo in ("compare-after", "compare-before"):  # those of the place before
        state.pop(photo, None)


@telling_trouble()
def _say(photo: str, candidate: int, outcome: Outcome, seen: int) -> None:
    state.turned = candidate  # to look again at, where the decision is refused
    the_store().decide(
        candidate, outcome, by=signature(), note=state.get("note", ""), holder=holder(), seen=seen
    )
    state.note = ""
    state.turned = actions.next_open(_turned(photo), candidate)


def _turned(photo: str) -> Sequence[StoredCandidate]:
    before, _ = state.pair
    return [c for c in the_store().candidates(photo) if c.before == before]


def _step(turned: Sequence[StoredCandidate]) -> None:
    state.turned = actions.neighbour(turned, state.turned, 1)


@telling_trouble()
def _undo(photo: str) -> None:
    candidate = actions.undo(the_store(), photo, by=signature())
    if candidate is None:
        state.trouble = "Nothing of yours to undo on this photo."
    else:
        state.turned = candidate


def _measured(comparison: Comparison) -> None:
    still = [turn for turn in comparison.turns if not turn.turned]
    if still:
        most = max(still, key=lambda turn: abs(turn.turn))
        nuts = counted(len(still), "nut")
        st.text(f"No turn seen on {nuts}: at most {abs(most.turn):.1f}° ± {most.uncertainty:.1f}°.")
    if comparison.not_measured:
        nuts = counted(comparison.not_measured, "nut")
        st.text(f"Not measured, too unlike in the two photos: {nuts}.")


def _news(comparison: Comparison, after: StoredPhoto) -> None:
    st.subheader(
        "New since the visit before" if comparison.news else "Nothing else new was flagged", anchor=False
    )
    for news in comparison.news:
        st.text(sentence(f"{SIGN_STYLE[news.cue].label}: {news.say}"))
    if comparison.news and st.button("Look at the later photo", width="stretch"):
        st.switch_page("review.py", query_params={"photo": after.id})


show()
