"""What the working threshold costs, and scores put right by the shop's own decisions."""

from __future__ import annotations

import numpy as np
import pandas as pd
import streamlit as st

from visual_aid.evaluation.threshold import FEW, Cost, Flags, calibrate, cost, flags_of
from visual_aid.pages.session import ask_signature, signature, the_store
from visual_aid.pages.words import percent, plain

state = st.session_state


def show() -> None:
    """Show the curve, the slider and the calibrations."""
    tunings = the_store().tunings
    tuning = tunings.current()
    rows = [(photo, tuning.score(score), outcome) for photo, score, outcome in tunings.flags()]
    if not rows:
        st.subheader("Nothing flagged yet")
        return
    if not signature():
        ask_signature()
    flags = flags_of(rows)
    st.subheader("What the threshold costs", anchor=False)
    _say_how_sure(flags)
    costs = cost(flags)
    threshold = float(
        st.slider("Marks under this score wait behind the others", 0.0, 1.0, tuning.threshold, 0.05)
    )
    _say_what_it_costs(costs, threshold)
    st.caption(f"The worklist works with {tuning.threshold:.2f} now. Move the slider to try another.")
    if st.button(
        f"Work with {threshold:.2f}",
        type="primary",
        disabled=threshold == tuning.threshold or not signature(),
    ):
        _set_threshold(threshold, tuning.threshold)
    if (before := state.get("threshold_before")) is not None:
        with st.container(horizontal=True, vertical_alignment="center"):
            st.success(f"The worklist is sorted with {tuning.threshold:.2f}. Before it was {before:.2f}.")
            if st.button(f"Back to {before:.2f}"):
                _set_threshold(before, None)
    table = _table(costs)
    st.line_chart(
        table,
        x="Photos to look at",
        y=["Missed, low", "Evidence missed", "Missed, high"],
        x_label="Photos to look at",
        y_label="Share of the flagged evidence missed",
        color=["#5b666d", "#0b4f6c", "#a8480f"],
    )
    st.dataframe(table, hide_index=True, width="stretch")
    _calibrations()


def _set_threshold(threshold: float, before: float | None) -> None:
    """Sort the worklist anew; ``before`` is what can be gone back to, None after it was."""
    with st.spinner("Sorting the worklist"):
        the_store().tunings.set_threshold(threshold, by=signature())
    state.threshold_before = before
    st.rerun()


def _say_how_sure(flags: Flags) -> None:
    counted = f"{flags.confirmed} confirmed and {flags.ruled_out} ruled out"
    if flags.are_few:
        st.warning(
            f"Too few decisions to go by: {counted}. Below {FEW} of each the curve is a guess, and the "
            "interval shows how wide."
        )
    else:
        st.text(f"From {counted}.")
    st.caption("Evidence that the engine did not flag at all is in no figure here.")


def _say_what_it_costs(costs: Cost, threshold: float) -> None:
    at = int(np.abs(costs.threshold - threshold).argmin())
    left, right = st.columns(2)
    left.metric("Photos to look at", f"{costs.photos[at]} of {costs.photos[0]}")
    right.metric("Flagged evidence likely missed", percent(float(costs.missed[at])))
    right.caption(
        f"Between {percent(float(costs.low[at]))} and {percent(float(costs.high[at]))}, 9 in 10 sure"
    )


def _table(costs: Cost) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "Threshold": costs.threshold.round(2),
            "Photos to look at": costs.photos,
            "Evidence missed": costs.missed.round(3),
            "Missed, low": costs.low.round(3),
            "Missed, high": costs.high.round(3),
        }
    )


def _calibrations() -> None:
    tunings = the_store().tunings
    st.subheader("Scores by your own decisions", anchor=False)
    now = tunings.current().calibration
    names = [None, *(calibration.name for calibration in tunings.calibrations())]
    chosen = st.selectbox(
        "Scores in use",
        names,
        index=names.index(None if now is None else now.name),
        format_func=_named,
    )
    if st.button("Use these scores", disabled=chosen == (now and now.name) or not signature()):
        with st.spinner("Sorting the worklist"):
            tunings.use(chosen, by=signature())
        state.scores_said = f"The worklist is sorted by {_named(chosen)} now."
        st.rerun()
    if told := state.pop("scores_said", ""):
        st.success(plain(told))
    raw = flags_of(tunings.flags())
    try:
        fit = calibrate(raw)
    except ValueError as error:
        st.text(f"{str(error).capitalize()}.")
        return
    st.text(
        f"From {fit.decided} decisions. How far the scores lie from what people decided, on photos not used "
        f"for fitting (lower is better): {fit.after:.3f}, with the engine's own scores {fit.before:.3f}."
    )
    if raw.are_few or not fit.helps:
        st.warning("These decisions are too few, or they do not better the engine's own scores.")
    name = st.text_input("Name for scores fitted to these decisions", max_chars=60, key="calibration-name")
    if st.button("Keep it", disabled=not name.strip() or not signature()):
        try:
            tunings.keep(name, fit.slope, fit.intercept, fit.decided, by=signature())
        except ValueError as error:
            st.error(plain(f"{str(error).capitalize()}."))
        else:
            state.scores_said = f"Kept: {name.strip()}. Choose it under Scores in use to work with it."
            st.rerun()


def _named(calibration: str | None) -> str:
    return "The engine's own" if calibration is None else calibration


show()
