"""Measuring a boxed part on the page: what is asked for, what is kept, and a person doing it in a browser."""

import io
import re

import cv2
import numpy as np
import pytest
from PIL import Image

from visual_aid.followup.known_length import known_length
from visual_aid.outputs.palette import SIGN_STYLE
from visual_aid.pages import measuring

BOX = (760.0, 200.0, 240.0, 200.0)
"""Around the red of the drawn photo, with some grey beside it."""

NUT = (200.0, 900.0), (320.0, 900.0)
"""Ends of an M16 nut's flats, 24 mm (ISO 4032), in the drawn photo of a bushing: 5 pixels a millimetre."""
EYE = (450.0, 250.0, 300.0, 300.0)
"""Box of the eye's rubber, 60 mm wide; its sleeve of 30 mm sits 5 mm off, a third of the rubber's 15 mm."""


@pytest.fixture(scope="session")
def bushing():
    """Give the bytes of a photo of a bushing head on, with a nut in its plane."""
    grey = np.full((2400, 2400), 110, np.uint8)
    for x, radius, value in ((600, 200, 150), (600, 150, 35), (625, 75, 165), (625, 40, 12)):
        cv2.circle(grey, (2 * x, 800), 2 * radius, value, -1)
    middle, across = np.add(*NUT) / 2, (NUT[1][0] - NUT[0][0]) / 2
    corners = np.radians(30 + 60 * np.arange(6))
    hexagon = middle + across / np.cos(np.pi / 6) * np.column_stack([np.cos(corners), np.sin(corners)])
    cv2.fillPoly(grey, [np.round(2 * hexagon).astype(np.int32)], 180)
    grey = cv2.resize(cv2.GaussianBlur(grey, (0, 0), 2), (1200, 1200), interpolation=cv2.INTER_AREA)
    grey = np.clip(grey + np.random.default_rng(2).normal(0, 3, grey.shape), 0, 255).astype(np.uint8)
    buffer = io.BytesIO()
    Image.fromarray(grey).convert("RGB").save(buffer, "JPEG", quality=95)
    return buffer.getvalue()


@pytest.fixture
def photo(store, picture, screened):
    return store.add_photo(screened(picture(), flags=False), data=picture())


def test_what_was_measured_is_kept_with_the_finding(store, photo):
    found = measuring.measure_box(store, photo, "rust_grade", BOX, None)
    mark = measuring.keep(store, photo.id, found, BOX, by="J. Doe", note="left rail")
    assert mark.is_finding
    assert mark.candidate.cue == "rust_grade"
    assert mark.candidate.measures["rusted_percent"] == pytest.approx(40, abs=2)  # 160 x 120 of 240 x 200
    assert "of the area is rusted" in mark.candidate.reason
    assert mark.candidate.reason.endswith("left rail")
    assert store.findings()[0].id == mark.id


def test_what_cannot_be_measured_is_kept_as_seen_with_the_reason(store, photo):
    found = measuring.measure_box(store, photo, "hole_elongation", BOX, None)
    outline = ((300.0, 200.0), (400.0, 200.0), (350.0, 300.0))
    mark = measuring.keep(store, photo.id, found, BOX, outline=outline, by="J. Doe")
    assert mark.candidate.outline == outline
    assert mark.candidate.reason.startswith("not measured: ")
    assert not mark.candidate.measures


def test_a_height_is_measured_against_the_mark_on_the_other_photo(store, photo, picture, screened):
    other = store.add_photo(screened(picture(1), "IMG_0002.jpg", flags=False), data=picture(1))
    assert measuring.others(store, other, "height_difference") == ()
    store.mark(photo.id, "height_difference", (100.0, 100.0, 60.0, 400.0), by="J. Doe")
    assert [p.id for p in measuring.others(store, other, "height_difference")] == [photo.id]
    found = measuring.measure_box(store, other, "height_difference", (100.0, 100.0, 60.0, 380.0), photo.id)
    assert found.photos == ("IMG_0001.jpg", "IMG_0002.jpg")
    assert found.outcome == "cannot_measure"  # no scale card in either
    same = measuring.measure_box(store, photo, "height_difference", (300.0, 100.0, 60.0, 380.0), photo.id)
    assert same.figure("difference_percent") == pytest.approx(-5, abs=0.1)
    known = known_length((0.0, 0.0), (100.0, 0.0), "50 mm")
    in_one = measuring.measure_box(
        store, photo, "height_difference", (300.0, 100.0, 60.0, 380.0), photo.id, {photo.id: known}
    )
    assert in_one.figure("difference_mm") == pytest.approx(10, abs=0.1)
    in_both = measuring.measure_box(
        store,
        other,
        "height_difference",
        (100.0, 100.0, 60.0, 380.0),
        photo.id,
        dict.fromkeys((photo.id, other.id), known),
    )
    assert in_both.figure("difference_mm") == pytest.approx(10, abs=0.1)


def test_a_movement_is_measured_against_another_photo(store, photo, picture, screened):
    assert measuring.others(store, photo, "movement") == ()
    with pytest.raises(ValueError, match="pushed and pulled"):
        measuring.measure_box(store, photo, "movement", BOX, None)
    other = store.add_photo(screened(picture(1), "IMG_0002.jpg", flags=False), data=picture(1))
    assert [p.id for p in measuring.others(store, photo, "movement")] == [other.id]
    assert measuring.measure_box(store, photo, "movement", BOX, other.id).outcome == "cannot_measure"


def test_a_known_length_gives_millimetres_and_says_so(store, bushing, screened):
    photo = store.add_photo(screened(bushing, flags=False), data=bushing)
    bare = measuring.measure_box(store, photo, "bushing_offset", EYE, None)
    assert bare.scale is None
    found = measuring.measure_box(
        store, photo, "bushing_offset", EYE, None, {photo.id: known_length(*NUT, "M16")}
    )
    assert found.figure("offset_mm") == pytest.approx(5, abs=0.2)
    assert found.figure("offset_percent") == pytest.approx(bare.figure("offset_percent"))
    mark = measuring.keep(store, photo.id, found, EYE, by="J. Doe")
    assert mark.candidate.reason.endswith("millimetres from the width across flats of an M16 nut")


def test_a_known_length_is_offered_where_it_brings_millimetres():
    assert measuring.takes_length("bushing_offset")
    assert measuring.takes_length("movement")
    assert measuring.takes_length("height_difference")
    # A hole needs the tilt; rust is a share.
    assert not any(map(measuring.takes_length, ("hole_elongation", "rust_grade")))


@pytest.mark.browser
def test_a_person_boxes_measures_drags_a_corner_and_keeps_it(visit, store, picture, screened):
    store.add_photo(screened(picture()), data=picture())
    person = visit()
    person.look()
    person.sign()
    x, y, w, h = BOX
    person.drag(person.on_screen(x, y), person.on_screen(x + w, y + h), "Shift")
    person.press("Rust of a surface")
    person.page.get_by_text(re.compile(r"4\d\.\d % of the area is rusted")).wait_for()
    assert person.page.locator(".viewer .handle").count() == 4
    person.page.get_by_text("A figure without a limit").wait_for()
    assert person.page.locator("img.measured").evaluate("image => image.naturalWidth") > 300
    person.page.get_by_text("Hand check that settles it").wait_for()
    person.page.get_by_text("Wheels chocked").wait_for()
    # Down to the right of the red, 160 x 120 of 400 x 400: the share falls as the box grows.
    person.drag(person.on_screen(x + w, y + h), person.on_screen(x + w + 160, y + h + 200))
    person.page.get_by_text(re.compile(r"12\.\d % of the area is rusted")).wait_for()
    person.press("Keep as a finding")
    (kept,) = store.findings()
    assert kept.candidate.box == pytest.approx((x, y, w + 160, h + 200), abs=3)
    assert kept.candidate.measures["rusted_percent"] == pytest.approx(12, abs=0.7)


@pytest.mark.browser
def test_a_person_points_out_a_nut_for_millimetres(visit, store, bushing, screened):
    store.add_photo(screened(bushing, flags=False), data=bushing)
    person = visit()
    person.look()
    person.sign()
    x, y, w, h = EYE
    tool = person.page.locator("button[data-tool=length]")
    assert tool.is_hidden()
    person.drag(person.on_screen(x, y), person.on_screen(x + w, y + h), "Shift")
    person.press(SIGN_STYLE["bushing_offset"].label)
    person.page.get_by_text("press Known length").wait_for()

    # Two taps on one spot are no length.
    tool.click()
    for _ in range(2):
        person.page.mouse.click(*person.on_screen(*NUT[0]))
    person.page.get_by_text("too near each other").wait_for()
    assert tool.get_attribute("aria-pressed") == "false"

    tool.click()
    person.page.mouse.click(*person.on_screen(*NUT[0]))
    person.page.get_by_text("Now tap the other end").wait_for()
    # A drag in between moves the photo, ends nothing and draws no box.
    person.button("Zoom in").click()
    person.drag(person.on_screen(400, 700), person.on_screen(440, 680))
    person.page.get_by_text("Now tap the other end").wait_for()
    person.page.mouse.click(*person.on_screen(*NUT[1]))
    person.page.get_by_role("combobox", name="What did you point out").click()
    person.page.get_by_text("M16 nut: 24 mm across its flats").click()
    person.page.get_by_text(re.compile(r"[45]\.\d mm of 1[45]\.\d mm")).wait_for()
    person.page.get_by_text("Lengths are good to").wait_for()
    person.press("Keep as a finding")
    (kept,) = store.findings()
    assert kept.candidate.box == pytest.approx(EYE, abs=3)
    assert kept.candidate.measures["offset_mm"] == pytest.approx(5, abs=0.3)
    tool.wait_for(state="hidden")
