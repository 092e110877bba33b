"""The scale cards and their ruler as a page to print."""

from __future__ import annotations

import io

from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas

from visual_aid.measure.scale_card import BOARDS, LARGE, RULER, Board, black_parts
from visual_aid.outputs.paper import SIZE, Paper

_STEPS = (
    "Print at 100 %, without fitting to the page, on matt paper.",
    f"Measure the ruler with a steel rule: {RULER:.0f} mm have to be {RULER:.0f} mm. If not, tell the "
    f"tool what they are.",
    "Cut the cards out along the thin lines, white rim included, and glue them to something flat and stiff.",
    "Lay a card flat in the plane of the part, near it. The large one is for an air spring or a wheel arch, "
    "the small one for a rod end or a hole.",
)


def scale_card_pdf(paper: Paper) -> bytes:
    """Give the page with both cards and the ruler.

    Parameters
    ----------
    paper : str
        ``A4`` or ``Letter``; both hold the cards at the same size.

    Returns
    -------
    bytes
        A PDF file, the same for every call.
    """
    width, height = SIZE[paper]
    data = io.BytesIO()
    page = Canvas(data, pagesize=(width, height), invariant=True)
    page.setTitle("Scale cards")
    left = (width - LARGE.size[0] * mm) / 2
    top = height - 16 * mm
    for board in BOARDS:
        top -= board.size[1] * mm
        _draw_card(page, board, left, top)
        top -= 14 * mm
    _draw_ruler(page, left, top)
    page.setFont("Helvetica", 8.5)
    for i, step in enumerate(_STEPS):
        page.drawString(left, top - (9 + 4.4 * i) * mm, f"{i + 1}.  {step}"[:118])
    page.showPage()
    page.save()
    return data.getvalue()


def _draw_card(page: Canvas, board: Board, left: float, bottom: float) -> None:
    """Draw a card with its lower left corner at a place in points, and the line to cut along."""
    width, height = board.size
    page.setFillGray(0)
    for x, y, w, h in black_parts(board):
        # A hair of overlap, so that no printer leaves a white line between cells.
        page.rect(
            left + x * mm, bottom + (height - y - h) * mm, w * mm + 0.02, h * mm + 0.02, stroke=0, fill=1
        )
    rim = 0.18 * board.square * mm
    page.setLineWidth(0.25)
    page.setStrokeGray(0.7)
    page.rect(left - rim, bottom - rim, width * mm + 2 * rim, height * mm + 2 * rim)


def _draw_ruler(page: Canvas, left: float, bottom: float) -> None:
    page.setStrokeGray(0)
    page.setLineWidth(0.3)
    page.setFont("Helvetica", 7)
    page.line(left, bottom, left + RULER * mm, bottom)
    for tick in range(round(RULER) + 1):
        long = 5.0 if tick % 10 == 0 else 3.5 if tick % 5 == 0 else 2.2
        page.line(left + tick * mm, bottom, left + tick * mm, bottom + long * mm)
        if tick % 10 == 0:
            page.drawCentredString(left + tick * mm, bottom + 5.8 * mm, str(tick))
    page.drawString(left + (RULER + 2) * mm, bottom + 0.5 * mm, "mm")
