"""Lessons: examples in an order with words, to hand out."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import streamlit as st

from visual_aid.gallery.order import by_cue
from visual_aid.outputs.lesson import LessonSheet, lesson_zip, title
from visual_aid.outputs.lesson_html import lesson_html
from visual_aid.outputs.lesson_pdf import lesson_pdf
from visual_aid.outputs.paper import PAPERS, Paper
from visual_aid.outputs.wording import counted
from visual_aid.pages import teaching
from visual_aid.pages.examples import TWO_ABREAST, ask_cue, paged, picture, show_example
from visual_aid.pages.session import ask_signature, signature, the_store
from visual_aid.pages.words import plain
from visual_aid.records.teaching import Example, Lesson, Step

NEW = 0
"""Stands for the lesson that is not saved yet, in place of an id."""
PAGE_LENGTH = 20

state = st.session_state


def show() -> None:
    """Show the lessons, or the one at work."""
    if not signature():
        ask_signature()
    lessons = the_store().gallery.lessons()
    chosen = st.selectbox(
        "Lesson",
        [NEW, *(lesson.id for lesson in lessons)],
        format_func=lambda id_: next((one.title for one in lessons if one.id == id_), "A new lesson"),
        key="lesson",
        persist_state="session",
    )
    lesson = next((one for one in lessons if one.id == chosen), None)
    if state.get("lesson_at_work", ...) != chosen:
        state.lesson_at_work = chosen
        state.steps = [] if lesson is None else list(lesson.steps)
        _forget_typed()
    _edit(lesson)
    if lesson is not None:
        _hand_out(lesson)


def _forget_typed() -> None:
    """Have the fields of a lesson begin with what is saved."""
    for typed in [key for key in state if str(key).startswith(("title-", "opening-", "words-"))]:
        del state[typed]


def _edit(lesson: Lesson | None) -> None:
    key = "new" if lesson is None else str(lesson.id)
    name = st.text_input(
        "Title",
        "" if lesson is None else lesson.title,
        key=f"title-{key}",
        max_chars=120,
        placeholder="Needed to save it",
        persist_state="session",
    )
    opening = st.text_area(
        "Opening words",
        "" if lesson is None else lesson.opening,
        key=f"opening-{key}",
        max_chars=2000,
        persist_state="session",
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
        close, words, order = st.columns([2, 5, 2])
        close.html(f'<div class="example"><img src="{picture(example)}" alt=""></div>')
        with words:
            st.markdown(f"**{number + 1}. {plain(title(example))}**")
            st.text(example.wording.caption)
            st.text_area(
                "What you say here",
                steps[number].words,
                key=f"words-{key}-{example.id}",
                max_chars=1000,
                height=80,
                persist_state="session",
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
    st.subheader("Add examples", anchor=False)
    cue = ask_cue(examples, "lesson-cue")
    wanted = by_cue([e for e in examples if cue in (None, e.cue)])
    shown = paged(wanted, PAGE_LENGTH, "lesson-page")
    with st.container(horizontal=True, gap="small"):
        for example in shown:
            with st.container(width=TWO_ABREAST, gap="xxsmall"):
                show_example(example)
                st.checkbox("Pick", key=_pick(example), persist_state="session")
    picked = [e for e in by_cue(examples) if state.get(_pick(e))]
    label = f"Add {counted(len(picked), 'picked example')}" if picked else "Add the picked examples"
    st.button(label, disabled=not picked, on_click=_add_picked, args=(picked,))


def _pick(example: Example) -> str:
    return f"pick-{example.id}"


def _add_picked(picked: Sequence[Example]) -> None:
    state.steps = [*state.steps, *(Step(example.id) for example in picked)]
    for example in picked:
        state[_pick(example)] = False


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
