"""Two visits of one place, compared in a browser by the engine itself."""

import datetime as dt
import io
import json
from pathlib import Path
from urllib.parse import urljoin

import cv2
import numpy as np
import pytest
from PIL import Image

from visual_aid.measure.visits import Comparison
from visual_aid.outputs.visit_report import visit_report
from visual_aid.photo import read_photo_bytes
from visual_aid.screening import screen_photo

SAMPLE = Path(__file__).parents[2] / "sample_images" / "yard07_unit417_axle1_right_hub"
TURN = 15.0
SECONDS = 120_000
"""Milliseconds that a comparison may take on a busy machine before the test gives up."""


def jpeg(pixels):
    buffer = io.BytesIO()
    Image.fromarray(pixels).save(buffer, "JPEG", quality=95)
    return buffer.getvalue()


def later(pixels, nut):
    """Turn one nut of a photo clockwise, and take the photo again from a step aside."""
    height, width = pixels.shape[:2]
    middle, r = (nut["cx"], nut["cy"]), nut["r"]
    turned = cv2.warpAffine(
        pixels, cv2.getRotationMatrix2D(middle, -TURN, 1.0), (width, height), flags=cv2.INTER_CUBIC
    )
    y, x = np.mgrid[:height, :width]
    on_nut = np.clip((1.25 * r - np.hypot(x - middle[0], y - middle[1])) / 2, 0, 1)[..., None]
    pixels = np.round(on_nut * turned + (1 - on_nut) * pixels).astype(np.uint8)
    aside = np.vstack([cv2.getRotationMatrix2D((width / 2, height / 2), 4.0, 0.97), (0, 0, 1)])
    return cv2.warpPerspective(pixels, aside, (width, height), borderMode=cv2.BORDER_REFLECT), aside


@pytest.fixture
def keep(store):
    """Give a way to keep a photo of one place, screened, under a visit of a month."""

    def add(month, data, component="wheel end"):
        visit = store.visits.begin("417", dt.date(2026, month, 4), inspector="J. Doe")
        photo = read_photo_bytes(data, f"hub_{month}.jpg")
        place = store.visits.position("417", 1, "right", component)
        return store.add_photo(screen_photo(photo), data=data, visit=visit, position=place)

    return add


@pytest.fixture
def hub(keep):
    """Two visits of one hub between which one nut turned: the stored photos, that nut, the homography."""
    nut = json.loads(SAMPLE.with_suffix(".json").read_text())["fasteners"][0]
    pixels = np.asarray(Image.open(SAMPLE.with_suffix(".jpg")).convert("RGB"))
    after, aside = later(pixels, nut)
    return keep(5, jpeg(pixels)), keep(6, jpeg(after)), nut, aside


def open_compare(person):
    person.page.get_by_role("link", name="Compare", exact=True).click()
    person.page.get_by_role("button", name="Compare", exact=True).wait_for()
    person.settle()


def compare(person):
    person.press("Compare")
    person.page.get_by_text("New since the visit before").or_(
        person.page.get_by_text("Nothing else new was flagged")
    ).or_(person.page.get_by_text("cannot be compared")).wait_for(timeout=SECONDS)
    person.settle()


def test_a_nut_that_turned_is_seen_confirmed_and_reported(visit, store, hub):
    before, after, nut, aside = hub
    person = visit()
    open_compare(person)
    compare(person)
    person.page.locator(".viewer[data-state=shown]").wait_for()

    # Both photos are laid on each other, and the line wipes between them.
    homography = np.reshape(store.comparisons.between(before.id, after.id).homography, (3, 3))
    for x, y in ((200, 200), (1400, 200), (800, 1000)):
        seen, true = (m @ (x, y, 1) for m in (homography, aside))
        assert seen[:2] / seen[2] == pytest.approx(true[:2] / true[2], abs=2)
    former = person.page.locator(".viewer svg.former")
    assert former.is_visible()
    assert float(former.get_attribute("width")) == pytest.approx(800, abs=1)
    person.drag(person.on_screen(800, 600), person.on_screen(400, 600))
    assert float(former.get_attribute("width")) == pytest.approx(400, abs=6)
    address = person.page.locator(".former image").get_attribute("href")
    answer = person.page.request.get(urljoin(person.page.url, address))
    assert answer.ok
    shown = np.asarray(Image.open(io.BytesIO(answer.body())).convert("L"), float)
    frame = np.asarray(store.read(after).working).mean(axis=2)
    assert np.median(np.abs(cv2.resize(shown, frame.shape[::-1]) - frame)) < 6

    # The nut is drawn with its angle and how sure it is.
    (found,) = [c for c in store.candidates(after.id) if c.before]
    assert found.candidate.measures["turn_deg"] == pytest.approx(TURN, abs=2.5)
    x, y, _ = aside @ (nut["cx"], nut["cy"], 1)
    assert np.mean(found.candidate.outline, axis=0) == pytest.approx((x, y), abs=0.3 * nut["r"])
    assert "° ± " in person.page.locator(".badge text").first.text_content()
    stood, stands = (
        [[float(v) for v in point.split(",")] for point in hand.split(" ")]
        for hand in person.page.locator("polyline.hand.over").evaluate_all(
            "hands => hands.map(hand => hand.getAttribute('points'))"
        )
    )
    ways = [np.degrees(np.arctan2(b[1] - a[1], b[0] - a[0])) for a, b in (stood, stands)]
    assert ways[1] - ways[0] == pytest.approx(TURN, abs=2.5)

    # It is decided on like any candidate, and is a finding that points at both photos.
    person.page.get_by_label("Your name or initials").fill("J. Doe")
    person.page.keyboard.press("Enter")
    person.page.locator(".st-key-decide button:enabled", has_text="Confirm").wait_for()
    person.consider()
    person.press("Confirm")
    person.page.get_by_text("Confirmed by J. Doe").wait_for()
    person.page.get_by_text("All decided on these two photos.").wait_for()
    (finding,) = [f for f in store.findings() if f.candidate.cue == "turned"]
    assert (finding.photo, finding.before) == (after.id, before.id)
    report = visit_report(store, store.visits.get(after.visit.id), dt.datetime.now().astimezone())
    (told,) = [f for f in report.findings if f.label == "Turned between visits"]
    assert "since hub_5.jpg" in told.reason

    # A decision is taken back without being erased.
    person.press("Undo")
    person.page.get_by_text("Not decided yet").wait_for()
    assert [d.outcome for d in store.history(found.id)] == ["confirmed", None]


def test_photos_of_different_joints_are_refused_with_the_mend(visit, keep, picture):
    first = keep(5, SAMPLE.with_suffix(".jpg").read_bytes())
    keep(6, (SAMPLE.parent / "yard07_unit431_frame_left_channel.jpg").read_bytes())
    person = visit()
    open_compare(person)
    compare(person)
    assert person.page.get_by_text("These two photos cannot be compared.").is_visible()
    assert person.page.get_by_text("take it again from where the photo before was taken").is_visible()
    shown = person.page.locator("img.beside")
    assert shown.count() == 2
    assert first.id in shown.first.get_attribute("src")
    assert not person.page.locator(".viewer").count()


def test_the_next_place_of_the_unit_is_one_press_away(app, store, keep):
    data = SAMPLE.with_suffix(".jpg").read_bytes()
    pairs = []
    for n, part in enumerate(("wheel end", "hanger")):
        shots = [data + bytes([2 * n + i]) for i in range(2)]  # the same pixels, another file
        before, after = keep(5, shots[0], part), keep(6, shots[1], part)
        store.comparisons.keep(before.id, after.id, Comparison("a", "b", "too dark: use a lamp"))
        pairs.append((before.id, after.id))
    app.run()
    app.switch_page("compare.py").run()
    seen = [tuple("".join(app.query_params[k]) for k in ("before", "after"))]
    for _ in pairs:
        next(b for b in app.button if b.label == "Next place").click().run()
        assert not app.exception
        seen.append(tuple("".join(app.query_params[k]) for k in ("before", "after")))
    assert set(seen[:2]) == set(pairs)
    assert seen[2] == seen[0]


def test_where_nothing_is_new_no_more_is_promised_than_was_flagged(app, store, keep):
    before = keep(5, SAMPLE.with_suffix(".jpg").read_bytes())
    after = keep(6, (SAMPLE.parent / "yard07_unit431_frame_left_channel.jpg").read_bytes())
    still = (1.0, 0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 1.0)
    store.comparisons.keep(before.id, after.id, Comparison("a.jpg", "b.jpg", homography=still))
    app.run()
    app.switch_page("compare.py").run()
    assert not app.exception
    assert [s.value for s in app.subheader] == ["No turn seen", "Nothing else new was flagged"]


def test_without_two_visits_of_a_place_it_says_what_to_do(app, keep):
    keep(5, SAMPLE.with_suffix(".jpg").read_bytes())
    app.run()
    app.switch_page("compare.py").run()
    assert not app.exception
    assert "No place photographed at two visits yet" in app.subheader[0].value
    assert "Say under Visit where each photo was taken" in app.text[0].value
