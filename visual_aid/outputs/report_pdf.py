"""A visit's report as a PDF file, on A4 or Letter paper."""

from __future__ import annotations

import functools
import io
import unicodedata
from collections.abc import Callable, Sequence
from typing import Any, Literal
from xml.sax.saxutils import escape

from reportlab import rl_config
from reportlab.lib.colors import HexColor
from reportlab.lib.pagesizes import A4, LETTER
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.lib.utils import ImageReader
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFError, TTFont
from reportlab.platypus import (
    CondPageBreak,
    HRFlowable,
    Image,
    KeepTogether,
    Paragraph,
    SimpleDocTemplate,
    Spacer,
    Table,
    TableStyle,
)

from visual_aid.outputs.report import (
    CAUTION,
    NO_CHECK,
    OTHER_CHECKS,
    QUIET_NOTE,
    Remark,
    Report,
    ReportFinding,
    check_lines,
)
from visual_aid.outputs.report_pictures import FindingPictures, Pictures, draw_pictures

# Pictures go in as they are: as text they would be a quarter longer and take seconds to write.
rl_config.useA85 = 0

Paper = Literal["A4", "Letter"]
_SIZE = {"A4": A4, "Letter": LETTER}
_MARGIN, _HEAD, _FOOT = 17 * mm, 20 * mm, 22 * mm
_PADDING = 6  # points, of reportlab's frame
_PICTURE_HEIGHT, _GAP = 66 * mm, 3 * mm
_ROOM = A4[0] - 2 * (_MARGIN + _PADDING)  # across the narrower of the papers
_THUMBNAIL = 24 * mm
_INK, _FAINT, _LINE, _CAUTION = (HexColor(c) for c in ("#1a1a1a", "#555555", "#b8bcc4", "#fff4d6"))

TEXT, BOLD = "ReportText", "ReportText-Bold"
_FONTS = (("DejaVuSans.ttf", "DejaVuSans-Bold.ttf"), ("Vera.ttf", "VeraBd.ttf"))
"""The second pair comes with reportlab; the first draws the same Latin letters and many others, and is
taken where the machine has it."""
LACKING = "◊"
"""Stands for a letter that the font lacks; both fonts have it."""

_STYLE = {
    name: ParagraphStyle(name, fontName=font, fontSize=size, leading=size * 1.35, textColor=ink, **more)
    for name, font, size, ink, more in (
        ("text", TEXT, 9, _INK, {"spaceAfter": 2}),
        ("small", TEXT, 7.5, _FAINT, {"leftIndent": 8, "spaceAfter": 1}),
        ("title", BOLD, 17, _INK, {"spaceAfter": 6}),
        ("section", BOLD, 13, _INK, {"spaceBefore": 12, "spaceAfter": 5}),
        ("place", BOLD, 10.5, _INK, {"spaceBefore": 6, "spaceAfter": 3}),
        ("finding", BOLD, 9.5, _INK, {"spaceBefore": 4, "spaceAfter": 3}),
    )
}


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
    _register_fonts()
    pictures = draw_pictures(report)
    letters = Letters()

    def story() -> list[Any]:
        return _story(report, pictures, letters)

    # Built twice: only the first build tells how many pages there are.
    pages, _ = _build(story(), report, paper, letters, total=None)
    _, data = _build(story(), report, paper, letters, total=pages)
    return data


class Letters:
    """Text as the font can show it, and which letters it could not."""

    def __init__(self) -> None:
        self.missing: set[str] = set()
        self._glyphs: frozenset[int] = frozenset(pdfmetrics.getFont(TEXT).face.charToGlyph)

    def shown(self, text: str) -> str:
        """Give the text with every letter the font lacks replaced; line breaks stay."""
        text = unicodedata.normalize("NFC", text.replace("\r\n", "\n").replace("\r", "\n"))
        return "".join(self._letter(c) for c in text)

    def paragraph(self, text: str, style: str = "text") -> Any:  # noqa: ANN401  reportlab is untyped
        """Give a paragraph of plain text."""
        return Paragraph(escape(self.shown(text)).replace("\n", "<br/>"), _STYLE[style])

    def _letter(self, letter: str) -> str:
        category = unicodedata.category(letter)
        if letter in "\n ":
            return letter
        if category in ("Cc", "Zl", "Zp"):
            return " "
        if category == "Cf":  # joiners and direction marks, which are not seen
            return ""
        # Letters written from right to left would come out in the wrong order.
        backwards = unicodedata.bidirectional(letter) in ("R", "AL")
        if ord(letter) in self._glyphs and not backwards:
            return letter
        self.missing.add(letter)
        plain = [c for c in unicodedata.normalize("NFKD", letter) if not unicodedata.combining(c)]
        if plain and all(ord(c) in self._glyphs for c in plain) and not backwards:
            return "".join(plain)
        return LACKING

    @property
    def note(self) -> str:
        """Say which letters were replaced; empty if none was."""
        codes = sorted(f"U+{ord(c):04X}" for c in self.missing)
        more = f" and {len(codes) - 40} more" if len(codes) > 40 else ""
        return (
            f"This file's font lacks some letters; they stand without their marks or as {LACKING}: "
            f"{', '.join(codes[:40])}{more}. The HTML form of the report has them."
            if codes
            else ""
        )


@functools.cache
def _register_fonts() -> None:
    for text, bold in _FONTS:
        try:
            fonts = [TTFont(TEXT, text), TTFont(BOLD, bold)]
        except TTFError:
            continue
        for font in fonts:
            pdfmetrics.registerFont(font)
        return


def _build(
    story: list[Any], report: Report, paper: Paper, letters: Letters, total: int | None
) -> tuple[int, bytes]:
    data = io.BytesIO()
    document = SimpleDocTemplate(
        data,
        pagesize=_SIZE[paper],
        leftMargin=_MARGIN,
        rightMargin=_MARGIN,
        topMargin=_HEAD,
        bottomMargin=_FOOT,
        title=letters.shown(report.title),
        author=letters.shown(report.inspector),
        creator=f"visual-aid {report.engine}",
        lang="en",
    )
    frame = _frame(report, letters, total)
    document.build(story, onFirstPage=frame, onLaterPages=frame)
    return int(document.page), data.getvalue()


def _frame(report: Report, letters: Letters, total: int | None) -> Callable[[Any, Any], None]:
    """Give what draws the head and foot of a page: title, standing caution, page number."""

    def draw(canvas: Any, document: Any) -> None:  # noqa: ANN401
        width, height = document.pagesize
        left, room = _MARGIN + _PADDING, width - 2 * (_MARGIN + _PADDING)
        canvas.saveState()
        canvas.setStrokeColor(_LINE)
        canvas.setLineWidth(0.4)
        canvas.line(left, _FOOT - 3 * mm, left + room, _FOOT - 3 * mm)
        canvas.setFillColor(_FAINT)
        canvas.setFont(TEXT, 7.5)
        title = letters.shown(report.title).replace("\n", " ")
        while pdfmetrics.stringWidth(title, TEXT, 7.5) > room:
            title = title[: len(title) * 9 // 10].rstrip() + "…" if len(title) > 10 else ""
        canvas.drawString(left, height - 13 * mm, title)
        page = f"Page {document.page}" + (f" of {total}" if total is not None else "")
        canvas.drawRightString(left + room, _FOOT - 16 * mm, page)
        caution = letters.paragraph(CAUTION, "small")
        _, tall = caution.wrap(room - 24 * mm, _FOOT)
        caution.drawOn(canvas, left - 8, _FOOT - 5 * mm - tall)
        canvas.restoreState()

    return draw


def _story(report: Report, pictures: Pictures, letters: Letters) -> list[Any]:
    p = letters.paragraph
    story = [p(report.title, "title"), _facts(report, letters), Spacer(1, 3 * mm), _caution(letters)]
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
    story.append(p("Could not be judged", "section"))
    story += _remarks(report.not_judged, pictures.not_judged, letters)

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
    style = [("VALIGN", (0, 0), (-1, -1), "TOP"), ("LINEBELOW", (0, 0), (-1, -1), 0.4, _LINE)]
    return Table(rows, colWidths=[34 * mm, None], style=TableStyle([*style, *_tight()]), splitInRow=1)


def _caution(letters: Letters) -> Any:  # noqa: ANN401
    style = [("BACKGROUND", (0, 0), (-1, -1), _CAUTION), ("BOX", (0, 0), (-1, -1), 0.6, _INK)]
    return Table([[letters.paragraph(CAUTION)]], style=TableStyle(style))


def _finding(
    finding: ReportFinding, number: int, pictures: FindingPictures, heading: Sequence[Any], letters: Letters
) -> list[Any]:
    p = letters.paragraph
    taken = f", taken {finding.photo.taken.replace('T', ' ')}" if finding.photo.taken else ""
    head = [*heading, p(f"{number}  {finding.label}", "finding")]
    head.append(p(pictures.trouble) if pictures.trouble else _side_by_side(pictures))
    head.append(Spacer(1, 1.5 * mm))
    lines = [f"Reason: {finding.why}", f"Decision: {finding.decided}", f"Photo: {finding.photo.name}{taken}"]
    lines += [f"Follow-up: {finding.follow_up}"] if finding.follow_up else []
    body = [p(line) for line in lines]
    body += [] if finding.checks else [p(f"Hand check: {NO_CHECK}")]
    for record in finding.checks:
        first, *rest = check_lines(record)
        body += [p(f"Hand check: {first}"), *(p(line, "small") for line in rest)]
    rule = HRFlowable(width="100%", thickness=0.4, color=_LINE, spaceBefore=4, spaceAfter=4)
    return [KeepTogether([*head, body[0]]), *body[1:], rule]


def _side_by_side(pictures: FindingPictures) -> Any:  # noqa: ANN401
    files = (pictures.close, pictures.wide)
    sizes = [ImageReader(io.BytesIO(data)).getSize() for data in files]
    height = min(_PICTURE_HEIGHT, (_ROOM - 2 * _GAP) / sum(w / h for w, h in sizes))
    widths = [height * w / h for w, h in sizes]
    row = [Image(io.BytesIO(data), width, height) for data, width in zip(files, widths, strict=True)]
    style = TableStyle([("VALIGN", (0, 0), (-1, -1), "TOP"), *_tight()])
    return Table([row], colWidths=[width + _GAP for width in widths], hAlign="LEFT", style=style)


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
    style = [("VALIGN", (0, 0), (-1, -1), "TOP"), ("LINEBELOW", (0, 0), (-1, -1), 0.4, _LINE)]
    widths = [_THUMBNAIL + 4 * mm, None]
    return [Table(rows, colWidths=widths, style=TableStyle([*style, *_tight()]), splitInRow=1)]


def _signature(letters: Letters) -> Any:  # noqa: ANN401
    row = [letters.paragraph("Inspector's signature", "small"), "", letters.paragraph("Date", "small")]
    style = [("LINEABOVE", (0, 0), (0, 0), 0.8, _INK), ("LINEABOVE", (2, 0), (2, 0), 0.8, _INK)]
    return Table([row], colWidths=[90 * mm, 10 * mm, 50 * mm], hAlign="LEFT", style=TableStyle(style))


def _tight() -> list[tuple[Any, ...]]:
    everywhere = ((0, 0), (-1, -1))
    return [
        ("LEFTPADDING", *everywhere, 0),
        ("RIGHTPADDING", *everywhere, 3),
        ("TOPPADDING", *everywhere, 2),
        ("BOTTOMPADDING", *everywhere, 2),
    ]
