"""One photo of a quiz, to tap on and to say what is there."""

from __future__ import annotations

from collections.abc import Callable

import streamlit as st

from visual_aid.outputs.onefile import beside
from visual_aid.outputs.quiz_html import choices, question, truth
from visual_aid.records.teaching import Answer, Quiz, Tap

KEY = "asking"

_MOUNT = """
export default function ({ parentElement, data, setTriggerValue }) {
  const root = parentElement.querySelector(".asking");
  root.asking ??= new Asking(root);
  root.asking.send = (taps) => setTriggerValue("answered", { number: root.asking.number, taps });
  root.asking.update(data);
  return () => root.asking?.resized.disconnect();
}
"""
_mount = st.components.v2.component(
    "visual_aid.asking",
    html=beside("asking.html"),
    css=beside("asking.css"),
    js=beside("photo_view.js") + beside("asking.js") + _MOUNT,
)


def show_asking(quiz: Quiz, number: int, answer: Answer | None, on_answer: Callable[[Answer], None]) -> None:
    """Ask of a photo of a quiz, or tell what is on it once it is answered.

    What is there goes to the browser with the answer, not before.

    Parameters
    ----------
    number : int
        Which photo, from 0.
    answer : Answer or None
        What the trainee said.
    on_answer : callable
        Called with the answer.
    """

    def answered() -> None:
        event = st.session_state[KEY]["answered"]
        taps = tuple(Tap(float(t["x"]), float(t["y"]), t["cue"]) for t in event["taps"])
        on_answer(Answer(int(event["number"]), taps))

    one = quiz.items[number]
    data = question(one, f"/shown/{one.photo}")
    data |= {"number": number, "count": len(quiz.items), "cues": choices(quiz)}
    if answer is None:
        data |= {"answer": None, "truth": None}
    else:
        taps = [{"x": tap.x, "y": tap.y, "cue": tap.cue} for tap in answer.taps]
        data |= {"answer": taps, "truth": truth(one)}
    _mount(key=KEY, data=data, on_answered_change=answered)
