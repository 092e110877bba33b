import base64
import datetime as dt
import io
import re

import pytest
from click.testing import CliRunner
from PIL import ExifTags, Image
from pypdf import PdfReader

from visual_aid.cli import main
from visual_aid.records.store import Store
from visual_aid.screening import screen_file


@pytest.fixture
def yard(tmp_path):
    """Give records with two visits of one unit."""
    path = tmp_path / "yard.sqlite"
    store = Store.open(path)
    for day in (2, 4):
        store.visits.begin("417", dt.date(2026, 5, day), inspector="J. Doe")
    store.close()
    return path


def run(*words):
    return CliRunner().invoke(main, ["report", *map(str, words)])


def test_the_last_visit_becomes_a_pdf(yard, tmp_path):
    out = tmp_path / "out" / "report.pdf"
    result = run("417", "--store", yard, "--out", out)
    assert result.exit_code == 0, result.output
    assert "unit 417, 4 May 2026" in result.output
    assert "417" in PdfReader(io.BytesIO(out.read_bytes())).pages[0].extract_text()


def test_a_day_and_an_ending_choose_visit_and_form(yard, tmp_path):
    out = tmp_path / "report.html"
    assert run("417", "--store", yard, "--date", "2026-05-02", "--out", out).exit_code == 0
    assert "unit 417, 2 May 2026" in out.read_text()


def test_of_several_visits_on_one_day_none_is_picked_silently(yard, tmp_path):
    store = Store.open(yard)
    store.visits.begin("417", dt.date(2026, 5, 4), inspector="R. Roe", odometer=900.0, odometer_unit="mi")
    store.close()
    result = run("417", "--store", yard, "--out", tmp_path / "report.pdf")
    assert result.exit_code == 2
    assert "2 visits on 2026-05-04 (by R. Roe, 900 mi; by J. Doe, no odometer reading)" in result.output
    assert run("417", "--store", yard, "--date", "2026-05-02", "--out", tmp_path / "r.pdf").exit_code == 0


def test_letter_paper(yard, tmp_path):
    out = tmp_path / "report.pdf"
    assert run("417", "--store", yard, "--out", out, "--paper", "Letter").exit_code == 0
    # Letter is 8.5 in by 11 in (ANSI/ASME Y14.1, size A).
    assert PdfReader(out).pages[0].mediabox[2:] == [612, 792]


SECRETS = (b"Yard owner", b"Copyright-holder", b"SN-0815", b"Lens-4711", b"XMP-place", b"A remark")


@pytest.fixture
def told(tmp_path, yard, nut_photo):
    """Give records with a finding, and a photo that tells place, owner and serial numbers."""
    path = tmp_path / "told.jpg"
    nut_photo(path, 1)
    exif = Image.Exif()
    exif[ExifTags.Base.Artist], exif[ExifTags.Base.Copyright] = "Yard owner", "Copyright-holder"
    details = exif.get_ifd(ExifTags.IFD.Exif)
    details[ExifTags.Base.CameraOwnerName] = "Yard owner"
    details[ExifTags.Base.BodySerialNumber] = "SN-0815"
    details[ExifTags.Base.LensSerialNumber] = "Lens-4711"
    place = exif.get_ifd(ExifTags.IFD.GPSInfo)
    place[ExifTags.GPS.GPSLatitudeRef], place[ExifTags.GPS.GPSLatitude] = "N", (48.0, 8.0, 13.0)
    with Image.open(path) as image:
        image.save(path, "JPEG", exif=exif, xmp=b"<x>XMP-place</x>", comment=b"A remark")
    assert all(secret in path.read_bytes() for secret in SECRETS)
    store = Store.open(yard)
    visit = store.visits.all("417")[0]
    photo = store.add_photo(screen_file(path), visit=visit, data=path.read_bytes())
    store.mark(photo.id, "rust_trail", (90.0, 200.0, 40.0, 100.0), by="Mo")
    store.close()
    return yard


def bare(data):
    """Tell whether a file of a picture carries no metadata and no secret."""
    with Image.open(io.BytesIO(data)) as image:
        tells = {"exif", "xmp", "comment", "photoshop"} & set(image.info)
        return not tells and not image.getexif() and not any(secret in data for secret in SECRETS)


def test_a_pdf_tells_neither_place_nor_owner_nor_serial_number(told, tmp_path):
    out = tmp_path / "report.pdf"
    assert run("417", "--store", told, "--out", out).exit_code == 0
    reader = PdfReader(out)
    objects = [reader.get_object(n) for n in range(1, len(reader.xref[0]) + 1)]
    streams = [o.get_data() for o in objects if hasattr(o, "get_data")]
    pictures = [data for data in streams if data[:2] == b"\xff\xd8"]
    assert len(pictures) == 2
    assert all(bare(data) for data in pictures)
    assert not any(secret in data for secret in SECRETS for data in (out.read_bytes(), *streams))


def test_an_html_report_tells_neither_place_nor_owner_nor_serial_number(told, tmp_path):
    out = tmp_path / "report.html"
    assert run("417", "--store", told, "--out", out).exit_code == 0
    page = out.read_bytes()
    pictures = [base64.b64decode(d) for d in re.findall(rb"data:image/jpeg;base64,([^\"']+)", page)]
    assert len(pictures) == 2
    assert all(bare(data) for data in pictures)
    assert not any(secret in page for secret in SECRETS)


@pytest.mark.parametrize(
    ("words", "say"),
    [
        (("418", "--out", "r.pdf"), "units with visits: 417"),
        (("417", "--date", "2026-05-03", "--out", "r.pdf"), "no visit of unit 417 on 2026-05-03"),
        (("417", "--out", "r.doc"), "ends in .pdf or .html"),
    ],
)
def test_what_cannot_be_written_is_said_with_the_mend(yard, tmp_path, monkeypatch, words, say):
    monkeypatch.chdir(tmp_path)
    result = run(*words, "--store", yard)
    assert result.exit_code == 2
    assert say in " ".join(result.output.split())
    assert not list(tmp_path.glob("r.*"))


def test_no_records_are_made_by_asking_for_a_report(tmp_path):
    result = run("417", "--store", tmp_path / "none.sqlite", "--out", tmp_path / "r.pdf")
    assert (result.exit_code, list(tmp_path.iterdir())) == (2, [])
