"""The report as one HTML file."""

import base64
import html
import html.parser
import io
import re

import numpy as np
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image

from visual_aid.outputs.report import Remark, check_lines
from visual_aid.outputs.report_html import report_html
from visual_aid.outputs.wording import REPORT_CAUTION


class Reader(html.parser.HTMLParser):
    """Text, tags and attributes of a page."""

    def __init__(self, page):
        super().__init__()
        self.tags, self.attributes, self.texts = set(), [], []
        self.feed(page)

    def handle_starttag(self, tag, attrs):
        self.tags.add(tag)
        self.attributes += attrs

    def handle_data(self, data):
        self.texts.append(data)

    @property
    def text(self):
        return re.sub(r"\s+", " ", " ".join(self.texts))


def test_everything_of_the_visit_is_read_back(report):
    visit = report()
    text = Reader(report_html(visit)).text
    for part in (
        visit.title,
        REPORT_CAUTION,
        *visit.summary,
        *(f"{name} {value}" for name, value in visit.facts),
    ):
        assert part in text
    for finding in visit.findings:
        parts = (str(finding.photo.place), finding.label, finding.why, finding.decided, finding.photo.name)
        for part in (*parts, finding.follow_up, *(line for c in finding.checks for line in check_lines(c))):
            assert part in text
    for remark in (*visit.quiet, *visit.not_judged):
        assert f"{remark.photo.place} {remark.say} {remark.photo.name}" in text
    assert "Walkaround: 2 days overdue." in text
    assert "Inspector's signature" in text


def test_a_report_of_nothing_says_none(report):
    text = Reader(report_html(report(findings=(), quiet=(), not_judged=(), due=()))).text
    assert "Findings None." in text
    assert "What is due Nothing on record." in text


def test_the_pictures_are_inside_and_nothing_is_fetched(report):
    page = Reader(report_html(report()))
    sources = [
        value for name, value in page.attributes if name in ("src", "href", "srcset", "data", "action")
    ]
    assert len(sources) == 6
    for source in sources:
        kind, _, data = source.partition(",")
        assert kind == "data:image/jpeg;base64"
        assert Image.open(io.BytesIO(base64.b64decode(data))).format == "JPEG"
    assert not page.tags & {"script", "link", "iframe", "object", "form"}
    assert not re.search(r"url\(|@import|https?:", report_html(report()))
    assert ("content", "default-src 'none'; img-src data:; style-src 'unsafe-inline'") in page.attributes


def test_markup_in_texts_is_only_text(report, finding, photo):
    text = "\"><script>alert(1)</script><img src=x onerror='alert(1)'>{{ 7 * 7 }}"
    visit = report(
        unit=text,
        findings=(finding(label=text, note=text, reason=text, photo=photo(text)),),
        quiet=(Remark(photo(text), text),),
    )
    page = Reader(report_html(visit))
    assert "script" not in page.tags
    assert not [name for name, _ in page.attributes if name.startswith("on")]
    assert page.text.count(text) >= 6
    assert next(value for name, value in page.attributes if name == "alt").endswith(text)


@settings(max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(text=st.text(st.characters(), max_size=80))
def test_any_text_is_shown_and_fits_into_a_file(report, text):
    page = report_html(report(unit=text, findings=(), quiet=(), not_judged=()))
    page.encode("utf-8")
    kept = "".join(c if c >= " " or c in "\n\t" else " " for c in text.encode("utf-8", "replace").decode())
    assert html.escape(kept).replace("&quot;", "&#34;").replace("&#x27;", "&#39;") in page


def test_a_photo_that_cannot_be_read_is_named(report, finding, photo):
    def gone():
        raise OSError("no such file")

    page = Reader(report_html(report(findings=(finding(photo=photo("gone.jpg", pixels=gone)),))))
    assert "gone.jpg cannot be shown: no such file" in page.text


def test_forty_photos_stay_under_ten_megabytes(report, finding, photo):
    noise = np.random.default_rng(1).integers(0, 256, (750, 1000, 3), np.uint8)
    found = tuple(
        finding(photo=photo(f"{i}.jpg", pixels=lambda: noise), box=(100, 100, 300, 300)) for i in range(40)
    )
    assert len(report_html(report(findings=found)).encode()) < 10e6
