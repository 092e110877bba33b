"""Hand checks: what to do at a finding, what was found, and what it comes to."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from html import escape

import streamlit as st

from visual_aid.followup.handchecks import (
    CANNOT_TELL,
    Answer,
    Check,
    Input,
    Outcome,
    Step,
    checks,
    checks_for,
    complete,
    read_answers,
    settle,
)
from visual_aid.followup.logged import check_body, check_record, sheet_words
from visual_aid.followup.units import Quantity, as_printed, figure, read
from visual_aid.outputs.palette import SIGN_STYLE
from visual_aid.outputs.report import check_lines
from visual_aid.pages import actions
from visual_aid.pages.session import ask_signature, finding_at_hand, signature, the_store, the_visit
from visual_aid.pages.timer import show_timer
from visual_aid.pages.trouble import telling_trouble
from visual_aid.pages.words import VERDICT_SIGN, place, plain, sentence
from visual_aid.records.entries import StoredCandidate, StoredPhoto, Visit

state = st.session_state


def show() -> None:
    """Show the checks of the finding that the address names, else the findings of the visit at hand."""
    finding = finding_at_hand()
    if finding is not None:
        _at_finding(finding, the_store().photo(finding.photo))
        return
    visit = the_visit()
    findings = actions.findings(the_store(), visit)
    if not findings:
        st.subheader("Nothing confirmed yet", anchor=False)
        st.text("A check opens here for each mark that is confirmed, and for each that you add yourself.")
    for stored, photo in findings:
        _line(stored, photo)
    if visit is not None:
        with st.expander("A check apart from any finding"):
            _check(tuple(checks().values()), visit, None)


def _line(finding: StoredCandidate, photo: StoredPhoto) -> None:
    done = the_store().logbook.lines("hand_check", candidate=finding.id)
    said = "; ".join(f"{VERDICT_SIGN[r.outcome.verdict]} {r.title}" for r in map(check_record, done))
    with st.container(border=True):
        about, action = st.columns([4, 1], vertical_alignment="center")
        about.html(
            f'<div class="line"><img src="/thumb/{escape(photo.id)}" alt="" loading="lazy"><div>'
            f"<b>{escape(SIGN_STYLE[finding.candidate.cue].label)}</b>"
            f"<div>{escape(place(photo) or photo.name)}</div>"
            f"<div class='small'>{escape(said or 'No hand check yet')}</div></div></div>"
        )
        action.button(
            "Check",
            key=f"check-{finding.id}",
            width="stretch",
            type="secondary" if done else "primary",
            on_click=_open,
            args=(finding.id,),
        )


def _open(finding: int) -> None:
    st.query_params["finding"] = str(finding)


def _back() -> None:
    st.query_params.clear()


def _at_finding(finding: StoredCandidate, photo: StoredPhoto) -> None:
    body = finding.candidate
    st.html(
        f'<div class="line"><img src="/thumb/{escape(photo.id)}" alt=""><div>'
        f"<b>{escape(SIGN_STYLE[body.cue].label)}</b><div>{escape(place(photo) or photo.name)}</div>"
        f"<div class='small'>{escape(sentence(body.reason))}</div></div></div>"
    )
    with st.container(key="ways", horizontal=True):
        if st.button("Back to the photo", width="stretch"):
            st.switch_page("review.py", query_params={"photo": photo.id})
        st.button("All findings", width="stretch", on_click=_back)
        if st.button("Torque worksheet", width="stretch"):
            st.switch_page("torque.py", query_params={"finding": str(finding.id)})
    _recorded(finding)
    _follow_up(finding, photo)
    component = photo.position.component if photo.position else ""
    settling = checks_for(checks().values(), body.cue, component=component)
    others = tuple(check for check in checks().values() if check not in settling)
    _check((*settling, *others), photo.visit, finding)


def _recorded(finding: StoredCandidate) -> None:
    for line in the_store().logbook.lines("hand_check", candidate=finding.id):
        first, *rest = check_lines(check_record(line))
        with st.expander(f"{VERDICT_SIGN[check_record(line).outcome.verdict]} {plain(first)}"):
            for text in rest:
                st.text(text)
            st.button(
                "Take it back",
                key=f"take-back-{line.id}",
                disabled=not signature(),
                on_click=_take_back,
                args=(line.id,),
            )
    for line in the_store().logbook.lines("torque_sheet", candidate=finding.id):
        st.text(sheet_words(line))


@telling_trouble()
def _take_back(line: int) -> None:
    the_store().logbook.take_back(line, by=signature())


def _follow_up(finding: StoredCandidate, photo: StoredPhoto) -> None:
    standing = the_store().logbook.lines("follow_up", candidate=finding.id)
    before = standing[-1].body["say"] if standing else ""
    about = (finding, photo, standing[-1].id if standing else None)
    typed = st.text_input(
        "What is to be done",
        value=before,
        key=f"follow-up-{finding.id}",
        max_chars=500,
        placeholder="Goes into the report",
        disabled=not signature(),
        on_change=_keep_follow_up,
        args=about,
    )
    if standing:
        st.caption(plain(f"In the report, by {standing[-1].by}."))
    if typed.strip() != before:
        st.button("Record what is to be done", type="primary", on_click=_keep_follow_up, args=about)


@telling_trouble()
def _keep_follow_up(finding: StoredCandidate, photo: StoredPhoto, before: int | None) -> None:
    say = str(state[f"follow-up-{finding.id}"]).strip()
    if not say and before is not None:
        the_store().logbook.take_back(before, by=signature())
    elif say:
        the_store().logbook.write(
            "follow_up",
            {"say": say},
            by=signature(),
            unit=photo.visit.unit if photo.visit else None,
            visit=photo.visit.id if photo.visit else None,
            photo=photo.id,
            candidate=finding.id,
            supersedes=before,
        )


# One check


def _check(among: Sequence[Check], visit: Visit | None, finding: StoredCandidate | None) -> None:
    about = "visit" if finding is None else str(finding.id)
    titles = {check.id: check.title for check in among}
    chosen = st.selectbox("Hand check", titles, format_func=titles.__getitem__, key=f"chosen-{about}")
    check = checks()[chosen]
    key = f"{about}-{check.id}"
    st.text(check.when)
    _steps(check.steps, key)
    st.subheader("What was found", anchor=False)
    answers, wrong = _ask(check, key)
    if answers:
        _outcome(settle(check, answers))
    note = st.text_input("Note", key=f"note-{key}", max_chars=500, persist_state="session")
    if not signature():
        ask_signature()
    st.button(
        "Record the check",
        type="primary",
        width="stretch",
        disabled=wrong or not answers or not signature(),
        on_click=_record,
        args=(check, key, answers, note, visit, finding),
    )
    if said := state.pop("recorded", ""):  # under the button that was pressed: the top is out of sight
        st.success(said)
    elif wrong:
        st.caption("An answer above cannot be read yet.")
    elif not answers:
        st.caption("Answer what you can; what is left open is recorded as not given.")


def _steps(steps: Sequence[Step], key: str) -> None:
    for number, step in enumerate(steps, 1):
        caution = f'<div class="caution">{escape(step.caution)}</div>' if step.caution else ""
        st.html(f'<div class="step"><b>{number}</b><div>{escape(step.say)}{caution}</div></div>')
        if step.wait is not None:
            show_timer(step.wait, key=f"timer-{key}-{number}")


def _ask(check: Check, key: str) -> tuple[dict[str, Answer], bool]:
    """Ask for every input; give what was answered, and whether an answer cannot be read."""
    answers: dict[str, Answer] = {}
    wrong = False
    for wanted in check.inputs:
        text, unit = _figure(wanted, key) if wanted.quantity else (_choice(wanted, key), "")
        try:
            answers |= read_answers(check, {wanted.id: text}, {wanted.id: unit} if unit else None)
        except ValueError as error:
            wrong = True
            st.error(plain(sentence(str(error))))
    return answers, wrong


def _choice(wanted: Input, key: str) -> str:
    options = (*wanted.options, CANNOT_TELL)
    name = f"answer-{key}-{wanted.id}"
    return st.segmented_control(wanted.label, options, key=name, persist_state="session") or ""


def _figure(wanted: Input, key: str) -> tuple[str, str]:
    """Ask for a figure; a change of the unit changes the figure with it."""
    name, unit_name = f"answer-{key}-{wanted.id}", f"unit-{key}-{wanted.id}"
    usual = state.setdefault("usual_units", {})
    left, right = st.columns([3, 2], vertical_alignment="bottom")
    if unit_name not in state:
        known = usual.get(wanted.quantity)
        state[unit_name] = known if known in wanted.units else wanted.units[0]
    with right:
        unit = st.segmented_control(
            f"Unit of: {wanted.label}",
            wanted.units,
            format_func=as_printed,
            key=unit_name,
            required=True,
            label_visibility="collapsed",
            persist_state="session",
            on_change=_switch_unit,
            args=(name, unit_name, wanted.quantity, state[unit_name]),
        )
    label = f"{wanted.label} (optional)" if wanted.optional else wanted.label
    # No example of a torque: it could be taken for one to use.
    example = "Such as 3.2 or 1/8" if wanted.quantity == "length" else None
    text = left.text_input(label, key=name, max_chars=40, persist_state="session", placeholder=example)
    return text, str(unit)


def _switch_unit(name: str, unit_name: str, quantity: Quantity, before: str) -> None:
    state.usual_units[quantity] = state[unit_name]
    try:
        found = read(str(state.get(name, "")), quantity, before)
    except ValueError:
        return
    state[name] = figure(found.to(state[unit_name]).value, 4)


def _outcome(outcome: Outcome) -> None:
    rows = "".join(
        f"<li><b>{VERDICT_SIGN[j.verdict]} {escape(sentence(j.say))}</b> {escape(sentence(j.found))}"
        f"<div class='small'>Source: {escape(j.source)}</div></li>"
        for j in outcome.judged
    )
    st.html(
        f'<div class="outcome {outcome.verdict}"><b>{VERDICT_SIGN[outcome.verdict]} '
        f"{escape(outcome.headline)}</b><ul>{rows}</ul></div>"
    )


@telling_trouble()
def _record(
    check: Check,
    key: str,
    answers: dict[str, Answer],
    note: str,
    visit: Visit | None,
    finding: StoredCandidate | None,
) -> None:
    record = complete(check, answers, signature(), dt.datetime.now().astimezone(), note)
    the_store().logbook.write(
        "hand_check",
        check_body(record),
        by=record.initials,
        unit=None if visit is None else visit.unit,
        visit=None if visit is None else visit.id,
        photo=None if finding is None else finding.photo,
        candidate=None if finding is None else finding.id,
    )
    # Emptied rather than dropped: a browser goes on showing what was typed into a field that is dropped.
    for wanted in check.inputs:
        state[f"answer-{key}-{wanted.id}"] = "" if wanted.quantity else None
    state[f"note-{key}"] = ""
    state.recorded = f"Recorded: {record.outcome.say}"


show()
