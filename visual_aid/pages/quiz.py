"""The quiz: what looks loose or worn, without anything drawn on the photo."""

from __future__ import annotations

import streamlit as st

from visual_aid.outputs.wording import CAUTION, counted, day
from visual_aid.pages import teaching
from visual_aid.pages.asking import show_asking
from visual_aid.pages.results import summary
from visual_aid.pages.session import ask_signature, signature, the_store
from visual_aid.pages.trouble import telling_trouble
from visual_aid.pages.words import plain
from visual_aid.records.teaching import Answer, Quiz, Sitting

MOST_PHOTOS = 100

state = st.session_state


def show() -> None:
    """Show the sitting at work, else the quizzes there are."""
    sitting = the_store().quizzes.sitting(st.query_params.get("sitting", ""))
    if sitting is not None:
        _sit(sitting)
        return
    quizzes = the_store().quizzes.quizzes()
    if quizzes:
        _take(quizzes)
    with st.expander("Make a quiz", expanded=not quizzes):
        _make()
    if quizzes:
        with st.expander("Take it elsewhere, without a network"):
            _elsewhere(quizzes)


# Taking one


def _take(quizzes: tuple[Quiz, ...]) -> None:
    st.subheader("Take a quiz", anchor=False)
    by_token = {q.token: q for q in quizzes}
    token = st.selectbox("Quiz", by_token, format_func=lambda t: _named(by_token[t]), key="quiz")
    left, right = st.columns(2)
    trainee = left.text_input(
        "Trainee", key="trainee", max_chars=60, placeholder="Your name, needed to start"
    ).strip()
    group = right.text_input("Group (optional)", key="group", max_chars=60).strip()
    begun = teaching.unfinished(the_store(), by_token[token], trainee, group)
    label = "Start" if begun is None else "Go on where you left off"
    if st.button(label, key="start", type="primary", disabled=not trainee):
        sitting = begun or the_store().quizzes.begin(by_token[token], trainee, group)
        st.query_params["sitting"] = sitting.token
        st.rerun()


def _named(quiz: Quiz) -> str:
    return f"{quiz.title}, {counted(len(quiz.items), 'photo')}, {day(quiz.at.astimezone())}"


def _sit(sitting: Sitting) -> None:
    count = len(sitting.quiz.items)
    answers = {a.item: a for a in sitting.answers}
    left = [n for n in range(count) if n not in answers]
    told = state.get("told")  # the photo just answered stays until the trainee goes on
    number = told if told in answers and state.get("told_in") == sitting.token else next(iter(left), None)
    if number is None:
        st.subheader(f"{plain(sitting.quiz.title)}: done", anchor=False)
        summary(sitting)
        st.caption(CAUTION)
        st.button("Other quizzes", on_click=st.query_params.clear)
        return
    show_asking(
        sitting.quiz,
        number,
        answers.get(number),
        lambda answer: _answer(sitting, answer),
    )
    if number in answers:
        label = "Next photo" if left else "To the result"
        st.button(label, type="primary", shortcut="Right", on_click=state.pop, args=("told", None))
    st.caption(f"{plain(sitting.trainee)}. {CAUTION}")


@telling_trouble()
def _answer(sitting: Sitting, answer: Answer) -> None:
    the_store().quizzes.answer(sitting, [answer])
    state.told, state.told_in = answer.item, sitting.token


# Making one


def _make() -> None:
    if not signature():
        ask_signature()
    pool = teaching.pool(the_store())
    if not pool:
        st.text("The gallery has nothing to ask yet: keep findings, look-alikes and clean photos on Review.")
        if st.button("Review", type="primary"):
            st.switch_page("review.py")
        return
    shown = sum(bool(one.evidence) for one in pool)
    st.text(
        f"The gallery has {counted(shown, 'photo')} with evidence and {len(pool) - shown} without: "
        "look-alikes and clean ones."
    )
    left, middle, right = st.columns(3, vertical_alignment="bottom")
    title = left.text_input("Title", key="quiz-title", max_chars=120, placeholder="Needed to draw it")
    count = middle.number_input("Photos", 1, MOST_PHOTOS, 10, key="quiz-count")
    seed = right.number_input(
        "Number it is drawn by", 0, 2**31 - 1, 1, key="quiz-seed", help="The same number draws the same quiz."
    )
    known = teaching.people(the_store())
    trainee = st.selectbox(
        "Ask more of what someone misses", ["", *known], format_func=lambda n: n or "Nobody in particular"
    )
    if len(pool) < count:
        st.text(f"So far the quiz can have {counted(len(pool), 'photo')}.")
    if st.button("Draw the quiz", type="primary", disabled=not (signature() and title.strip())):
        quiz = teaching.new_quiz(the_store(), title, int(seed), int(count), trainee=trainee, by=signature())
        state.opened_quiz = quiz.token
        st.toast(plain(f"Drawn: {_named(quiz)}."))
        st.rerun()


def _elsewhere(quizzes: tuple[Quiz, ...]) -> None:
    st.text("One file for a phone or another computer. The answers come back as a file, too.")
    by_token = {q.token: q for q in quizzes}
    token = st.selectbox(
        "Quiz to take along", by_token, format_func=lambda t: _named(by_token[t]), key="quiz-file"
    )
    quiz = by_token[token]
    st.download_button(
        "The quiz as a file (HTML)",
        lambda: teaching.readable(lambda: teaching.quiz_file(the_store(), quiz).encode()),
        f"quiz-{quiz.id}.html",
        "text/html",
        on_click="ignore",
    )
    for file in st.file_uploader("Answers that came back", type=["json"], accept_multiple_files=True):
        try:
            st.success(plain(teaching.bring_back(the_store(), file.getvalue(), file.name)))
        except ValueError as error:
            st.error(plain(f"{error}."))


if "opened_quiz" in state:  # a widget's value is set before the widget is shown
    state.quiz = state.pop("opened_quiz")
show()
