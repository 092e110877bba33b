"""The printed cards: rendered from the PDF's own numbers, on both papers."""

import io

import pytest
from pypdf import PdfReader

from visual_aid.measure.scale_card import BOARDS, black_parts
from visual_aid.outputs.paper import PAPERS
from visual_aid.outputs.scale_card import scale_card_pdf

POINT = 25.4 / 72
"""Millimetres a point (PDF 32000-1, 8.3.2.3)."""


def rectangles(data):
    page = PdfReader(io.BytesIO(data)).pages[0]
    content = page.get_contents().get_data().decode("latin-1").split("\n")
    numbers = [line.split() for line in content if " re" in line]
    return page, [tuple(float(v) for v in row[row.index("re") - 4 : row.index("re")]) for row in numbers]


@pytest.mark.parametrize("paper", PAPERS)
def test_squares_have_their_size_in_millimetres_and_lie_on_the_page(paper):
    page, drawn = rectangles(scale_card_pdf(paper))
    for board in BOARDS:
        side = board.square / POINT
        squares = [r for r in drawn if abs(r[2] - side) < 0.05 and abs(r[3] - side) < 0.05]
        assert len(squares) == sum(1 for part in black_parts(board) if part[2] == board.square)
    width, height = float(page.mediabox.width), float(page.mediabox.height)
    for x, y, w, h in drawn:
        assert 10 < x < x + w < width - 10
        assert 10 < y < y + h < height - 10


def test_the_page_says_how_to_check_the_print():
    text = PdfReader(io.BytesIO(scale_card_pdf("A4"))).pages[0].extract_text()
    assert "100 %" in text
    assert "150 mm have to be 150 mm" in text
    assert scale_card_pdf("A4") == scale_card_pdf("A4")
