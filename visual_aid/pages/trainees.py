"""How trainees and groups do over time, and how the engine does on the same photos."""

from __future__ import annotations

from collections.abc import Mapping
from html import escape

import streamlit as st

from visual_aid.gallery.detection import skill
from visual_aid.gallery.progress import ENGINE_SAYS, group_skill, marked, people_ahead, result
from visual_aid.outputs.wording import counted, day, local
from visual_aid.pages import teaching
from visual_aid.pages.results import HEADS, WHAT_IT_MEANS, figures, remark, row, table, told
from visual_aid.pages.session import the_store
from visual_aid.pages.teaching import Person
from visual_aid.records.teaching import Quiz, Sitting


def show() -> None:
    """Show everyone, a trainee and a group over time, and people beside the engine."""
    people = teaching.people(the_store())
    if not people:
        st.subheader("No answers yet", anchor=False)
        if st.button("Quiz", type="primary"):
            st.switch_page("quiz.py")
        return
    _everyone(people)
    _over_time(people)
    _beside_the_engine(people)


def _everyone(people: Mapping[str, Person]) -> None:
    st.subheader("Everyone", anchor=False)
    table(
        ("Trainee", "Group", "Quizzes", *HEADS[1:]),
        [
            [person.name, person.group, str(len(person.sittings)), *row("", person.result.overall)[1:]]
            for person in people.values()
        ],
    )
    lines = []
    for group, members in _groups(people).items():
        able = [p.result for p in members if skill(p.result.overall) is not None]
        lines.append((group, str(len(able)), *told(group_skill(able))))
    if lines:
        st.text("Groups, as the mean of their people")
        table(("Group", "People", *HEADS[-2:]), lines)
    st.caption(WHAT_IT_MEANS)


def _groups(people: Mapping[str, Person]) -> dict[str, list[Person]]:
    names = sorted({p.group for p in people.values() if p.group})
    return {name: [p for p in people.values() if p.group == name] for name in names}


def _over_time(people: Mapping[str, Person]) -> None:
    st.subheader("Over time", anchor=False)
    person = people[st.selectbox("Trainee", people, key="whose")]
    table(("When", "Quiz", *HEADS[1:]), [_line(sitting) for sitting in person.sittings])
    st.text(remark(person.result))
    figures(person.result)
    groups = _groups(people)
    if groups:
        group = st.selectbox("Group", groups, key="which-group")
        days = teaching.over_time(groups[group])
        table(("Day", "People", *HEADS[-2:]), [(day(d), str(n), *told(s)) for d, n, s in days])
        if len(days) > 1:
            st.line_chart(
                [{"day": d, "d′": s.sensitivity.value} for d, _, s in days], x="day", y="d′", height=220
            )


def _line(sitting: Sitting) -> list[str]:
    cells = row("", result(marked(sitting)).overall)[1:]
    done = "" if sitting.is_complete else f" ({len(sitting.answers)} of {len(sitting.quiz.items)})"
    return [local(sitting.at), sitting.quiz.title + done, *cells]


def _beside_the_engine(people: Mapping[str, Person]) -> None:
    st.subheader("Beside the engine", anchor=False)
    quizzes = {s.quiz.token: s.quiz for p in people.values() for s in p.sittings}
    quiz: Quiz = quizzes[st.selectbox("Quiz", quizzes, format_func=lambda t: quizzes[t].title, key="beside")]
    sittings = [s for p in people.values() for s in p.sittings if s.quiz.token == quiz.token]
    engine = teaching.engine_marks(the_store(), quiz)
    table(
        HEADS,
        [
            row("Engine", result(engine).overall),
            *(row(s.trainee, result(marked(s)).overall) for s in sittings),
        ],
    )
    flagged = [region for one in quiz.items for region in one.evidence]
    own = sum(region.source == "engine" for region in flagged)
    st.caption(
        f"The engine is taken to say that something is there from a score of {ENGINE_SAYS}. "
        f"Of {counted(len(flagged), 'piece')} of evidence {own} came into the records because the engine "
        "flagged it: that it finds those again says nothing."
    )
    ahead = people_ahead(engine, [marked(s) for s in sittings])
    if not ahead:
        st.text("On no photo of this quiz were most people right and the engine wrong.")
        return
    st.text(f"People beat the engine on {len(ahead)} of {len(quiz.items)} photos. It can learn from them:")
    st.download_button(
        "Labelled cases (ZIP)",
        lambda: teaching.readable(lambda: teaching.cases(the_store(), [quiz.items[n] for n in ahead])),
        f"cases-{quiz.id}.zip",
        "application/zip",
        on_click="ignore",
    )
    st.caption(
        "Unpacked into a folder, visual-aid evaluate FOLDER reads them. Photos carry no place, owner or "
        "serial number, and boxes are blurred."
    )
    pictures = "".join(
        f'<figure><img src="/shown/{escape(quiz.items[n].photo)}" alt="" loading="lazy">'
        f"<figcaption>Photo {n + 1}</figcaption></figure>"
        for n in ahead
    )
    st.html(f'<div class="strip">{pictures}</div>')


show()
