"""Figures of quizzes in words and tables."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape

import streamlit as st

from visual_aid.gallery.detection import Counts, Estimate, Skill, skill
from visual_aid.gallery.progress import Result, marked, result, weak_cues
from visual_aid.outputs.palette import SIGN_STYLE
from visual_aid.outputs.wording import counted
from visual_aid.records.teaching import Sitting

HEADS = ("", "Hits", "Misses", "False alarms", "Rightly left", "d′ (95 %)", "c (95 %)")
WHAT_IT_MEANS = (
    "d′ tells how well evidence is told from none: 0 is guessing, 1 fair, 2 good, 3 hardly ever wrong. "
    "c tells which way the errors go: above 0 evidence is overlooked, below 0 too much is called loose. "
    "Wide intervals mean few photos: ask more before judging anyone."
)


def summary(sitting: Sitting) -> None:
    """Show what came of one sitting."""
    found = result(marked(sitting))
    st.text(remark(found))
    figures(found)
    st.caption(WHAT_IT_MEANS)


def remark(found: Result) -> str:
    """Say in plain words what came of it."""
    overall = found.overall
    said = [f"Found on {overall.hits} of {counted(overall.with_evidence, 'photo')} with evidence."]
    said.append(f"False alarm on {overall.false_alarms} of {overall.without} without.")
    if found.misnamed:
        said.append(f"Called something else: {found.misnamed}.")
    if found.fell_for:
        said.append(f"Fell for look-alikes: {found.fell_for}.")
    weak = weak_cues(found.by_cue)
    if weak:
        said.append(f"To practise: {', '.join(SIGN_STYLE[cue].label.lower() for cue in weak)}.")
    return " ".join(said)


def figures(found: Result) -> None:
    """Show hits, misses and false alarms, overall and cue by cue."""
    rows = [row("All cues", found.overall)]
    rows += [row(SIGN_STYLE[cue].label, counts) for cue, counts in found.by_cue.items()]
    table(HEADS, rows)


def row(name: str, counts: Counts) -> list[str]:
    """Give the cells of one line of figures."""
    cells = map(str, (counts.hits, counts.misses, counts.false_alarms, counts.rejections))
    return [name, *cells, *told(skill(counts))]


def told(found: Skill | None) -> tuple[str, str]:
    """Give d' and c with their intervals, dashes where there is nothing to estimate them from."""
    return ("–", "–") if found is None else (estimate(found.sensitivity), estimate(found.criterion))


def estimate(figure: Estimate) -> str:
    """Give a figure with its interval."""
    value, low, high = (round(v, 2) + 0.0 for v in (figure.value, *figure.interval))  # + 0.0: no minus zero
    return f"{value:.2f} ({low:.2f} to {high:.2f})".replace("-", "−")


def table(heads: Sequence[str], rows: Iterable[Sequence[str]]) -> None:
    """Show a table that scrolls on a narrow screen."""
    head = "".join(f"<th>{escape(cell)}</th>" for cell in heads)
    body = "".join("<tr>" + "".join(f"<td>{escape(cell)}</td>" for cell in one) + "</tr>" for one in rows)
    st.html(f'<div class="table"><table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table></div>')
