import csv
import datetime as dt
import io
import re
import zipfile

import numpy as np
import pypdf
import pytest
from PIL import Image

from visual_aid.model import Candidate, Trouble
from visual_aid.outputs.lesson import draw_lesson, lesson_zip
from visual_aid.outputs.lesson_html import lesson_html
from visual_aid.outputs.lesson_pdf import lesson_pdf
from visual_aid.photo import PhotoError
from visual_aid.records.teaching import Example, Lesson, Step, Wording

AT = dt.datetime(2026, 5, 4, tzinfo=dt.UTC)


def example(number, cue="rust_trail", outcome="confirmed", photo="p", **wording):
    box = (600.0, 400.0, 120.0, 200.0)
    corners = ((600.0, 400.0), (720.0, 400.0), (660.0, 600.0))
    body = None if cue is None else Candidate(1, cue, 1, box, corners, 0.9)
    return Example(number, photo, 1600, 1200, number, body, "engine", outcome, Wording(**wording), "Mo", AT)


def pixels(photo):
    if photo == "gone":
        raise PhotoError(Trouble("missing", "IMG_1.jpg is not there"))
    return np.random.default_rng(1).integers(0, 256, (1200, 1600, 3), np.uint8)


@pytest.fixture(scope="module")
def sheet():
    examples = [
        example(
            1,
            caption="<b>a run</b> of 3.2 nut radii",
            hand_check="turned a quarter",
            tags=("=1+1", "wheel end"),
        ),
        example(2, outcome="ruled_out", caption="a reflector"),
        example(3, cue=None, outcome=None),
        example(4, photo="gone"),
    ]
    steps = (Step(1, "Look below the nut."), Step(2), Step(9), Step(3), Step(4))
    lesson = Lesson(1, "Rust & runs", "Gloves on.", steps, "Mo", AT)
    return draw_lesson(lesson, {e.id: e for e in examples}, pixels)


def test_a_lesson_shows_its_steps_in_order(sheet):
    assert [p.title for p in sheet.pages] == [
        "Rust trail",
        "Looks like it, and is not: rust trail",
        "Nothing wrong here",
        "Rust trail",
    ]
    assert [len(p.pictures) for p in sheet.pages] == [2, 2, 1, 0]
    assert "IMG_1.jpg is not there" in sheet.pages[3].trouble


def test_html_is_one_file_without_script_or_address(sheet):
    html = lesson_html(sheet)
    assert "&lt;b&gt;a run&lt;/b&gt;" in html
    assert "<script" not in html
    assert "default-src 'none'" in html
    assert len(re.findall(r'src="data:image/jpeg;base64,', html)) == 5
    assert not re.search(r"""(src|href)\s*=\s*["'](?!data:)""", html)
    for said in ("Rust &amp; runs", "Gloves on.", "Look below the nut.", "turned a quarter", "wheel end"):
        assert said in html


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_the_handout_says_the_same(sheet, paper):
    read = pypdf.PdfReader(io.BytesIO(lesson_pdf(sheet, paper)))
    text = "\n".join(page.extract_text() for page in read.pages)
    for said in (
        "Rust & runs",
        "Look below the nut.",
        "<b>a run</b>",
        "turned a quarter",
        "Nothing wrong here",
    ):
        assert said in text
    assert sum(len(page.images) for page in read.pages) == 5


def test_the_folder_has_its_pictures_and_a_table(sheet):
    archive = zipfile.ZipFile(io.BytesIO(lesson_zip(sheet)))
    rows = list(csv.DictReader(io.StringIO(archive.read("lesson.csv").decode("utf-8-sig"))))
    assert [r["role"] for r in rows] == ["evidence", "look-alike", "nothing wrong", "evidence"]
    assert rows[0]["tags"] == "'=1+1; wheel end"
    named = {r[kind] for r in rows for kind in ("close", "wide")} - {""}
    assert named == {n for n in archive.namelist() if n.endswith(".jpg")}
    for name in named:
        picture = Image.open(io.BytesIO(archive.read(name)))
        assert not picture.getexif()
        assert max(picture.size) <= 1000
    assert lesson_zip(sheet) == lesson_zip(sheet)
