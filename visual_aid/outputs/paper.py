"""What every PDF of the tool is made of: paper, fonts and letters, head and foot, pictures side by side."""

from __future__ import annotations

import functools
import io
import unicodedata
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Literal, get_args
from xml.sax.saxutils import escape

from reportlab import rl_config
from reportlab.lib.colors import HexColor
from reportlab.lib.pagesizes import A4, LETTER
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.lib.utils import ImageReader
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFError, TTFont
from reportlab.platypus import Image, Paragraph, SimpleDocTemplate, Table, TableStyle

from visual_aid.outputs.wording import REPORT_CAUTION

# Pictures go in as they are: as text they would be a quarter longer and take seconds to write.
rl_config.useA85 = 0

Paper = Literal["A4", "Letter"]
PAPERS: tuple[Paper, ...] = get_args(Paper)
SIZE = {"A4": A4, "Letter": LETTER}
"""Width and height of a page, in points."""
_MARGIN, _HEAD, _FOOT = 17 * mm, 20 * mm, 22 * mm
_PADDING = 6  # points, of reportlab's frame
_PICTURE_HEIGHT, _GAP = 66 * mm, 3 * mm
_ROOM = A4[0] - 2 * (_MARGIN + _PADDING)  # across the narrower of the papers
INK, FAINT, LINE, _CAUTION = (HexColor(c) for c in ("#1a1a1a", "#555555", "#b8bcc4", "#fff4d6"))

TEXT, BOLD = "ReportText", "ReportText-Bold"
_FONTS = (("DejaVuSans.ttf", "DejaVuSans-Bold.ttf"), ("Vera.ttf", "VeraBd.ttf"))
"""The second pair comes with reportlab; the first draws the same Latin letters and many others, and is
taken where the machine has it."""
LACKING = "◊"
"""Stands for a letter that the font lacks; both fonts have it."""

STYLE = {
    name: ParagraphStyle(name, fontName=font, fontSize=size, leading=size * 1.35, textColor=ink, **more)
    for name, font, size, ink, more in (
        ("text", TEXT, 9, INK, {"spaceAfter": 2}),
        ("small", TEXT, 7.5, FAINT, {"leftIndent": 8, "spaceAfter": 1}),
        ("title", BOLD, 17, INK, {"spaceAfter": 6}),
        ("section", BOLD, 13, INK, {"spaceBefore": 12, "spaceAfter": 5}),
        ("place", BOLD, 10.5, INK, {"spaceBefore": 6, "spaceAfter": 3}),
        ("finding", BOLD, 9.5, INK, {"spaceBefore": 4, "spaceAfter": 3}),
    )
}


@dataclass(frozen=True, slots=True)
class Document:
    """What a file says of itself; ``title`` also stands at the head of every page."""

    title: str
    author: str
    engine: str


def write_pdf(document: Document, story: Callable[[Letters], list[Any]], paper: Paper) -> bytes:
    """Write a PDF file.

    Parameters
    ----------
    story : callable
        Gives what the file shows, afresh each time it is called.
    paper : str
        ``A4`` or ``Letter``.
    """
    _register_fonts()
    letters = Letters()
    # Built twice: only the first build tells how many pages there are.
    pages, _ = _build(story(letters), document, paper, letters, total=None)
    _, data = _build(story(letters), document, paper, letters, total=pages)
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
        return Paragraph(escape(self.shown(text)).replace("\n", "<br/>"), STYLE[style])

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
            f"{', '.join(codes[:40])}{more}. The HTML form has them."
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
    story: list[Any], document: Document, paper: Paper, letters: Letters, total: int | None
) -> tuple[int, bytes]:
    data = io.BytesIO()
    template = SimpleDocTemplate(
        data,
        pagesize=SIZE[paper],
        leftMargin=_MARGIN,
        rightMargin=_MARGIN,
        topMargin=_HEAD,
        bottomMargin=_FOOT,
        title=letters.shown(document.title),
        author=letters.shown(document.author),
        creator=f"visual-aid {document.engine}",
        lang="en",
    )
    frame = _frame(document.title, letters, total)
    template.build(story, onFirstPage=frame, onLaterPages=frame)
    return int(template.page), data.getvalue()


def _frame(title: str, letters: Letters, total: int | None) -> Callable[[Any, Any], None]:
    """Give what draws the head and foot of a page: title, standing caution, page number."""

    def draw(canvas: Any, document: Any) -> None:  # noqa: ANN401
        width, height = document.pagesize
        left, room = _MARGIN + _PADDING, width - 2 * (_MARGIN + _PADDING)
        canvas.saveState()
        canvas.setStrokeColor(LINE)
        canvas.setLineWidth(0.4)
        canvas.line(left, _FOOT - 3 * mm, left + room, _FOOT - 3 * mm)
        canvas.setFillColor(FAINT)
        canvas.setFont(TEXT, 7.5)
        head = letters.shown(title).replace("\n", " ")
        while pdfmetrics.stringWidth(head, TEXT, 7.5) > room:
            head = head[: len(head) * 9 // 10].rstrip() + "…" if len(head) > 10 else ""
        canvas.drawString(left, height - 13 * mm, head)
        page = f"Page {document.page}" + (f" of {total}" if total is not None else "")
        canvas.drawRightString(left + room, _FOOT - 16 * mm, page)
        caution = letters.paragraph(REPORT_CAUTION, "small")
        _, tall = caution.wrap(room - 24 * mm, _FOOT)
        caution.drawOn(canvas, left - 8, _FOOT - 5 * mm - tall)
        canvas.restoreState()

    return draw


def caution(letters: Letters) -> Any:  # noqa: ANN401
    """Give the standing caution in a box."""
    style = [("BACKGROUND", (0, 0), (-1, -1), _CAUTION), ("BOX", (0, 0), (-1, -1), 0.6, INK)]
    return Table([[letters.paragraph(REPORT_CAUTION)]], style=TableStyle(style))


def side_by_side(files: Sequence[bytes]) -> Any:  # noqa: ANN401
    """Give JPEG files as pictures of one height beside each other."""
    sizes = [ImageReader(io.BytesIO(data)).getSize() for data in files]
    height = min(_PICTURE_HEIGHT, (_ROOM - len(files) * _GAP) / sum(w / h for w, h in sizes))
    widths = [height * w / h for w, h in sizes]
    row = [Image(io.BytesIO(data), width, height) for data, width in zip(files, widths, strict=True)]
    style = TableStyle([("VALIGN", (0, 0), (-1, -1), "TOP"), *tight()])
    return Table([row], colWidths=[width + _GAP for width in widths], hAlign="LEFT", style=style)


def tight() -> list[tuple[Any, ...]]:
    """Give a table's style with little room around its cells."""
    everywhere = ((0, 0), (-1, -1))
    return [
        ("LEFTPADDING", *everywhere, 0),
        ("RIGHTPADDING", *everywhere, 3),
        ("TOPPADDING", *everywhere, 2),
        ("BOTTOMPADDING", *everywhere, 2),
    ]
