"""Measuring a boxed part on the page: what is asked for, what is kept, and a person doing it in a browser."""

import re

import pytest

from visual_aid.pages import measuring

BOX = (760.0, 200.0, 240.0, 200.0)
"""Around the red of the drawn photo, with some grey beside it."""


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


def test_a_movement_is_measured_against_another_photo(store, photo, picture, screened):
    assert measuring.others(store, photo, "movement") == ()
    with pytest.raises(ValueError, match="pushed and pulled"):
        measuring.measure_box(store, photo, "movement", BOX, None)
    other = store.add_photo(screened(picture(1), "IMG_0002.jpg", flags=False), data=picture(1))
    assert [p.id for p in measuring.others(store, photo, "movement")] == [other.id]
    assert measuring.measure_box(store, photo, "movement", BOX, other.id).outcome == "cannot_measure"


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
    person.page.get_by_text("Wheels chocked").wait_for()
    # Down to the right of the red, 160 x 120 of 400 x 400: the share falls as the box grows.
    person.drag(person.on_screen(x + w, y + h), person.on_screen(x + w + 160, y + h + 200))
    person.page.get_by_text(re.compile(r"12\.\d % of the area is rusted")).wait_for()
    person.press("Keep as a finding")
    (kept,) = store.findings()
    assert kept.candidate.box == pytest.approx((x, y, w + 160, h + 200), abs=3)
    assert kept.candidate.measures["rusted_percent"] == pytest.approx(12, abs=0.7)
