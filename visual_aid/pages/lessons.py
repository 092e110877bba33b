"""Lessons: examples in an order with words, to hand out."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from html import escape

import streamlit as st

from visual_aid.gallery.order import by_cue
from visual_aid.outputs.lesson import LessonSheet, lesson_zip, title
from visual_aid.outputs.lesson_html import lesson_html
from visual_aid.outputs.lesson_pdf import lesson_pdf
from visual_aid.outputs.paper import PAPERS, Paper
from visual_aid.outputs.wording import counted
from visual_aid.pages import teaching
from visual_aid.pages.session import ask_signature, signature, the_store
from visual_aid.pages.words import plain
from visual_aid.records.teaching import Example, Lesson, Step

state = st.session_state


def show() -> None:
    """Show the lessons, or the one at work."""
    if not signature():
        ask_signature()
    lessons = the_store().gallery.lessons()
    chosen = st.selectbox(
        "Lesson",
        [None, *(lesson.id for lesson in lessons)],
        format_func=lambda id_: next((one.title for one in lessons if one.id == id_), "A new lesson"),
        key="lesson",
    )
    lesson = next((one for one in lessons if one.id == chosen), None)
    if state.get("lesson_at_work", ...) != chosen:
        state.lesson_at_work = chosen
        state.steps = [] if lesson is None else list(lesson.steps)
    _edit(lesson)
    if lesson is not None:
        _hand_out(lesson)


def _edit(lesson: Lesson | None) -> None:
    key = "new" if lesson is None else str(lesson.id)
    name = st.text_input(
        "Title",
        "" if lesson is None else lesson.title,
        key=f"title-{key}",
        max_chars=120,
        placeholder="Needed to save it",
    )
    opening = st.text_area(
        "Opening words", "" if lesson is None else lesson.opening, key=f"opening-{key}", max_chars=2000
    )
    examples = {e.id: e for e in the_store().gallery.examples()}
    steps: list[Step] = [step for step in state.steps if step.example in examples]
    for number, step in enumerate(steps):
        _step(examples[step.example], number, steps, key)
    _add([e for e in examples.values() if e.id not in {s.example for s in steps}])
    words = [state.get(f"words-{key}-{step.example}", step.words) for step in steps]
    said = [Step(step.example, text.strip()) for step, text in zip(steps, words, strict=True)]
    if st.button("Save the lesson", type="primary", disabled=not (signature() and name.strip() and steps)):
        before = None if lesson is None else lesson.id
        saved = the_store().gallery.save_lesson(name, opening.strip(), said, by=signature(), lesson=before)
        state.opened_lesson, state.lesson_said = saved.id, f"Saved: {name}, {counted(len(said), 'example')}."
        st.rerun()
    if told := state.pop("lesson_said", ""):
        st.success(plain(told))


def _step(example: Example, number: int, steps: Sequence[Step], key: str) -> None:
    with st.container(border=True):
        picture, words, order = st.columns([2, 5, 2])
        picture.html(
            f'<div class="example"><img src="/example/{escape(example.photo)}/{example.id}" alt=""></div>'
        )
        with words:
            st.markdown(f"**{number + 1}. {plain(title(example))}**")
            st.text(example.wording.caption)
            st.text_area(
                "What you say here",
                steps[number].words,
                key=f"words-{key}-{example.id}",
                max_chars=1000,
                height=80,
            )
        with order:
            st.button(
                "Up",
                key=f"up-{example.id}",
                disabled=not number,
                width="stretch",
                on_click=_move,
                args=(number, -1),
            )
            last = number == len(steps) - 1
            st.button(
                "Down",
                key=f"down-{example.id}",
                disabled=last,
                width="stretch",
                on_click=_move,
                args=(number, 1),
            )
            st.button("Take out", key=f"out-{example.id}", width="stretch", on_click=_move, args=(number, 0))


def _move(number: int, by: int) -> None:
    step = state.steps.pop(number)
    if by:
        state.steps.insert(number + by, step)


def _add(examples: Sequence[Example]) -> None:
    if not examples:
        st.text(
            "Everything in the gallery is in this lesson."
            if state.steps
            else "The gallery is empty: keep findings and look-alikes for teaching on the review page first."
        )
        return
    named = {
        e.id: f"{title(e)}, {e.wording.grade}: {e.wording.caption[:60]} (no. {e.id})"
        for e in by_cue(examples)
    }
    picked = st.multiselect("Add examples", named, format_func=lambda id_: named[id_], key="picked")
    st.button("Add", disabled=not picked, on_click=_add_picked, args=(tuple(picked),))


def _add_picked(picked: Sequence[int]) -> None:
    state.steps = [*state.steps, *(Step(number) for number in picked)]
    state.picked = []


def _hand_out(lesson: Lesson) -> None:
    st.subheader("Hand out", anchor=False)
    st.caption("As last saved. Pictures carry no place, time, owner or serial number; boxes are blurred.")
    paper: Paper = st.segmented_control("Paper", PAPERS, default=PAPERS[0], required=True)
    name = "".join(c if c.isalnum() else "-" for c in lesson.title.lower()).strip("-") or "lesson"
    with st.container(horizontal=True):
        _file(
            "Page for phones (HTML)", f"{name}.html", "text/html", lesson, lambda s: lesson_html(s).encode()
        )
        _file("Handout (PDF)", f"{name}.pdf", "application/pdf", lesson, lambda s: lesson_pdf(s, paper))
        _file("Folder of pictures (ZIP)", f"{name}.zip", "application/zip", lesson, lesson_zip)


def _file(label: str, name: str, mime: str, lesson: Lesson, write: Callable[[LessonSheet], bytes]) -> None:
    st.download_button(
        label, lambda: write(teaching.sheet(the_store(), lesson)), name, mime, key=mime, on_click="ignore"
    )


if "opened_lesson" in state:  # a widget's value is set before the widget is shown
    state.lesson = state.pop("opened_lesson")
show()
