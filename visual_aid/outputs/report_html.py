"""A visit's report as one HTML file that needs nothing from elsewhere."""

from __future__ import annotations

from collections.abc import Sequence

from visual_aid.outputs.onefile import render
from visual_aid.outputs.report import (
    NO_CHECK,
    OTHER_CHECKS,
    OTHER_SHOTS,
    QUIET_NOTE,
    Remark,
    Report,
    check_lines,
)
from visual_aid.outputs.report_pictures import draw_pictures
from visual_aid.outputs.wording import REPORT_CAUTION


def report_html(report: Report) -> str:
    """Write a report as one HTML file with its pictures inside.

    Pictures carry no metadata of the camera. Every text is escaped, and the file's own policy keeps a
    browser from running scripts or fetching anything.
    """
    pictures = draw_pictures(report)
    return render(
        "report.html",
        report=report,
        pictures=pictures,
        quiet=_by_place(report.quiet, pictures.quiet),
        not_judged=_by_place(report.not_judged, pictures.not_judged),
        check_lines=check_lines,
        caution=REPORT_CAUTION,
        quiet_note=QUIET_NOTE,
        no_check=NO_CHECK,
        other_checks=OTHER_CHECKS,
        other_shots=OTHER_SHOTS,
    )


def _by_place(remarks: Sequence[Remark], thumbnails: Sequence[bytes]) -> list[tuple[Remark, bytes]]:
    return sorted(zip(remarks, thumbnails, strict=True), key=lambda pair: pair[0].photo.place.order)
