"""Whatever a person, a file name or a camera says stays text, wherever it comes out again."""

import csv
import datetime as dt
import io
import json
import re
import zipfile
from xml.etree import ElementTree

import numpy as np
import pyarrow.parquet as pq
import pytest
from click.testing import CliRunner
from PIL import ExifTags, Image
from pypdf import PdfReader

from visual_aid.cli import main
from visual_aid.followup.handchecks import checks, complete, read_answers
from visual_aid.followup.intervals import Done, Interval, Joint, due_list
from visual_aid.followup.logged import check_body, done_body, interval_body, joint_body
from visual_aid.model import Candidate, Fastener, NotJudged, Problem, Quality, Screening
from visual_aid.outputs.due_list import due_csv, due_ics
from visual_aid.outputs.events import events_csv
from visual_aid.outputs.exports import coco_json, worklist_csv, worklist_parquet, worklist_xlsx
from visual_aid.outputs.lesson import lesson_zip
from visual_aid.outputs.lesson_html import lesson_html
from visual_aid.outputs.lesson_pdf import lesson_pdf
from visual_aid.outputs.overlay import draw_overlay
from visual_aid.outputs.report_html import report_html
from visual_aid.outputs.report_pdf import report_pdf
from visual_aid.outputs.tables import candidates_csv
from visual_aid.outputs.visit_report import log_of, visit_report
from visual_aid.pages import teaching
from visual_aid.photo import read_photo_bytes
from visual_aid.records.teaching import Step, Wording

NOW = dt.datetime(2026, 5, 4, 9, 12, tzinfo=dt.UTC)

# How texts have been made to run or to break things: the classes of the OWASP cheat sheets on cross-site
# scripting and CSV injection, of Markdown's and LaTeX's own syntax and of terminals; from memory.
TEXTS = {
    "script": "<script>window.hit=1</script>",
    "handler": "\"'><img src=x onerror=window.hit=1><svg/onload=window.hit=1>",
    "way out": "</textarea></title></style></script>--><script>window.hit=1</script>",
    "link": "[here](javascript:window.hit=1) ![p](http://elsewhere.example/p.png) <http://elsewhere.example>",
    "markdown": "# **bold** `code` ~~x~~ | a | b | > q - l :red[red] :material/home: :smile:",
    "latex": "$\\href{javascript:window.hit=1}{x}$ $$\\frac{1}{2}$$",
    "template": "{{ 7 * 7 }} {% raw %} ${7*7} %s %(a)s {0} {name!r} <%= 7 %>",
    "formula": '=HYPERLINK("http://elsewhere.example","x")',
    "formula after a tab": "\t=1+1",
    "function": "@SUM(1+1)*cmd|' /C calc'!A0",
    "right to left": "\u202egpj.exe\u202c \u2066x \u200f.jpg",
    "lines": "a\r\nSet-Cookie: b\n\n# c\u2028d\x85e",
    "quotes": "'; DROP TABLE photo; -- \" ` \\' \\\" \\",
    "nought": "a\x00b\x07c\x1b[2J\x1b]0;t\x07",
    "long": "W" * 2000,
    "console": "[bold red]x[/] [/nope] [link=http://elsewhere.example]y[/link]",
    "path": "../../../etc/passwd",
}

MANY = {
    "all": " ".join(text for name, text in TEXTS.items() if name not in ("long", "lines")),
    **{name: TEXTS[name] for name in ("link", "markdown", "latex", "lines", "long")},
}
"""The same in few, for what takes long to make or to look at."""


@pytest.fixture
def say(store):
    """Give a way to fill the records with a text at every place that takes one."""

    def fill(text, seed=0):
        data = signed(seed, text)
        screening = Screening(
            "test",
            read_photo_bytes(data, text).info,
            Quality(False, (Problem("dark", 0.1, 0.2, text),)),
            (Fastener(1, "hex_nut", 100.0, 80.0, 20.0),),
            (flagged(1, "rust_trail", 0.9, text), flagged(2, "gap", 0.6, text)),
            (NotJudged("clean_outlier", text),),
            priority=0.9,
        )
        visit = store.visits.begin(text, NOW.date(), inspector=text, odometer=900.0, odometer_unit="mi")
        photo = store.add_photo(screening, data=data, visit=visit)
        store.visits.place({photo.id: (2, "left", text)}, by=text)
        rust, gap = store.candidates(photo.id)
        store.decide(rust.id, "confirmed", by=text, note=text)
        store.decide(gap.id, "cannot_tell", by=text, note=text)
        store.mark(photo.id, "chafe", (10, 10, 90, 90), by=text, note=text, reason=text)
        check = checks()["rod_movement"]
        answers = read_answers(check, {"movement": "5 mm", "knock": "no"})
        body = check_body(complete(check, answers, text, NOW, text))
        about = {"by": text, "visit": visit.id, "unit": text}
        store.logbook.write("hand_check", body, candidate=rust.id, **about)
        store.logbook.write("follow_up", {"say": text}, candidate=rust.id, **about)
        store.logbook.write("joint", joint_body(Joint(text, NOW.date())), **about)
        store.logbook.write(
            "duty_done", done_body(Done("break_in_retorque", NOW.date(), None, text)), **about
        )
        store.logbook.write("interval", interval_body("shop_inspection", Interval(text, 9, 0, None)), **about)
        kept = [teaching.keep(store, photo.id, store.candidate(rust.id), by=text)]
        store.gallery.say(kept[0].id, Wording("faint", text, text, (text,)), by=text)
        lesson = store.gallery.save_lesson(text, text, [Step(e.id, text) for e in kept], by=text)
        quiz = teaching.new_quiz(store, text, seed, 1, trainee="", by=text)
        store.quizzes.begin(quiz, text, text)
        return visit, photo, lesson, quiz

    return fill


def flagged(number, cue, score, text):
    box = (60.0, 90.0 + 30 * number, 80.0, 25.0)
    return Candidate(number, cue, 1, box, ((60, 120), (140, 120), (100, 145)), score, {"length_r": 3.2}, text)


def signed(seed, text):
    """Give a photo whose camera says a text wherever a camera may say one."""
    image = Image.fromarray(np.random.default_rng(seed).integers(60, 190, (240, 320, 3), np.uint8))
    exif = Image.Exif()
    for tag in ("Make", "Model", "ImageDescription", "Artist", "Copyright", "Software", "DateTime"):
        exif[ExifTags.Base[tag]] = text
    details = exif.get_ifd(ExifTags.IFD.Exif)
    details[ExifTags.Base.UserComment] = text.encode("utf-8", "replace")
    details[ExifTags.Base.DateTimeOriginal] = text
    buffer = io.BytesIO()
    image.save(buffer, "JPEG", exif=exif)
    return buffer.getvalue()


@pytest.mark.parametrize("text", TEXTS.values(), ids=TEXTS)
def test_every_table_holds_a_text_as_text(store, say, text):
    visit, photo, lesson, _ = say(text)
    dues = due_list([log_of(store, visit.unit)], NOW.date())
    folder = zipfile.ZipFile(io.BytesIO(lesson_zip(teaching.sheet(store, lesson))))
    assert all("/" not in name and ".." not in name and name.isprintable() for name in folder.namelist())
    tables = {
        "worklist": worklist_csv(store.worklist()).decode("utf-8-sig"),
        "candidates": candidates_csv([photo.screening]),
        "events": events_csv(store.logbook.events()),
        "due": due_csv(dues),
        "lesson": folder.read("lesson.csv").decode("utf-8-sig"),
    }
    for name, table in tables.items():
        head, *rows = csv.reader(io.StringIO(table, newline=""))
        assert rows, name
        assert {len(row) for row in rows} == {len(head)}, name
        assert not [cell for row in rows for cell in row if cell[:1] in tuple("=+-@\t\r")], name
    workbook = zipfile.ZipFile(io.BytesIO(worklist_xlsx(store.worklist())))
    for part in workbook.namelist():
        kinds = {
            element.tag.rpartition("}")[2] for element in ElementTree.fromstring(workbook.read(part)).iter()
        }
        assert not kinds & {"f", "hyperlink", "hyperlinks"}, part
    # A NUL is no text on every database, and is written out.
    kept = visit.unit.replace("\0", r"\x00")
    assert pq.read_table(io.BytesIO(worklist_parquet(store.worklist())))["unit"].to_pylist() == [kept]
    assert json.loads(coco_json([(photo, store.candidates(photo.id))]))["annotations"][0]["reason"] == text
    # RFC 5545, 3.1: a line is one property, and no text begins one of its own.
    properties = {re.match("[^:;]*", line)[0] for line in due_ics(dues, NOW).split("\r\n")}
    assert {name for name in properties if not name.startswith(" ")} <= {
        *("", "BEGIN", "END", "VERSION", "PRODID", "CALSCALE", "UID", "DTSTAMP", "DTSTART;VALUE=DATE"),
        *("DTSTART", "SUMMARY", "DESCRIPTION", "TRANSP"),
    }


@pytest.mark.parametrize("text", MANY.values(), ids=MANY)
def test_a_text_does_nothing_in_a_paper_or_a_picture(store, say, text):
    visit, photo, lesson, _ = say(text)
    report = visit_report(store, visit, NOW)
    for paper in (report_pdf(report), lesson_pdf(teaching.sheet(store, lesson), "A4")):
        read = PdfReader(io.BytesIO(paper))
        assert not [page for page in read.pages if "/Annots" in page or "/AA" in page]
        assert not {"/OpenAction", "/AA", "/AcroForm"} & set(read.root_object)
        assert "/JavaScript" not in read.root_object.get("/Names", {})
        assert any(page.extract_text().strip() for page in read.pages)
    assert draw_overlay(np.zeros((240, 320, 3), np.uint8), photo.screening).dtype == np.uint8


def test_the_terminal_shows_every_name_on_one_line_and_obeys_none(tmp_path):
    for number, text in enumerate(TEXTS.values()):
        name = f"{text.lstrip('.').replace('/', '_').replace(chr(0), '_')[:200]} {number}.jpg"
        (tmp_path / name).write_bytes(b"no photo")
    said = CliRunner().invoke(main, ["screen", str(tmp_path), "--jobs", "1"])
    assert said.exit_code == 1
    lines = said.output.splitlines()
    assert not [c for c in said.output if not c.isprintable() and c != "\n"]
    for number in range(len(TEXTS)):
        assert [line for line in lines if f" {number}.jpg is no photo" in line], number


@pytest.mark.browser
def test_no_text_runs_in_a_file_that_goes_out(chromium, store, say, tmp_path):
    context = chromium.new_context()
    page = context.new_page()
    asked = []
    page.on("request", lambda request: asked.append(request.url))
    for seed, (name, text) in enumerate(MANY.items()):
        visit, _, lesson, quiz = say(text, seed)
        files = {
            "report": report_html(visit_report(store, visit, NOW)),
            "lesson": lesson_html(teaching.sheet(store, lesson)),
            "quiz": teaching.quiz_file(store, quiz),
        }
        for kind, html in files.items():
            path = tmp_path / f"{kind}.html"
            path.write_text(html, encoding="utf-8", newline="")
            page.goto(path.as_uri())
            assert page.evaluate("window.hit") is None, (kind, name)
            assert page.locator(DANGEROUS).count() == 0, (kind, name)
            assert page.locator("h1").first.inner_text().strip(), (kind, name)
    context.close()
    assert [url for url in asked if not url.startswith(("file:", "data:", "blob:"))] == []


DANGEROUS = "[onerror], [onload], [onclick], a[href^=javascript], img[src^=http], iframe, object, embed, base"
PAGES = (
    *("", "visit", "review", "compare", "hand_checks", "torque", "due", "log", "add_photos", "patterns"),
    *("threshold", "gallery", "lessons", "quiz", "trainees"),
)


def test_every_text_is_escaped_where_a_page_writes_html(new_page, store, say):
    _, photo, _, _ = say(TEXTS["handler"])
    (rust,) = (c for c in store.findings() if c.candidate.cue == "rust_trail")
    app = new_page("J. Doe").run()
    app.query_params.update(photo=photo.id, finding=str(rust.id))
    written = set()
    for page in PAGES:
        app.switch_page(f"{page or 'worklist'}.py").run()
        assert not app.exception, page
        html = "".join(part.proto.body for part in app.get("html"))
        assert "<img src=x" not in html, page
        written |= {page} if "&lt;img src=x" in html else set()
    assert {"", "visit", "hand_checks", "due", "log"} <= written


@pytest.mark.browser
def test_no_text_runs_on_a_page_and_every_page_still_works(visit, server, store, say):
    filled = {name: say(text, seed) for seed, (name, text) in enumerate(MANY.items())}
    person = visit()
    person.expected = "_stcore"  # a page opened by its address asks once for files that lie at the root
    photos = [filled[name][1].id for name in ("all", "link", "latex")]
    found = [next(c for c in store.candidates(photo) if c.is_finding).id for photo in photos]
    addresses = [f"review?photo={photo}" for photo in photos]
    addresses += [f"{page}?finding={one}" for page in ("hand_checks", "torque") for one in found]
    for address in (*PAGES, *addresses):
        person.page.goto(f"{server.url}/{address}")
        shown = person.page.locator("[data-testid=stMain]")
        shown.locator(":is(button, input, .event, svg, h3):visible").first.wait_for()
        person.settle()
        assert person.page.evaluate("window.hit") is None, address
        assert shown.locator(DANGEROUS).count() == 0, address
        assert shown.locator("[data-testid=stException]").count() == 0, address
        assert shown.locator(".katex").count() == 0, address
