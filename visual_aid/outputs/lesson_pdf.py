"""A lesson as a PDF handout, on A4 or Letter paper."""

from __future__ import annotations

from typing import Any

from reportlab.lib.units import mm
from reportlab.platypus import HRFlowable, KeepTogether, Spacer

from visual_aid import __version__
from visual_aid.outputs.lesson import LessonPage, LessonSheet
from visual_aid.outputs.paper import LINE, Document, Letters, Paper, caution, side_by_side, write_pdf


def lesson_pdf(sheet: LessonSheet, paper: Paper = "A4") -> bytes:
    """Write a lesson as a PDF handout.

    Pictures carry no metadata of the camera. A letter that the font lacks loses its marks or becomes
    ``LACKING``, and the handout's end says which ones.
    """
    document = Document(sheet.title, sheet.by, __version__)
    return write_pdf(document, lambda letters: _story(sheet, letters), paper)


def _story(sheet: LessonSheet, letters: Letters) -> list[Any]:
    p = letters.paragraph
    story = [p(sheet.title, "title")]
    story += [p(sheet.opening)] if sheet.opening else []
    story += [Spacer(1, 2 * mm), caution(letters), Spacer(1, 4 * mm)]
    for number, page in enumerate(sheet.pages, 1):
        story += _page(number, page, letters)
    if letters.note:
        story += [Spacer(1, 5 * mm), p(letters.note, "small")]
    return story


def _page(number: int, page: LessonPage, letters: Letters) -> list[Any]:
    p, wording = letters.paragraph, page.example.wording
    grade = f" ({wording.grade})" if page.example.role == "evidence" else ""
    head = [p(f"{number}  {page.title}{grade}", "finding")]
    head += [p(page.words)] if page.words else []
    head += [p(page.trouble)] if page.trouble else []
    head += [side_by_side(page.pictures), Spacer(1, 1.5 * mm)] if page.pictures else []
    body = [p(wording.caption)] if wording.caption else []
    body += [p(f"What the hand check showed: {wording.hand_check}")] if wording.hand_check else []
    body += [p(" · ".join(wording.tags), "small")] if wording.tags else []
    rule = HRFlowable(width="100%", thickness=0.4, color=LINE, spaceBefore=4, spaceAfter=4)
    return [KeepTogether([*head, *body]), rule]
