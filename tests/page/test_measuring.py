"""Measuring a boxed part on the page: what is asked for, what is kept, and a person doing it in a browser."""

import dataclasses
import datetime as dt
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


def measured(store, photo, wear, box, other=None, known=None, held=None):
    """Measure as the page does; give what was asked too."""
    asked = measuring.parts(store, photo, wear, box, other, held)
    return asked, measuring.measure_parts(store, asked, known)


def test_what_was_measured_is_kept_with_the_finding(store, photo):
    asked, found = measured(store, photo, "rust_grade", BOX)
    mark = measuring.keep(store, asked, found, BOX, by="J. Doe", note="left rail")
    assert mark.is_finding
    assert mark.candidate.cue == "rust_grade"
    assert mark.candidate.measures["rusted_percent"] == pytest.approx(40, abs=2)  # 160 x 120 of 240 x 200
    assert "of the area is rusted" in mark.candidate.reason
    assert mark.candidate.reason.endswith("left rail")
    assert store.findings()[0].id == mark.id


def test_what_cannot_be_measured_is_kept_as_seen_with_the_reason(store, photo):
    asked, found = measured(store, photo, "hole_elongation", BOX)
    outline = ((300.0, 200.0), (400.0, 200.0), (350.0, 300.0))
    mark = measuring.keep(store, asked, found, BOX, outline=outline, by="J. Doe")
    assert mark.candidate.outline == outline
    assert mark.candidate.reason.startswith("not measured: ")
    assert not mark.candidate.measures


@pytest.fixture
def two(store, photo, picture, screened):
    """Give two photos of one visit, taken a quarter of an hour apart, on the left and on the right."""
    visit = store.visits.begin("114", dt.date(2026, 5, 4), inspector="J. Doe")
    data = [picture(seed) for seed in (2, 3)]
    both = []
    for i, taken in enumerate(("2026-05-04T07:12:00", "2026-05-04T07:27:00")):
        made = screened(data[i], f"IMG_000{i + 2}.jpg", flags=False)
        made = dataclasses.replace(made, photo=dataclasses.replace(made.photo, taken=taken))
        both.append(store.add_photo(made, data=data[i], visit=visit))
    places = zip(both, ("left", "right"), strict=True)
    store.visits.place({p.id: (1, side, "air spring") for p, side in places}, by="J. Doe")
    return tuple(store.photo(p.id) for p in both)


def test_a_height_is_measured_against_the_mark_on_the_other_photo(store, photo, picture, screened):
    other = store.add_photo(screened(picture(1), "IMG_0002.jpg", flags=False), data=picture(1))
    assert measuring.others(store, other, "height_difference") == ()
    store.mark(photo.id, "height_difference", (100.0, 100.0, 60.0, 400.0), by="J. Doe")
    assert [p.id for p in measuring.others(store, other, "height_difference")] == [photo.id]
    here, known = (100.0, 100.0, 60.0, 380.0), known_length((0.0, 0.0), (100.0, 0.0), "50 mm")
    _, found = measured(store, other, "height_difference", here, photo.id)
    assert found.photos == ("IMG_0001.jpg", "IMG_0002.jpg")
    assert found.outcome == "cannot_measure"  # no scale card in either
    beside = (300.0, 100.0, 60.0, 380.0)
    _, same = measured(store, photo, "height_difference", beside, photo.id)
    assert same.figure("difference_percent") == pytest.approx(-5, abs=0.1)
    _, in_one = measured(store, photo, "height_difference", beside, photo.id, {photo.id: known})
    assert in_one.figure("difference_mm") == pytest.approx(10, abs=0.1)
    both = dict.fromkeys((photo.id, other.id), known)
    _, in_both = measured(store, other, "height_difference", here, photo.id, both)
    assert in_both.figure("difference_mm") == pytest.approx(10, abs=0.1)


def test_a_height_may_be_held_for_the_other_without_being_a_finding(store, two):
    left, right = two
    held = right.id, (100.0, 100.0, 60.0, 380.0)
    assert [p.id for p in measuring.others(store, left, "height_difference", held)] == [right.id]
    known = dict.fromkeys((left.id, right.id), known_length((0.0, 0.0), (100.0, 0.0), "50 mm"))
    here = (100.0, 100.0, 60.0, 400.0)
    asked, found = measured(store, left, "height_difference", here, right.id, known, held)
    # Boxed last, but the left one by its place.
    assert (found.figure("left_mm"), found.figure("right_mm")) == pytest.approx((200, 190), abs=0.1)
    assert measuring.which_is_which(found) == "left: IMG_0002.jpg, right: IMG_0003.jpg"
    assert measuring.picture(store, asked, found, here)
    kept = measuring.keep(store, asked, found, here, by="J. Doe")
    assert (kept.photo, kept.candidate.box) == (left.id, here)
    assert "the limit: left and right 1/4 in (6.4 mm) apart at most (common practice" in kept.candidate.reason
    assert "right: IMG_0003.jpg" in kept.candidate.reason
    assert len(store.findings()) == 1


def test_of_two_heights_the_earlier_photo_is_before(store, two):
    early, late = two
    known = dict.fromkeys((early.id, late.id), known_length((0.0, 0.0), (100.0, 0.0), "50 mm"))
    held = late.id, (100.0, 100.0, 60.0, 380.0)
    box = (100.0, 100.0, 60.0, 400.0)
    asked, found = measured(store, early, "ride_height_hold", box, late.id, known, held)
    assert (asked.at_hand, found.figure("before_mm")) == pytest.approx((0, 200), abs=0.1)
    # One photo does not show two times.
    assert measuring.others(store, late, "ride_height_hold", held) == ()


def test_a_movement_is_measured_against_another_photo(store, photo, two):
    first, second = two
    with pytest.raises(ValueError, match="pushed and pulled"):
        measuring.parts(store, first, "movement", BOX, None)
    assert [p.id for p in measuring.others(store, first, "movement")] == [second.id]
    asked, found = measured(store, first, "movement", BOX, second.id)
    assert found.outcome == "cannot_measure"
    kept = measuring.keep(store, asked, found, BOX, by="J. Doe")
    assert kept.candidate.reason.endswith("measured against IMG_0003.jpg")


def test_a_photo_is_measured_against_the_one_taken_next_first(store, picture, screened):
    visit = store.visits.begin("114", dt.date(2026, 5, 4), inspector="J. Doe")
    shots = []
    for i in range(4):
        made = screened(picture(i), f"IMG_{i}.jpg", flags=False)
        taken = dataclasses.replace(made.photo, taken=f"2026-05-04T07:1{i}:00")
        shots.append(store.add_photo(dataclasses.replace(made, photo=taken), data=picture(i), visit=visit))
    near = [p.name for p in measuring.others(store, store.photo(shots[2].id), "movement")]
    assert near == ["IMG_3.jpg", "IMG_0.jpg", "IMG_1.jpg"]


def test_a_known_length_gives_millimetres_and_says_so(store, bushing, screened):
    photo = store.add_photo(screened(bushing, flags=False), data=bushing)
    _, bare = measured(store, photo, "bushing_offset", EYE)
    assert bare.scale is None
    known = {photo.id: known_length(*NUT, "M16")}
    asked, found = measured(store, photo, "bushing_offset", EYE, known=known)
    assert found.figure("offset_mm") == pytest.approx(5, abs=0.2)
    assert found.figure("offset_percent") == pytest.approx(bare.figure("offset_percent"))
    mark = measuring.keep(store, asked, found, EYE, by="J. Doe")
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
