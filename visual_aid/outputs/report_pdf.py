"""A visit's report as a PDF file, on A4 or Letter paper."""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import Any

from reportlab.lib.units import mm
from reportlab.lib.utils import ImageReader
from reportlab.platypus import CondPageBreak, HRFlowable, Image, KeepTogether, Spacer, Table, TableStyle

from visual_aid.outputs.paper import (
    INK,
    LINE,
    Document,
    Letters,
    Paper,
    caution,
    side_by_side,
    tight,
    write_pdf,
)
from visual_aid.outputs.report import (
    NO_CHECK,
    OTHER_CHECKS,
    OTHER_SHOTS,
    QUIET_NOTE,
    Remark,
    Report,
    ReportFinding,
    check_lines,
)
from visual_aid.outputs.report_pictures import FindingPictures, Pictures, draw_pictures

_THUMBNAIL = 24 * mm


def report_pdf(report: Report, paper: Paper = "A4") -> bytes:
    """Write a report as PDF.

    Pictures carry no metadata of the camera. A letter that the font lacks loses its marks or becomes
    ``LACKING``, and the report's end says which ones.

    Parameters
    ----------
    report : Report
        The visit.
    paper : str
        ``A4`` or ``Letter``.
    """
    pictures = draw_pictures(report)
    document = Document(report.title, report.inspector, report.engine)
    return write_pdf(document, lambda letters: _story(report, pictures, letters), paper)


def _story(report: Report, pictures: Pictures, letters: Letters) -> list[Any]:
    p = letters.paragraph
    story = [p(report.title, "title"), _facts(report, letters), Spacer(1, 3 * mm), caution(letters)]
    story += [p("Summary", "section"), *(p(f"• {line}") for line in report.summary)]

    story.append(p("Findings", "section"))
    if not report.findings:
        story.append(p("None."))
    for place, findings in report.by_place:
        heading = [p(str(place), "place")]
        for number, finding in findings:
            story += _finding(finding, number, pictures.findings[number - 1], heading, letters)
            heading = []

    if report.checks:
        story.append(p(OTHER_CHECKS, "section"))
    for record in report.checks:
        first, *rest = check_lines(record)
        story += [p(first), *(p(line, "small") for line in rest)]

    story += [p("Photographed and found quiet", "section"), p(QUIET_NOTE)]
    story += _remarks(report.quiet, pictures.quiet, letters)
    story.append(p("Not judged or not decided", "section"))
    story += _remarks(report.not_judged, pictures.not_judged, letters)
    if report.other_shots:
        story.append(p(OTHER_SHOTS, "section"))
        story += [p(f"• {shot.photo.place}: {shot.photo.name}. {shot.say}") for shot in report.other_shots]

    story.append(p("What is due", "section"))
    story += [p(f"• {d.title}: {d.say}. Interval: {d.source}.") for d in report.due] or [
        p("Nothing on record.")
    ]
    story += [CondPageBreak(45 * mm), Spacer(1, 16 * mm), _signature(letters)]
    if letters.note:
        story += [Spacer(1, 5 * mm), p(letters.note, "small")]
    return story


def _facts(report: Report, letters: Letters) -> Any:  # noqa: ANN401
    rows = [[letters.paragraph(name, "finding"), letters.paragraph(value)] for name, value in report.facts]
    style = [("VALIGN", (0, 0), (-1, -1), "TOP"), ("LINEBELOW", (0, 0), (-1, -1), 0.4, LINE)]
    return Table(rows, colWidths=[34 * mm, None], style=TableStyle([*style, *tight()]), splitInRow=1)


def _finding(
    finding: ReportFinding, number: int, pictures: FindingPictures, heading: Sequence[Any], letters: Letters
) -> list[Any]:
    p = letters.paragraph
    taken = f", taken {finding.photo.taken.replace('T', ' ')}" if finding.photo.taken else ""
    head = [*heading, p(f"{number}  {finding.label}", "finding")]
    head.append(p(pictures.trouble) if pictures.trouble else side_by_side((pictures.close, pictures.wide)))
    head.append(Spacer(1, 1.5 * mm))
    lines = [f"Reason: {finding.why}", f"Decision: {finding.decided}", f"Photo: {finding.photo.name}{taken}"]
    lines += [f"Follow-up: {finding.follow_up}"] if finding.follow_up else []
    body = [p(line) for line in lines]
    body += [] if finding.checks else [p(f"Hand check: {NO_CHECK}")]
    for record in finding.checks:
        first, *rest = check_lines(record)
        body += [p(f"Hand check: {first}"), *(p(line, "small") for line in rest)]
    rule = HRFlowable(width="100%", thickness=0.4, color=LINE, spaceBefore=4, spaceAfter=4)
    return [KeepTogether([*head, body[0]]), *body[1:], rule]


def _remarks(remarks: Sequence[Remark], thumbnails: Sequence[bytes], letters: Letters) -> list[Any]:
    if not remarks:
        return [letters.paragraph("None.")]
    rows = []
    for remark, data in sorted(zip(remarks, thumbnails, strict=True), key=lambda r: r[0].photo.place.order):
        picture: Any = ""
        if data:
            width, height = ImageReader(io.BytesIO(data)).getSize()
            scale = _THUMBNAIL / max(width, height)
            picture = Image(io.BytesIO(data), width * scale, height * scale)
        words = f"{remark.photo.place}\n{remark.say}\n{remark.photo.name}"
        rows.append([picture, letters.paragraph(words)])
    style = [("VALIGN", (0, 0), (-1, -1), "TOP"), ("LINEBELOW", (0, 0), (-1, -1), 0.4, LINE)]
    widths = [_THUMBNAIL + 4 * mm, None]
    return [Table(rows, colWidths=widths, style=TableStyle([*style, *tight()]), splitInRow=1)]


def _signature(letters: Letters) -> Any:  # noqa: ANN401
    row = [letters.paragraph("Inspector's signature", "small"), "", letters.paragraph("Date", "small")]
    style = [("LINEABOVE", (0, 0), (0, 0), 0.8, INK), ("LINEABOVE", (2, 0), (2, 0), 0.8, INK)]
    return Table([row], colWidths=[90 * mm, 10 * mm, 50 * mm], hAlign="LEFT", style=TableStyle(style))
