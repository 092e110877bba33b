"""A mark of one's own on the photo: naming it, and measuring it where it is a part that wears."""

from __future__ import annotations

import base64
import math
from collections.abc import Callable, Mapping
from contextlib import suppress
from html import escape

import streamlit as st

from visual_aid.followup.handchecks import checks
from visual_aid.followup.known_length import known_length
from visual_aid.measure.measurement import OUTCOME_WORDS, Measurement
from visual_aid.measure.scale import ACROSS_FLATS, Scale, ends_apart
from visual_aid.measure.wear import WEAR_KINDS
from visual_aid.model import CUES, WEARS, Box, Outline, Sign, Wear
from visual_aid.outputs.measured import in_words
from visual_aid.outputs.palette import SIGN_STYLE
from visual_aid.pages import measuring
from visual_aid.pages.session import signature, the_store
from visual_aid.pages.trouble import telling_trouble
from visual_aid.pages.viewer import Drawn, Pointed
from visual_aid.pages.words import plain, sentence
from visual_aid.photo import PhotoError
from visual_aid.records.entries import StoredCandidate, StoredPhoto

state = st.session_state


def keep_drawn(drawn: Drawn) -> None:
    """Hold what was drawn until it is named."""
    state.drawn = drawn


def drop_drawn() -> None:
    """Forget what was drawn and not recorded."""
    state.drawn, state.wear, state.length = None, None, None


def asks_length() -> bool:
    """Tell whether a known length would give what is being measured its millimetres."""
    return state.wear is not None and measuring.takes_length(state.wear)


def keep_length(ends: Pointed) -> None:
    """Hold the ends of a known length until what is measured is kept or dropped."""
    state.length = ends


def ask_about_drawn(photo: StoredPhoto) -> None:
    """Ask what was drawn; show what it measures where it is a part that wears."""
    if state.wear is None:
        _name_the_mark(photo.id)
    else:
        _measure(photo, state.wear)


def _name_the_mark(photo: str) -> None:
    st.subheader("What did you mark?", anchor=False)
    for heading, signs in (("A joint that works loose", CUES), ("A part that wears", WEARS)):
        st.text(heading)
        with st.container(horizontal=True, gap="xsmall"):
            for sign in signs:
                st.button(
                    SIGN_STYLE[sign].label,
                    key=f"mark-{sign}",
                    disabled=not signature(),
                    on_click=_measure_next if sign in WEARS else _mark,
                    args=(sign,) if sign in WEARS else (photo, sign),
                )
    st.button("Drop it", width="stretch", on_click=drop_drawn)


def _measure_next(wear: Wear) -> None:
    state.wear = wear


def _measure(photo: StoredPhoto, wear: Wear) -> None:
    """Show what a boxed part measures; dragging its corners measures anew."""
    st.subheader(SIGN_STYLE[wear].label, anchor=False)
    box, outline = state.drawn
    other = _other(photo, wear) if measuring.takes_two(wear) else None
    known = _known(photo, state.length) if state.length is not None else None
    scales = _scales(photo.id, wear, known)  # kept where there is no other photo yet, too
    asked = _parts(photo, wear, box, other)
    measurement = None if asked is None else _measured(asked, box, scales)
    measured = measurement is not None and measurement.outcome != "cannot_measure"
    if measurement is not None:
        _say_measured(measurement)
        if measured and known is not None:
            st.text(_how_good(known, measurement))
    with st.container(key="measured-ways", horizontal=True):
        if measurement is not None:
            st.button(
                "Keep as a finding" if measured else "Mark it without measuring",
                type="primary",
                shortcut="Y",
                width="stretch",
                disabled=not signature(),
                on_click=_keep_measured,
                args=(asked, measurement, box, outline),
            )
        elif WEAR_KINDS[wear].boxes > 1:
            st.button(
                "Hold this height",
                type="primary",
                shortcut="Y",
                width="stretch",
                on_click=_hold,
                args=(photo.id, wear, box),
            )
        st.button("Drop it", key="drop-measured", width="stretch", on_click=drop_drawn)
    st.caption("Drag a corner of the box to fit it better. " + WEAR_KINDS[wear].how)
    no_scale = measurement is not None and measurement.scale is None
    if state.length is None and no_scale and measuring.takes_length(wear):
        st.caption("Millimetres without the card: press Known length at the photo and tap its two ends.")
    if measured or measurement is None:
        unmeasured = "Mark it without the figures" if measured else "Mark it without measuring"
        st.button(
            unmeasured, width="stretch", disabled=not signature(), on_click=_mark, args=(photo.id, wear)
        )
    if measurement is not None and WEAR_KINDS[wear].boxes > 1:
        label = "Hold this height instead of the other"
        st.button(label, width="stretch", on_click=_hold, args=(photo.id, wear, box))


def _say_measured(measurement: Measurement) -> None:
    st.markdown(f"**{OUTCOME_WORDS[measurement.outcome]}**")
    reason, *lines = in_words(measurement)[1:]
    st.text(reason)
    which = measuring.which_is_which(measurement)
    if which:
        st.text(sentence(which))
    if measurement.marks:
        alt = f"The part from near: {', '.join(dict.fromkeys(m.label for m in measurement.marks))}"
        data = base64.b64encode(state.measured[2]).decode()
        st.html(f'<img class="measured" alt="{escape(alt)}" src="data:image/jpeg;base64,{data}">')
    for line in lines:
        st.text(line)
    st.text(f"Hand check that settles it: {checks()[measurement.hand_check].title}.")


def _other(photo: StoredPhoto, wear: Wear) -> str | None:
    near = {p.id: p.name for p in measuring.others(the_store(), photo, wear, _held(wear))}
    if not near:
        if WEAR_KINDS[wear].boxes > 1:
            st.text("Nothing to compare with yet. Hold this height, then box the other one.")
        else:
            st.text("There is no other photo to measure against yet: add it to the visit.")
        return None
    with st.container(key="against", horizontal=True, vertical_alignment="bottom"):
        other = st.selectbox(
            "Measured against", near, format_func=lambda id_: near[id_], key=f"against-{wear}-{photo.id}"
        )
        st.html(f'<img class="other" src="/thumb/{escape(other)}" alt="The photo measured against">')
    return other


def _held(wear: Wear) -> measuring.Held | None:
    held: measuring.Held | None = state.setdefault("held", {}).get(wear)
    return held


def _hold(photo: str, wear: Wear, box: Box) -> None:
    state.setdefault("held", {})[wear] = photo, box
    if (ends := state.length) is not None:
        # A length may have been typed and the button pressed in one go, before the page was drawn with it.
        with suppress(ValueError):
            scales = state.setdefault("scales", {}).setdefault(wear, {})
            scales[photo] = known_length(ends.a, ends.b, _said_length(photo), ends.miss)
    drop_drawn()


def tell_held(photo: StoredPhoto, on_open: Callable[[str], None]) -> None:
    """Say which heights wait for the other one, and lead to the photo that is likely to show it."""
    for wear, (id_, _) in state.get("held", {}).items():
        name = plain(the_store().photo(id_).name)
        st.info(f"{SIGN_STYLE[wear].label}: one height is held from {name}. Now box the other one.")
        following = measuring.near(the_store(), photo)[:1] if id_ == photo.id else ()
        for one in following:
            label = f"Open {plain(one.name)}"
            st.button(label, key=f"open-{wear}", width="stretch", on_click=on_open, args=(one.id,))


def _parts(photo: StoredPhoto, wear: Wear, box: Box, other: str | None) -> measuring.Parts | None:
    try:
        return measuring.parts(the_store(), photo, wear, box, other, _held(wear))
    except ValueError:
        return None  # what is missing stands above


def _known(photo: StoredPhoto, ends: Pointed) -> Scale | None:
    """Ask how long what was pointed out is; say what is wrong with it, if something is."""
    try:
        ends_apart(ends.a, ends.b, ends.miss)
    except ValueError as error:
        st.warning(plain(sentence(str(error))))
        return None
    nut = st.selectbox(
        "What did you point out?",
        (None, *ACROSS_FLATS),
        format_func=_across_flats,
        key=f"nut-{photo.id}",
    )
    if nut is None:
        st.text_input("Length, such as 24 mm or 1 in", key=f"length-{photo.id}")
    else:
        st.caption("Nuts of older standards are wider: measure one when in doubt.")
    if not _said_length(photo.id).strip():
        return None
    try:
        return known_length(ends.a, ends.b, _said_length(photo.id), ends.miss)
    except ValueError as error:
        st.warning(plain(sentence(str(error))))
        return None


def _said_length(photo: str) -> str:
    """Give the nut that was picked, or the length that was typed, for a photo; empty for neither."""
    said: str = state.get(f"nut-{photo}") or state.get(f"length-{photo}") or ""
    return said


def _across_flats(nut: str | None) -> str:
    if nut is None:
        return "Something else: type its length"
    return f"{nut.removesuffix(' nut')} nut: {ACROSS_FLATS[nut]:.4g} mm across its flats"


def _how_good(known: Scale, measurement: Measurement) -> str:
    if known.source not in (measurement.scale or ""):
        return "The scale card is seen in this photo: the known length is not needed."
    return (
        f"Lengths are good to {math.ceil(100 * known.relative)} %, since a known length tells nothing of the "
        "tilt. The scale card does better."
    )


def _scales(photo: str, wear: Wear, known: Scale | None) -> dict[str, Scale]:
    """Give the known lengths of a kind by the photo's id.

    Of two photos each is measured by its own, pointed out while that photo was looked at.
    """
    scales: dict[str, Scale] = state.setdefault("scales", {}).setdefault(wear, {})
    if known is not None:
        scales[photo] = known
    elif state.length is not None or not measuring.takes_two(wear):
        scales.pop(photo, None)
    return scales


def _measured(asked: measuring.Parts, box: Box, known: Mapping[str, Scale]) -> Measurement | None:
    """Measure, or give what was measured last where nothing of it has changed."""
    scales = {photo.id: known[photo.id] for photo in asked.photos if photo.id in known}
    by = {id_: (s.source, s.relative, s.to_px.tobytes()) for id_, s in scales.items()}
    question = asked, by
    if state.get("measured", (None,))[0] != question:
        try:
            found = measuring.measure_parts(the_store(), asked, scales)
            drawn = measuring.picture(the_store(), asked, found, box) if found.marks else b""
            state.measured = question, found, drawn
        except (PhotoError, OSError) as error:
            st.error(plain(str(error)))
            return None
    measurement: Measurement = state.measured[1]
    return measurement


@telling_trouble()
def _keep_measured(asked: measuring.Parts, measurement: Measurement, box: Box, outline: Outline) -> None:
    if state.drawn is None:
        return  # pressed twice: the finding is kept
    note = state.get("note", "")
    kept = measuring.keep(the_store(), asked, measurement, box, outline=outline, by=signature(), note=note)
    state.get("held", {}).pop(measurement.wear, None)
    _show_marked(kept)


@telling_trouble()
def _mark(photo: str, sign: Sign) -> None:
    if state.drawn is None:
        return  # pressed twice: the mark is kept
    box, outline = state.drawn
    note = state.get("note", "")
    _show_marked(the_store().mark(photo, sign, box, by=signature(), outline=outline, note=note))


def _show_marked(mark: StoredCandidate) -> None:
    state.chosen, state.note = mark.id, ""
    drop_drawn()
