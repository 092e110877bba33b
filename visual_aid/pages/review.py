"""One photo with what is flagged on it; a person decides."""

from __future__ import annotations

import base64
import math
from collections.abc import Mapping, Sequence
from contextlib import suppress
from functools import partial
from html import escape

import streamlit as st

from visual_aid.followup.handchecks import checks
from visual_aid.followup.known_length import known_length
from visual_aid.measure.measurement import OUTCOME_WORDS, Measurement
from visual_aid.measure.scale import ACROSS_FLATS, Scale, ends_apart
from visual_aid.measure.wear import KINDS
from visual_aid.model import CUES, WEARS, Box, Outline, Sign, Wear
from visual_aid.outputs.events import OUTCOME_LABEL
from visual_aid.outputs.measured import in_words
from visual_aid.outputs.overlay import CAUTION
from visual_aid.outputs.palette import SIGN_STYLE
from visual_aid.pages import actions, measuring, teaching
from visual_aid.pages.deciding import ask_decision, take
from visual_aid.pages.intake import point_out_fastener
from visual_aid.pages.session import ask_signature, holder, signature, the_store
from visual_aid.pages.trouble import telling_trouble
from visual_aid.pages.viewer import Drawn, Pointed, show_viewer
from visual_aid.pages.words import measure, place, plain, sentence
from visual_aid.photo import PhotoError
from visual_aid.records.entries import Outcome, StoredCandidate, StoredPhoto

KEYS = (
    ("Y, N, T", "confirm, rule out, cannot tell"),
    ("Left, Right", "the candidate before, the next one"),
    ("Z", "undo"),
    ("H", "hand check of a confirmed candidate"),
    ("Page Down", "next photo"),
    ("+, -, 0, C", "closer, further, the whole photo, close to the candidate"),
    ("L, K", "lines and circles on or off"),
    ("B, O", "draw a missed mark as a box or as an outline; Shift and drag draws a box at once"),
    ("F", "point out a fastener"),
    ("Drag a corner", "change a box that was drawn; a part that wears is measured anew"),
    ("M", "while a part is measured: point out a known length, end by end"),
    ("W", "the visit before"),
    ("Escape", "back to looking"),
)

OTHER = 104
"""Width of a like fastener's picture in CSS pixels: three side by side on a phone."""

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
        _drop_drawn()
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
        if state.drawn is not None and state.wear is not None:
            _measure(photo, state.wear)
        elif state.drawn is not None:
            _name_the_mark(photo.id)
        elif lease is not None:
            st.warning(f"{plain(lease.by) or 'Somebody else'} is at work on this photo. Take the next one.")
        elif state.chosen is not None:
            _decide(photo.id, candidates)
            _magnifier(photo, state.chosen)
        else:
            st.subheader("Nothing likely" if hidden else "Nothing flagged", anchor=False)
        if state.drawn is None:
            _tell_held(photo)
            _teach(photo.id, candidates)
        _onwards(photo.id, candidates)
        st.caption(CAUTION)
        _details(candidates)
        st.text(" · ".join(filter(None, [photo.name, place(photo)])))
        _list(candidates)
        _others(photo, candidates)
        if hidden:
            label = f"Show {hidden} weak {'mark' if hidden == 1 else 'marks'}"
            st.button(label, width="stretch", on_click=state.update, args=({"weak": True},))
        _silence(photo)
        _keys()


def _photo() -> StoredPhoto | None:
    for known in (st.query_params.get("photo"), state.get("photo")):
        with suppress(KeyError):
            return the_store().photo(known or "")
    first = the_store().leases.take_next(None, holder=holder(), by=signature())
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
        on_drawn=_keep_drawn,
        on_fastener=_point_out,
        length=state.length,
        on_length=_keep_length if state.wear is not None and measuring.takes_length(state.wear) else None,
    )
    for problem in photo.screening.quality.problems:
        st.warning(f"Hard to judge. {plain(sentence(problem.say))}")


def _choose(candidate: int) -> None:
    state.chosen = candidate
    _drop_drawn()


def _keep_drawn(drawn: Drawn) -> None:
    state.drawn = drawn


def _drop_drawn() -> None:
    state.drawn, state.wear, state.length = None, None, None


def _keep_length(ends: Pointed) -> None:
    state.length = ends


@telling_trouble()
def _point_out(cx: float, cy: float, radius: float | None) -> None:
    try:
        point_out_fastener(the_store(), the_store().photo(state.photo), cx, cy, radius)
    except PhotoError as error:
        state.trouble = str(error)
    except OSError:
        raise
    except Exception as error:  # what was decided stays on the page whatever the engine does
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
    _drop_drawn()


@telling_trouble()
def _undo(photo: str) -> None:
    candidate = actions.undo(the_store(), photo, by=signature())
    if candidate is None:
        state.trouble = "Nothing of yours to undo on this photo."
    else:
        state.chosen = candidate


@telling_trouble()
def _open_next(photo: str) -> None:
    following = the_store().leases.take_next(photo, holder=holder(), by=signature())
    if following is None:
        state.trouble = "No other photo waits for a decision."
    else:
        st.query_params["photo"] = following


# For teaching


def _teach(photo: str, candidates: Sequence[StoredCandidate]) -> None:
    chosen = next((c for c in candidates if c.id == state.chosen), None)
    kept = {e.number for e in the_store().gallery.of_photo(photo)}
    if chosen is not None and (teaching.can_keep(chosen) or chosen.id in kept):
        _keep_button("Keep for teaching", photo, chosen, there=chosen.id in kept)
    elif teaching.nothing_wrong(the_store().candidates(photo)):
        _keep_button("Keep as a photo with nothing wrong", photo, None, there=None in kept)


def _keep_button(label: str, photo: str, stored: StoredCandidate | None, *, there: bool) -> None:
    st.button(
        "In the gallery" if there else label,
        shortcut="G",
        width="stretch",
        disabled=there or not signature(),
        on_click=_keep,
        args=(photo, stored),
    )


@telling_trouble()
def _keep(photo: str, stored: StoredCandidate | None) -> None:
    teaching.keep(the_store(), photo, stored, by=signature())


# A mark of one's own


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
    st.button("Drop it", width="stretch", on_click=_drop_drawn)


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
        elif KINDS[wear].boxes > 1:
            st.button(
                "Hold this height",
                type="primary",
                shortcut="Y",
                width="stretch",
                on_click=_hold,
                args=(photo.id, wear, box),
            )
        st.button("Drop it", key="drop-measured", width="stretch", on_click=_drop_drawn)
    st.caption("Drag a corner of the box to fit it better. " + KINDS[wear].how)
    no_scale = measurement is not None and measurement.scale is None
    if state.length is None and no_scale and measuring.takes_length(wear):
        st.caption("Millimetres without the card: press Known length at the photo and tap its two ends.")
    if measured or measurement is None:
        unmeasured = "Mark it without the figures" if measured else "Mark it without measuring"
        st.button(
            unmeasured, width="stretch", disabled=not signature(), on_click=_mark, args=(photo.id, wear)
        )
    if measurement is not None and KINDS[wear].boxes > 1:
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
        if KINDS[wear].boxes > 1:
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
        typed = state.get(f"nut-{photo}") or state.get(f"length-{photo}") or ""
        with suppress(ValueError):
            scales = state.setdefault("scales", {}).setdefault(wear, {})
            scales[photo] = known_length(ends.a, ends.b, typed, ends.miss)
    _drop_drawn()


def _tell_held(photo: StoredPhoto) -> None:
    """Say which heights wait for the other one, and lead to the photo that is likely to show it."""
    for wear, (id_, _) in state.get("held", {}).items():
        name = plain(the_store().photo(id_).name)
        st.info(f"{SIGN_STYLE[wear].label}: one height is held from {name}. Now box the other one.")
        following = measuring.near(the_store(), photo)[:1] if id_ == photo.id else ()
        for one in following:
            label = f"Open {plain(one.name)}"
            st.button(label, key=f"open-{wear}", width="stretch", on_click=_open, args=(one.id,))


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
        typed = st.text_input("Length, such as 24 mm or 1 in", key=f"length-{photo.id}")
    else:
        typed = nut
        st.caption("Nuts of older standards are wider: measure one when in doubt.")
    if not typed.strip():
        return None
    try:
        return known_length(ends.a, ends.b, typed, ends.miss)
    except ValueError as error:
        st.warning(plain(sentence(str(error))))
        return None


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
    _drop_drawn()


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
    with st.container(horizontal=True, gap="small"):
        for at, one in enumerate(found):
            with st.container(width=OTHER, gap="xxsmall"):
                address = f"/piece/{escape(one.photo)}/{one.cx:.1f}/{one.cy:.1f}/{one.radius:.1f}"
                st.html(f'<img class="card" src="{address}" alt="" loading="lazy">')
                st.button("Look", key=f"other-{at}", width="stretch", on_click=_open, args=(one.photo,))


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
