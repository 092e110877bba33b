"""A whole visit, from photos in the yard to a signed report, in a real browser."""

import dataclasses
import datetime as dt
import io
from pathlib import Path

import pytest
from PIL import ExifTags, Image
from pypdf import PdfReader

from visual_aid.outputs.palette import SIGN_STYLE

pytestmark = pytest.mark.browser

SAMPLES = Path(__file__).parents[2] / "sample_images"
UNIT = "yard07_unit23"  # seven photos of one bracket, and five of a hanger beside them


@pytest.fixture(scope="module")
def photos():
    """Give twelve of the samples as uploads, two at each place, as a phone would date them."""
    names = [
        *sorted(p.name for p in SAMPLES.glob(f"{UNIT}*.jpg")),
        *sorted(p.name for p in SAMPLES.glob("yard07_unit30*.jpg"))[:4],
        "yard07_unit312_axle3_right_hanger_dark.jpg",
    ]
    taken, uploads = dt.datetime(2026, 5, 4, 7, 12), []
    for number, name in enumerate(names):
        taken += dt.timedelta(seconds=60 if number % 2 == 0 else 6)
        exif = Image.Exif()
        exif.get_ifd(ExifTags.IFD.Exif)[ExifTags.Base.DateTimeOriginal] = f"{taken:%Y:%m:%d %H:%M:%S}"
        exif.get_ifd(ExifTags.IFD.GPSInfo)[ExifTags.GPS.GPSLatitudeRef] = "N"
        buffer = io.BytesIO()
        with Image.open(SAMPLES / name) as image:
            image.save(buffer, "JPEG", quality=95, exif=exif)
        uploads.append({"name": name, "mimeType": "image/jpeg", "buffer": buffer.getvalue()})
    assert len(uploads) == 12
    return uploads


def bring_in(person, photos):
    page = person.page
    page.get_by_role("button", name="Add photos").first.click()
    page.get_by_label("Unit number").fill("231")
    page.get_by_label("Your name or initials").fill("J. Doe")
    page.get_by_label("Odometer", exact=True).fill("182340")
    page.keyboard.press("Tab")
    person.settle()
    page.locator("input[type=file]").set_input_files(photos)
    page.get_by_role("button", name="Screen 12 photos").click()
    page.get_by_text("12 photos in the records").wait_for(timeout=300_000)
    person.settle()


def test_a_visit_from_the_yard_to_the_report(visit, store, photos, tmp_path):
    person = visit()
    page = person.page
    bring_in(person, photos)
    page.get_by_role("button", name="Visit", exact=True).click()
    person.settle()

    # Places: guessed from the time, one corrected with two taps, the rest kept with one.
    page.get_by_role("button", name="Axle 1 left, spring and U-bolts").first.click()
    dialog = page.get_by_role("dialog")
    dialog.get_by_role("button", name="Axle 2 left, wheel end").click()
    dialog.wait_for(state="detached")
    person.settle()
    page.get_by_role("button", name="guessed places").click()
    page.get_by_role("button", name="guessed places").wait_for(state="detached")
    person.settle()
    (seen,) = store.visits.all()
    stored = store.visits.photos(seen.id)
    assert all(photo.position for photo in stored)
    assert stored[2].position.spot == (2, "left", "wheel end")

    # Decisions by keyboard alone: the first two likely marks are confirmed, the others ruled out.
    page.get_by_role("button", name="Decide on").click()
    page.locator(".viewer[data-state=shown]").wait_for()
    person.consider()
    decided = 0
    while waiting := [e for e in store.worklist("to_decide") if e.undecided]:
        here = page.url.rpartition("photo=")[2]
        open_here = [c for c in store.candidates(here) if c.outcome is None and not c.is_weak]
        if open_here:
            page.keyboard.press("y" if decided < 2 else "n")
            wait_for_decision(person, store, here, len(open_here))
            decided += 1
        else:
            page.keyboard.press("PageDown")
            page.wait_for_function("old => !location.href.endsWith(old)", arg=here)
            person.consider()
        assert len(waiting) < 13
    assert decided >= 2

    # One missed mark, drawn as an outline and named.
    person.settle()
    page.keyboard.press("o")
    area = page.locator(".viewer > svg").bounding_box()
    x, y = area["x"] + area["width"] / 2, area["y"] + area["height"] / 2
    corners = [(x - 40, y - 30), (x + 40, y - 30), (x + 40, y + 30), (x - 40, y + 30), (x - 40, y - 30)]
    page.mouse.move(*corners[0])
    page.mouse.down()
    for corner in corners:
        page.mouse.move(*corner, steps=4)
    page.mouse.up()
    page.get_by_role("button", name="Chafed", exact=True).click()
    # Whether what is boxed can be measured depends on the photo that was decided on last.
    page.get_by_role("button", name="Mark it without").click()
    page.get_by_text("Marked by a person").wait_for()
    person.settle()
    findings = store.findings()
    assert [f.candidate.cue for f in findings if f.source == "person"] == ["chafe"]
    assert len(next(f for f in findings if f.source == "person").candidate.outline) > 8

    # Two hand checks: one of the mark, one of a candidate.
    page.keyboard.press("h")
    group = page.get_by_role("radiogroup", name="Chafed by a part or down to the cords")
    group.get_by_text("yes", exact=True).click()
    person.settle()
    page.get_by_text("Beyond the limit stated.").wait_for()
    page.get_by_role("button", name="Record the check").click()
    page.get_by_text("Recorded: Beyond the limit stated").wait_for()
    page.get_by_role("button", name="All findings").click()
    person.settle()
    page.get_by_role("button", name="Check", exact=True).first.click()
    person.settle()
    page.get_by_test_id("stSelectbox").filter(has_text="Hand check").locator("input").click()
    page.get_by_role("option", name="Torque check of a fastener").click()
    person.settle()
    page.get_by_role("textbox", name="Maker's torque for this thread condition").fill("300 lbf ft")
    page.keyboard.press("Tab")
    person.settle()
    page.get_by_role("textbox", name="Note").fill("new nut ordered")
    page.get_by_role("textbox", name="What is to be done").fill("Replace the nut")
    page.keyboard.press("Tab")
    person.settle()
    page.get_by_role("button", name="Record the check").click()
    page.get_by_text("Recorded: Cannot be settled").wait_for()
    person.settle()
    for typed in ("Maker's torque for this thread condition", "Note"):
        assert page.get_by_role("textbox", name=typed).input_value() == ""
    checks = store.logbook.lines("hand_check", visit=seen.id)
    assert len(checks) == 2

    # The report: every finding is in it.
    page.get_by_test_id("stTopNavLink").filter(has_text="Visit").click()
    person.settle()
    with page.expect_download(timeout=120_000) as download:
        page.get_by_role("button", name="Report as PDF").click()
    path = tmp_path / "report.pdf"
    download.value.save_as(path)
    reader = PdfReader(path)
    text = " ".join(" ".join(p.extract_text() for p in reader.pages).split())
    assert f"{len(findings)} findings" in text
    for finding in findings:
        assert SIGN_STYLE[finding.candidate.cue].label in text
        assert store.photo(finding.photo).name in text.replace(" ", "")
    for words in ("182340", "J. Doe", "Replace the nut", "Beyond the limit stated", "Inspector's signature"):
        assert words in text
    assert f"Page {len(reader.pages)} of {len(reader.pages)}" in text
    assert path.stat().st_size < 10_000_000


def wait_for_decision(person, store, photo, before):
    """Wait until fewer candidates of a photo are undecided than before."""
    for _ in range(300):
        if sum(c.outcome is None and not c.is_weak for c in store.candidates(photo)) < before:
            person.consider()
            return
        person.page.wait_for_timeout(100)
    raise AssertionError("the key's decision was not recorded")


def test_a_server_killed_in_a_burst_of_decisions_loses_none_that_it_acknowledged(
    visit, server, store, picture, screened, tmp_path
):
    screening = screened(picture())
    (first, *_) = screening.candidates
    many = tuple(
        dataclasses.replace(first, id=i, box=(20.0 * i, 20.0, 18.0, 18.0), outline=(), fastener=None)
        for i in range(1, 31)
    )
    photo = store.add_photo(dataclasses.replace(screening, candidates=many), data=picture())
    person = visit()
    person.look()
    person.sign()
    person.page.mouse.click(*person.on_screen(600, 1400))
    # What the page has shown as decided is acknowledged; a burst goes on while the server is killed.
    decided = person.page.locator("polygon.over:not([data-decided=undecided])")
    for acknowledged in (1, 2, 3):
        person.consider()
        person.page.keyboard.press("y")
        decided.nth(acknowledged - 1).wait_for(state="attached")
    person.consider()
    person.expected = ""  # whatever comes of the lost connection
    for _ in range(6):
        person.page.keyboard.press("y")
        person.page.keyboard.press("n")
    server.kill()
    outcomes = [c.outcome for c in type(store).open(tmp_path / "yard.sqlite").candidates(photo.id)]
    assert sum(outcome is not None for outcome in outcomes) >= acknowledged
    # In the order of the keys: none is missing between two that are there.
    assert None not in outcomes[: sum(outcome is not None for outcome in outcomes)]
