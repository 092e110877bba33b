"""A visit's report as one HTML file that needs nothing from elsewhere."""

from __future__ import annotations

import base64
from collections.abc import Sequence
from importlib import resources

import jinja2

from visual_aid.outputs.report import CAUTION, NO_CHECK, OTHER_CHECKS, QUIET_NOTE, Remark, Report, check_lines
from visual_aid.outputs.report_pictures import draw_pictures


def report_html(report: Report) -> str:
    """Write a report as one HTML file with its pictures inside.

    Pictures carry no metadata of the camera. Every text is escaped, and the file's own policy keeps a
    browser from running scripts or fetching anything.
    """
    template = (resources.files("visual_aid.outputs") / "report.html").read_text(encoding="utf-8")
    environment = jinja2.Environment(
        autoescape=True, undefined=jinja2.StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    environment.filters["jpeg"] = _data_url
    pictures = draw_pictures(report)

    page = environment.from_string(template).render(
        report=report,
        pictures=pictures,
        quiet=_by_place(report.quiet, pictures.quiet),
        not_judged=_by_place(report.not_judged, pictures.not_judged),
        check_lines=check_lines,
        caution=CAUTION,
        quiet_note=QUIET_NOTE,
        no_check=NO_CHECK,
        other_checks=OTHER_CHECKS,
    )
    return "".join(c if c >= " " or c in "\n\t" else " " for c in page.encode("utf-8", "replace").decode())


def _by_place(remarks: Sequence[Remark], thumbnails: Sequence[bytes]) -> list[tuple[Remark, bytes]]:
    return sorted(zip(remarks, thumbnails, strict=True), key=lambda pair: pair[0].photo.place.order)


def _data_url(jpeg: bytes) -> str:
    return f"data:image/jpeg;base64,{base64.b64encode(jpeg).decode()}"
