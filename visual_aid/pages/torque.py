"""The torque worksheet: the maker's two values, the thread as found, and what to use."""

from __future__ import annotations

from collections.abc import Iterable
from html import escape

import streamlit as st

from visual_aid.followup.logged import sheet_body, sheet_words
from visual_aid.followup.torque import Entry, Pairing, TorqueShares, Worksheet, joints, worksheet
from visual_aid.followup.units import UNITS, as_printed, convert, figure, read
from visual_aid.outputs.palette import SIGN_STYLE
from visual_aid.pages.results import table
from visual_aid.pages.session import ask_signature, finding_at_hand, signature, the_store
from visual_aid.pages.trouble import telling_trouble
from visual_aid.pages.words import place, plain, sentence
from visual_aid.records.entries import StoredCandidate

NO_GRADE = "No mark on the head"

state = st.session_state


def show() -> None:
    """Show the worksheet, for the finding that the address names or for none."""
    finding = finding_at_hand()
    st.subheader("Torque worksheet", anchor=False)
    if finding is not None:
        photo = the_store().photo(finding.photo)
        st.text(f"{SIGN_STYLE[finding.candidate.cue].label}. {place(photo) or photo.name}")
        if st.button("Back to the hand check"):
            st.switch_page("hand_checks.py", query_params={"finding": str(finding.id)})
    st.html(
        "<div class=\"caution\">The maker's values for this very fastener come first, from the maker's own "
        "chart. This sheet brings none. Tighten with a calibrated wrench, wheels chocked.</div>"
    )
    try:
        entry = _ask()
        sheet = None if entry is None else worksheet(entry)
    except ValueError as error:
        st.error(plain(sentence(str(error))))
        return
    if entry is None or sheet is None:
        st.text("Choose thread, grade and the thread as found, and enter at least one of the maker's values.")
        return
    _result(sheet, entry)
    if finding is None:
        st.caption("To record a worksheet, open it from the hand check of a finding.")
    else:
        _keep(entry, sheet, finding)


def _ask() -> Entry | None:
    """Ask for everything; None until one of the maker's values is there."""
    tables = joints()
    left, right = st.columns(2)
    system = left.segmented_control(
        "Threads",
        ("inch", "metric"),
        key="torque-system",
        default="inch",
        required=True,
        persist_state="session",
    )
    threads = [t for t in tables.threads.values() if t.system == system]
    grades = [NO_GRADE, *(s.grade for s in tables.strengths.values() if s.system == system)]
    with right:
        unit = st.segmented_control(
            "Torque in",
            UNITS["torque"],
            format_func=as_printed,
            key="torque-unit",
            default=UNITS["torque"][0],
            required=True,
            persist_state="session",
            on_change=_switch_unit,
        )
    state.setdefault("torque-unit-before", unit)
    left, right = st.columns(2)
    # Nothing is chosen for the person: a size or a state taken for granted would be a wrong torque.
    thread = left.selectbox(
        "Thread",
        [t.name for t in threads],
        index=None,
        key=f"torque-thread-{system}",
        persist_state="session",
    )
    grade = right.selectbox(
        "Grade or class, as marked",
        grades,
        index=None,
        key=f"torque-grade-{system}",
        persist_state="session",
    )
    condition = st.selectbox(
        "Thread as found",
        tables.conditions,
        index=None,
        format_func=lambda id_: tables.conditions[id_].name,
        key="torque-condition",
        persist_state="session",
    )
    left, right = st.columns(2)
    dry = left.text_input("Maker's dry value", key="torque-dry", max_chars=40, persist_state="session")
    lubricated = right.text_input(
        "Maker's lubricated value", key="torque-lubricated", max_chars=40, persist_state="session"
    )
    with st.expander("Nut factor K"):
        factors = {
            state_: st.selectbox(
                f"K of a {state_} thread",
                [f.id for f in tables.nut_factors.values() if f.thread == state_],
                format_func=_factor_words,
                key=f"torque-factor-{state_}",
                persist_state="session",
            )
            for state_ in ("dry", "lubricated")
        }
        for id_ in factors.values():
            st.caption(f"{_factor_words(id_)}. Source: {tables.nut_factors[id_].source}.")
    if thread is None or grade is None or condition is None or not (dry.strip() or lubricated.strip()):
        return None
    return Entry(
        thread=tables.threads[thread],
        strength=tables.strengths.get(grade),
        condition=tables.conditions[condition],
        dry=read(dry, "torque", unit) if dry.strip() else None,
        lubricated=read(lubricated, "torque", unit) if lubricated.strip() else None,
        dry_factor=tables.nut_factors[factors["dry"]],
        lubricated_factor=tables.nut_factors[factors["lubricated"]],
    )


def _factor_words(id_: str) -> str:
    factor = joints().nut_factors[id_]
    return f"{factor.name}: K {factor.low:g} to {factor.high:g}"


def _switch_unit() -> None:
    before, now = state["torque-unit-before"], state["torque-unit"]
    state["torque-unit-before"] = now
    for name in ("torque-dry", "torque-lubricated"):
        try:
            state[name] = figure(read(str(state.get(name, "")), "torque", before).to(now).value, 4)
        except ValueError:
            continue


def _result(sheet: Worksheet, entry: Entry) -> None:
    use = f"Use {sheet.use}" if sheet.use else "Use neither value yet"
    kind = "within_limit" if sheet.use else "cannot_settle"
    st.html(f'<div class="outcome {kind}"><b>{escape(use)}</b><div>{escape(sheet.say)}</div></div>')
    for warning in sheet.warnings:
        st.warning(plain(warning))
    for line in sheet.mix_up:
        st.text(line)
    st.subheader("Clamp force", anchor=False)
    heads = ("Value", "Thread", "Torque", "Clamp force", "Of the proof load")
    table(heads, map(_pairing, sheet.pairings))
    st.caption("By T = K F d over the span of K. Above 75 % of the proof load is marked !, above 90 % !!.")
    st.subheader("Where the torque goes", anchor=False)
    heads = ("Thread", "By", "Under the head or nut", "In the thread", "Into tension")
    table(heads, (row for shares in sheet.shares for row in _shares(shares)))
    st.caption(joints().rule_of_thumb_note)


def _pairing(pairing: Pairing) -> tuple[str, ...]:
    low, high = pairing.clamp
    clamp = f"{figure(low / 1000)} to {figure(high / 1000)} kN"
    clamp += f" ({_pounds(low)} to {_pounds(high)} lbf)"
    share, sign = "", {"within": "", "over_75": " !", "over_90": " !!"}[pairing.level]
    if pairing.proof_share is not None:
        share = f"{100 * pairing.proof_share[0]:.0f} to {100 * pairing.proof_share[1]:.0f} %{sign}"
    mixed = " (mixed up)" if pairing.mixed_up else ""
    return pairing.value, f"{pairing.thread}{mixed}", str(pairing.torque), clamp, share or "not known"


def _pounds(newtons: float) -> str:
    return figure(float(f"{convert(newtons, 'N', 'lbf'):.3g}"))


def _shares(shares: TorqueShares) -> Iterable[tuple[str, ...]]:
    rows = (
        ("rule of thumb", shares.rule_of_thumb),
        ("long form, low K", shares.low_k),
        ("long form, high K", shares.high_k),
    )
    for name, parts in rows:
        yield shares.thread, name, *(f"{100 * part:.0f} %" for part in parts)


def _keep(entry: Entry, sheet: Worksheet, finding: StoredCandidate) -> None:
    kept = the_store().logbook.lines("torque_sheet", candidate=finding.id)
    for line in kept:
        st.text(f"Recorded by {line.by}: {sheet_words(line)}")
    if not signature():
        ask_signature()
    st.button(
        "Record it with the finding",
        type="primary",
        width="stretch",
        disabled=not signature(),
        on_click=_write,
        args=(entry, sheet, finding, kept[-1].id if kept else None),
    )


@telling_trouble()
def _write(entry: Entry, sheet: Worksheet, finding: StoredCandidate, before: int | None) -> None:
    visit = the_store().photo(finding.photo).visit
    the_store().logbook.write(
        "torque_sheet",
        sheet_body(entry, sheet),
        by=signature(),
        unit=visit.unit if visit else None,
        visit=visit.id if visit else None,
        photo=finding.photo,
        candidate=finding.id,
        supersedes=before,
    )


show()
