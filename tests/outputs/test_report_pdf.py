"""The report as PDF, read back with pypdf."""

import io
import re

import numpy as np
import pypdf
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image
from reportlab.pdfbase import pdfmetrics

from visual_aid.outputs import paper as module
from visual_aid.outputs.paper import LACKING, TEXT, Letters
from visual_aid.outputs.report import Place, Remark
from visual_aid.outputs.report_pdf import report_pdf
from visual_aid.outputs.wording import REPORT_CAUTION
from visual_aid.photo import read_photo


def read(data):
    reader = pypdf.PdfReader(io.BytesIO(data))
    pages = [re.sub(r"\s+", " ", page.extract_text()) for page in reader.pages]
    return reader, pages


@pytest.fixture(params=[0, 1], ids=["first choice", "reportlab's own"])
def fonts(request, monkeypatch):
    """Have the PDF written with either pair of fonts, where the machine has the first."""
    monkeypatch.setattr(module, "_FONTS", module._FONTS[request.param :])
    module._register_fonts.cache_clear()
    module._register_fonts()
    yield pdfmetrics.getFont(TEXT).face
    module._register_fonts.cache_clear()


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_everything_of_the_visit_is_read_back(report, paper, fonts):
    visit = report()
    _, pages = read(report_pdf(visit, paper))
    text = " ".join(pages)
    for name, value in visit.facts:
        assert f"{name} {value}" in text
    for finding in visit.findings:
        for part in (
            str(finding.photo.place),
            finding.label,
            finding.why,
            finding.decided,
            finding.photo.name,
        ):
            assert part in text
    for part in (
        "Hand check: Torque-rod and bushing movement by hand: Beyond the limit stated",
        "Found: 5 mm (has to be at most 3.2 mm)",
        "Source: common practice, no source.",
        "Follow-up: Replace the bushing.",
        "Hand check: No hand check recorded.",
        "Photographed and found quiet Nothing was confirmed on these photos. That proves no joint tight.",
        "Axle 3 left, hanger Nothing flagged. hanger.jpg",
        "Not judged or not decided Position not given Too dark: take it again with a lamp. dark.jpg",
        "Walkaround: 2 days overdue.",
        "Inspector's signature",
    ):
        assert part in text
    assert text.index("U-bolts") < text.index("torque rod")


def test_findings_of_a_report_without_any_are_none(report):
    _, pages = read(report_pdf(report(findings=(), quiet=(), not_judged=(), due=())))
    text = " ".join(pages)
    assert "Findings None." in text
    assert "Not judged or not decided None." in text
    assert "What is due Nothing on record." in text


@pytest.mark.parametrize(("paper", "size"), [("A4", (210, 297)), ("Letter", (215.9, 279.4))])
def test_pages_have_their_paper_caution_and_number(report, finding, paper, size):
    reader, pages = read(report_pdf(report(findings=(finding(),) * 7), paper))
    assert len(pages) >= 4
    for number, (page, text) in enumerate(zip(reader.pages, pages, strict=True), 1):
        millimetres = [float(v) / 72 * 25.4 for v in (page.mediabox.width, page.mediabox.height)]
        assert millimetres == pytest.approx(size, abs=0.1)
        assert f"Page {number} of {len(pages)}" in text
        assert REPORT_CAUTION in text
        assert text.startswith("Visit report: unit 231, 4 May 2026")


def test_every_finding_has_its_close_up_and_wide_shot(report):
    reader, _ = read(report_pdf(report(not_judged=())))
    sizes = [image.image.size for page in reader.pages for image in page.images]
    assert sorted(sizes) == [(260, 195), (320, 320), (320, 320), (400, 300), (400, 300)]


@pytest.mark.parametrize("shape", [(300, 400), (400, 300), (100, 1600), (1600, 100)])
@pytest.mark.parametrize(("paper", "width"), [("A4", 210), ("Letter", 215.9)])
def test_pictures_keep_within_the_margins(report, finding, photo, shape, paper, width):
    shot = photo("a.jpg", pixels=lambda: np.full((*shape, 3), 120, np.uint8))
    reader, _ = read(
        report_pdf(report(findings=(finding(photo=shot, box=(0, 0, shape[1], shape[0])),)), paper)
    )
    edges = []

    def look(operator, _operands, matrix, _text_matrix):
        if operator == b"Do":
            edges.append((matrix[4] / 72 * 25.4, (matrix[4] + matrix[0]) / 72 * 25.4))

    for page in reader.pages:
        page.extract_text(visitor_operand_before=look)
    assert len(edges) == 4
    assert min(left for left, _ in edges) >= 17
    assert max(right for _, right in edges) <= width - 17


def test_title_and_author_are_those_of_the_visit(report):
    reader, _ = read(report_pdf(report(inspector="Zoë")))
    assert reader.metadata.title == "Visit report: unit 231, 4 May 2026"
    assert reader.metadata.author == "Zoë"


def test_markup_in_texts_is_only_text(report, finding):
    text = '<b>&amp; <img src="file:///etc/hostname"/> <para></wrong>'
    _, pages = read(report_pdf(report(unit=text, findings=(finding(note=text, label=text),))))
    assert " ".join(pages).count(text) >= 4


def test_long_texts_run_over_pages(report, finding, photo):
    words = " ".join(f"word{i}" for i in range(3000))
    visit = report(
        findings=(finding(note=words),),
        quiet=(Remark(photo("a.jpg"), words),),
        inspector="x" * 3000,
        unit="y" * 500,
    )
    _, pages = read(report_pdf(visit))
    assert " ".join(pages).count("word2999") == 2


# Every test case makes a PDF.
@settings(max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(text=st.text(st.characters(), max_size=80))
def test_no_text_stops_it(report, finding, photo, text):
    place = Place(1, "left", text)
    visit = report(
        unit=text,
        inspector=text,
        engine=text,
        findings=(finding(label=text, note=text, reason=text, by=text, photo=photo(text, place)),),
        quiet=(Remark(photo(text, place), text),),
        not_judged=(),
    )
    assert report_pdf(visit).startswith(b"%PDF")


def test_letters_that_the_font_lacks_are_replaced_and_named(report, fonts):
    _, pages = read(report_pdf(report(inspector="Ωmega 検査 Łukasz")))
    text = " ".join(pages)
    assert f"Inspector Ωmega {LACKING * 2} Łukasz" in text
    assert "U+67FB, U+691C" in text


def test_letters_lose_marks_before_they_are_lost(fonts):
    letters = Letters()
    shown = letters.shown("Gągor ３ ½")
    if ord("ą") in fonts.charToGlyph:
        assert shown == "Gągor 3 ½"
    else:
        assert shown == "Gagor 3 ½"
        assert "U+0105" in letters.note
    assert letters.shown(f"a{LACKING}\r\nb\tc") == f"a{LACKING}\nb c"


def test_letters_of_right_to_left_scripts_are_not_shown_in_the_wrong_order(fonts):
    letters = Letters()
    assert letters.shown("אב") == LACKING * 2
    assert letters.note


def test_without_lacking_letters_there_is_no_note(fonts):
    letters = Letters()
    assert letters.shown("Prüfer — 3.2 mm ≤ 45°") == "Prüfer — 3.2 mm ≤ 45°"
    assert letters.note == ""


def test_forty_photos_stay_under_ten_megabytes(report, finding, photo):
    noise = np.random.default_rng(1).integers(0, 256, (750, 1000, 3), np.uint8)
    found = tuple(
        finding(photo=photo(f"{i}.jpg", pixels=lambda: noise), box=(100, 100, 300, 300)) for i in range(40)
    )
    assert len(report_pdf(report(findings=found))) < 10e6


def test_the_camera_s_data_stay_out(report, finding, photo, tmp_path):
    exif = Image.Exif()
    exif[0x0110] = "CAMERA-NAME"
    exif.get_ifd(0x8825).update({1: "N", 2: (48.0, 12.0, 34.0), 3: "E", 4: (11.0, 30.0, 0.0)})
    path = tmp_path / "gps.jpg"
    Image.new("RGB", (400, 300), "gray").save(path, exif=exif)
    assert read_photo(path).capture.position is not None
    with_position = photo("gps.jpg", pixels=lambda: read_photo(path).full)
    reader, _ = read(report_pdf(report(findings=(finding(photo=with_position),), quiet=())))
    streams = [image.data for page in reader.pages for image in page.images]
    assert streams
    assert not any(b"Exif" in data or b"CAMERA-NAME" in data for data in streams)
