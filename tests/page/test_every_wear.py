"""Every kind of wear as an inspector goes about it: boxed, measured, kept, checked by hand, reported."""

import dataclasses
import datetime as dt
import io
import itertools
import re
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image
from pypdf import PdfReader

from visual_aid.evaluation.wear import JUDGED, read_cases
from visual_aid.followup.handchecks import checks
from visual_aid.measure.measurement import OUTCOME_WORDS
from visual_aid.measure.scale_card import find_card
from visual_aid.measure.wear import WEAR_KINDS
from visual_aid.model import WEARS
from visual_aid.outputs.palette import SIGN_STYLE
from visual_aid.photo import read_photo_bytes

pytestmark = pytest.mark.browser

CASES = {
    wear: cases[0] for wear, cases in read_cases(Path(__file__).parents[2] / "sample_images/wear").items()
}
"""The first sample of each kind, its truth known."""
NEAR_ENOUGH = {"difference_mm": 8.0, "density_ratio": 0.35, "shift_share": 0.2}
"""How far a figure may be from the truth here, where boxes are dragged to a pixel of the screen: heights by
how well the samples' own boxes hit them; the others by a tenth of the truth and one of the figure's own
unit."""
TWO = ("movement", "height_difference", "ride_height_hold")


@pytest.fixture
def worn(store, screened):
    """Bring photos of worn parts into the records, as one visit, a minute apart; give a way to do so."""
    visit = store.visits.begin("114", dt.date(2026, 5, 4), inspector="J. Doe")
    taken = dt.datetime(2026, 5, 4, 7, 0)

    def bring(wear, photos):
        nonlocal taken
        ids = []
        for data, side in zip(photos, "ab", strict=False):
            made = screened(data, f"{wear}_{side}.jpg", flags=False)
            taken += dt.timedelta(minutes=1)
            made = dataclasses.replace(
                made, fasteners=(), photo=dataclasses.replace(made.photo, taken=taken.isoformat())
            )
            ids.append(store.add_photo(made, data=data, visit=visit).id)
        return ids

    return bring


def look(person, photo):
    """Open a photo from the worklist, within the session."""
    person.page.get_by_test_id("stTopNavLink").filter(has_text="Worklist").click()
    person.settle()
    person.page.locator(f".st-key-look-{photo} button").click()
    person.page.locator(".viewer[data-state=shown]").wait_for()
    person.settle()


def box_it(person, wear, box):
    x, y, w, h = box
    person.drag(person.on_screen(x, y), person.on_screen(x + w, y + h), "Shift")
    person.press(SIGN_STYLE[wear].label)


def open_the_other(person, wear):
    person.press("Hold this height")
    person.page.get_by_text("one height is held from").wait_for()
    old = person.page.url.rpartition("photo=")[2]
    person.press(f"Open {wear}_b.jpg")
    person.page.wait_for_function("old => !location.href.endsWith(old)", arg=old)
    person.page.locator(".viewer[data-state=shown]").wait_for()
    person.settle()


def point_out(person, ends, length):
    """Tap the two ends of a known length, and type it."""
    person.page.locator("button[data-tool=length]").click()
    for end, asked in zip(ends, ("tap one end", "tap the other end"), strict=True):
        person.page.locator(".for-length", has_text=asked).wait_for()
        person.settle()  # what still arrives may move the photo away under the tap
        person.page.mouse.click(*person.on_screen(*end))
    field = person.page.get_by_label("Length, such as 24 mm or 1 in")
    field.fill(f"{length:.1f} mm")
    field.press("Enter")
    person.settle()


def shown(person):
    person.settle()  # the parts of a page arrive one by one
    return " ".join(person.page.locator("[data-testid=stMain]").inner_text().split())


def test_every_kind_from_the_box_to_the_report(visit, store, worn, tmp_path):
    photos = {wear: worn(wear, CASES[wear].photos) for wear in WEARS}
    person = visit((1024, 768))
    page = person.page
    person.look()
    person.sign()
    for wear in WEARS:
        kind, case = WEAR_KINDS[wear], CASES[wear]
        look(person, photos[wear][0])
        if kind.boxes == 2:
            box_it(person, wear, case.boxes[0])
            open_the_other(person, wear)
        box_it(person, wear, case.boxes[-1])
        page.get_by_text(f"Hand check that settles it: {checks()[kind.hand_check].title}").wait_for()
        if wear in TWO:  # what it is measured against is named and seen
            other = photos[wear][kind.boxes == 1]
            assert page.locator("img.other").get_attribute("src") == f"/thumb/{other}"
        said = shown(person)
        assert any(words in said for words in OUTCOME_WORDS.values())
        assert OUTCOME_WORDS["cannot_measure"] not in said, wear
        for caution in kind.cautions:
            assert caution in said
        drawn = page.locator("img.measured")
        assert drawn.evaluate("image => image.naturalWidth && image.naturalHeight") > 50, wear
        assert page.get_by_role("button", name="Keep as a photo with nothing wrong").count() == 0
        person.press("Keep as a finding")
        page.get_by_text("Marked by a person").wait_for()
        (kept,) = (f for f in store.findings() if f.candidate.cue == wear)
        assert kept.photo == photos[wear][-1 if kind.boxes == 2 else 0]
        assert kept.candidate.box == pytest.approx(case.boxes[-1], abs=4)
        assert " ".join(kept.candidate.reason.split(";")[0].split())[1:] in said, wear
        if "Limit: " in said:
            assert " the limit: " in kept.candidate.reason
        if wear in JUDGED:
            truth = abs(case.truth[JUDGED[wear]])
            near = NEAR_ENOUGH.get(JUDGED[wear], 0.1 * truth + 1)
            assert kept.candidate.measures[JUDGED[wear]] == pytest.approx(truth, abs=near), wear
    assert len(store.findings()) == len(WEARS)  # a held height is no finding

    # The hand check that settles it is the one that opens.
    page.get_by_test_id("stTopNavLink").filter(has_text="Hand checks").click()
    page.get_by_text("No hand check yet").nth(len(WEARS) - 1).wait_for()
    told = shown(person)
    assert all(SIGN_STYLE[wear].label in told for wear in WEARS)
    page.get_by_role("button", name="Check", exact=True).first.click()
    person.settle()
    first = next(f for f in store.findings() if f.id == int(page.url.rpartition("finding=")[2]))
    title = checks()[WEAR_KINDS[first.candidate.cue].hand_check].title
    assert page.get_by_role("combobox", name="Hand check").input_value() == title

    # The report names each with its figures, its limit and the other photo.
    page.get_by_test_id("stTopNavLink").filter(has_text="Visit").click()
    person.settle()
    for button in ("Report as PDF", "Report as one HTML file"):
        with page.expect_download(timeout=120_000) as download:
            page.get_by_role("button", name=button).click()
        download.value.save_as(tmp_path / button)
    pdf = PdfReader(tmp_path / "Report as PDF")
    html = re.sub(
        r"<style.*?</style>|<[^>]*>", " ", (tmp_path / "Report as one HTML file").read_text(), flags=re.S
    )
    for text in (" ".join(p.extract_text() for p in pdf.pages), html):
        joined = "".join(text.split())
        for words in (*(SIGN_STYLE[wear].label for wear in WEARS), "measured against movement_b.jpg"):
            assert "".join(words.split()) in joined
        assert "ASTMD610grade" in joined
        assert "1/8in(3.2mm)atatorque-rodend" in joined


def without_card(data):
    """Paint the card over; give the photo's bytes, two ends beside it and the millimetres between them."""
    photo = read_photo_bytes(data, "sample.jpg")
    card = find_card(photo)
    corners = [tuple(map(float, corner)) for corner in card.scale.outline]
    a, b = next(
        ends for ends in itertools.pairwise(corners) if all(20 < x < 1000 and 20 < y < 750 for x, y in ends)
    )
    pixels = photo.full.copy()
    cv2.fillConvexPoly(pixels, np.round(card.outline).astype(np.int32), (90, 90, 90))
    buffer = io.BytesIO()
    Image.fromarray(pixels).save(buffer, "JPEG", quality=95)
    return buffer.getvalue(), (a, b), card.scale.length(a, b)[0]


@pytest.mark.parametrize("wear", TWO)
def test_without_the_card_a_known_length_in_each_photo_gives_millimetres(visit, store, worn, wear):
    case = CASES[wear]
    bare = [without_card(data) for data in case.photos]
    first, _ = worn(wear, [data for data, *_ in bare])
    heights = WEAR_KINDS[wear].boxes == 2
    person = visit((1024, 768))
    person.look()
    person.sign()
    look(person, first)
    box_it(person, wear, case.boxes[0])
    if heights:
        point_out(person, *bare[0][1:])
        open_the_other(person, wear)
        box_it(person, wear, case.boxes[1])
        # One photo has a scale and the other has none: no figure, the reason and the mend.
        person.page.get_by_text("Cannot measure", exact=True).wait_for()
        person.page.get_by_text("without a scale in both").wait_for()
        assert "lay the card flat beside the part" in shown(person)
    else:
        person.page.get_by_text("without a scale its millimetres are not known").wait_for()
    person.page.get_by_text("press Known length").wait_for()
    point_out(person, *bare[-1 if heights else 0][1:])
    person.page.get_by_text("Lengths are good to").wait_for()
    person.press("Keep as a finding")
    person.page.get_by_text("Marked by a person").wait_for()
    (kept,) = store.findings()
    measures, truth = kept.candidate.measures, case.truth
    assert "millimetres from" in kept.candidate.reason
    if heights:
        names = ("left_mm", "right_mm") if wear == "height_difference" else ("before_mm", "after_mm")
        found = [measures[name] for name in names]
        # A known length says nothing of the tilt, which is up to 30 degrees in the samples.
        assert found == pytest.approx([truth["before_mm"], truth["after_mm"]], rel=0.1)
    else:
        assert measures["movement_mm"] == pytest.approx(truth["movement_mm"], rel=0.12)


@pytest.mark.parametrize("wear", ["hole_elongation", "bushing_offset"])
def test_what_cannot_be_measured_is_said_with_the_mend_and_may_be_marked(visit, store, worn, wear):
    data, *_ = without_card(CASES["hole_elongation"].photos[0])
    (photo,) = worn(wear, [data])
    person = visit((1024, 768))
    person.look()
    person.sign()
    look(person, photo)
    box_it(person, wear, (60.0, 60.0, 120.0, 120.0))  # a bare piece of plate
    person.page.get_by_text("Cannot measure", exact=True).wait_for()
    assert re.search(r"lay the card flat|does not stand out", shown(person))
    assert person.page.locator("img.measured").count() == 0
    person.press("Mark it without measuring")
    person.page.get_by_text("Marked by a person").wait_for()
    (kept,) = store.findings()
    assert kept.candidate.reason.startswith("not measured: ")
    assert not kept.candidate.measures
