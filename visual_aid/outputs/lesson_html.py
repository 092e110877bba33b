"""A lesson as one HTML file that works without a network, on a phone too."""

from __future__ import annotations

from visual_aid.outputs.lesson import LessonSheet
from visual_aid.outputs.onefile import render


def lesson_html(sheet: LessonSheet) -> str:
    """Write a lesson as one HTML file with its pictures inside.

    Every text is escaped, and the file's own policy keeps a browser from running scripts or fetching
    anything.
    """
    return render("lesson.html", sheet=sheet)
