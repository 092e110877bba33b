"""A person at work, in a real browser."""

import dataclasses
import datetime as dt
import io
import math
from functools import partial
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from visual_aid.records.store import Store
from visual_aid.screening import screen_file

pytestmark = pytest.mark.browser

SAMPLES = Path(__file__).parents[2] / "sample_images"
SCREENS = {"desktop": (1280, 800), "tablet": (1024, 768), "phone": (390, 844)}
BUTTONS = ".stMainBlockContainer button:visible"
IN_A_ROW_THAT_SCROLLS = """target => {
  const row = target.closest(".tools");
  return row !== null && getComputedStyle(row).overflowX === "auto";
}"""


def red_pixels(page):
    """Give the box of the red pixels within the viewer, as seen on the screen: left, top, width, height."""
    area = page.locator(".viewer > svg").bounding_box()
    png = page.screenshot(clip=area)
    pixels = np.asarray(Image.open(io.BytesIO(png)).convert("RGB")).astype(int)
    red = (pixels[..., 0] > 180) & (pixels[..., 1] < 90) & (pixels[..., 2] < 90)
    ys, xs = np.nonzero(red)
    left, top = round(area["x"]), round(area["y"])
    return left + xs.min(), top + ys.min(), xs.max() - xs.min() + 1, ys.max() - ys.min() + 1


def test_outlines_lie_on_what_they_outline(visit, store, picture, screened):
    photo = store.add_photo(screened(picture()), data=picture())
    rust = store.candidates(photo.id)[0]
    for size in SCREENS.values():
        person = visit(size)
        person.look()
        for _ in ("whole", "closer"):
            outlined = person.outline(rust.id)
            # The viewer's matrix, the drawn outline and the red box in the photo's own pixels agree. The
            # record counts from pixel centres: the box on screen starts half a pixel before its corner.
            corner = person.on_screen(rust.candidate.box[0], rust.candidate.box[1])
            assert outlined[:2] == pytest.approx(corner, abs=0.01)
            person.press("Lines")
            seen = red_pixels(person.page)
            person.press("Lines")
            half = 0.5 * outlined[2] / rust.candidate.box[2]
            expected = [outlined[0] - half, outlined[1] - half, outlined[2], outlined[3]]
            assert seen == pytest.approx(expected, abs=2 + half)
            person.press("Closer")


def test_a_decision_outlives_a_killed_server(visit, server, store, tmp_path, picture, screened):
    photo = store.add_photo(screened(picture()), data=picture())
    person = visit()
    person.look()
    person.sign()
    person.press("Confirm")
    person.page.get_by_text("2 of 2: Gap under the nut").wait_for()
    person.expected = ""  # whatever comes of the lost connection
    server.kill()
    (kept,) = Store.open(tmp_path / "yard.sqlite").findings()
    assert (kept.candidate.cue, kept.decision.by) == ("rust_trail", "J. Doe")
    person.context.close()

    server.start()
    again = visit()
    again.look()
    again.page.get_by_text("1 Rust trail: confirmed").wait_for()
    assert (
        again.page.locator(f"polygon.over[data-id='{kept.id}']").get_attribute("data-decided") == "confirmed"
    )
    assert again.page.url.endswith(photo.id)


def test_keys_decide_also_from_within_the_photo(visit, store, picture, screened):
    photo = store.add_photo(screened(picture()), data=picture())
    person = visit()
    person.look()
    person.sign()
    person.page.mouse.click(*person.on_screen(600, 1400))  # an empty spot: the photo has the keys now

    def outcomes():
        return [c.outcome for c in store.candidates(photo.id)]

    person.page.keyboard.press("t")
    person.page.get_by_text("2 of 2: Gap under the nut").wait_for()
    assert outcomes() == ["cannot_tell", None]
    person.consider()
    person.page.keyboard.press("n")
    person.page.get_by_text("All decided on this photo.").wait_for()
    assert outcomes() == ["cannot_tell", "ruled_out"]
    person.page.keyboard.press("z")
    person.page.get_by_text("All decided on this photo.").wait_for(state="detached")
    assert outcomes() == ["cannot_tell", None]
    person.page.keyboard.press("+")
    person.page.keyboard.press("0")
    person.settle()
    assert outcomes() == ["cannot_tell", None]


def test_a_tap_chooses_the_candidate_under_it(visit, store, picture, screened):
    store.add_photo(screened(picture()), data=picture())
    person = visit(SCREENS["phone"], touch=True)
    person.look()
    person.page.touchscreen.tap(*person.on_screen(200, 1040))
    person.settle()
    person.page.get_by_text("2 of 2: Gap under the nut").wait_for()
    person.page.touchscreen.tap(*person.on_screen(880, 300))
    person.settle()
    person.page.get_by_text("1 of 2: Rust trail").wait_for()


@pytest.mark.parametrize("shift", [True, False], ids=["with shift", "with the button"])
def test_a_drawn_box_is_kept_in_photo_pixels(visit, store, picture, screened, shift):
    photo = store.add_photo(screened(picture(), flags=False), data=picture())
    person = visit()
    person.look()
    person.sign()
    if not shift:
        person.press("Mark a box")
    person.drag(person.on_screen(900, 520), person.on_screen(600, 320), "Shift" if shift else None)
    person.press("Broken paint")
    person.page.get_by_text("Marked by a person").wait_for()
    (mark,) = store.findings()
    assert mark.candidate.cue == "paint_break"
    # A screen pixel is 3 of the photo's.
    assert mark.candidate.box == pytest.approx((600, 320, 300, 200), abs=4)
    assert person.outline(mark.id)[:2] == pytest.approx(person.on_screen(*mark.candidate.box[:2]), abs=0.01)
    assert len(store.candidates(photo.id)) == 1


def test_a_tap_adds_a_missed_fastener(visit, store, picture, screened):
    photo = store.add_photo(screened(picture()), data=picture())
    person = visit()
    person.look()
    person.press("Add a fastener")
    person.page.mouse.click(*person.on_screen(400, 600))
    person.page.locator("circle.over").nth(1).wait_for()
    (added,) = [f for f in store.photo(photo.id).screening.fasteners if f.id != 1]
    assert (added.cx, added.cy) == pytest.approx((400, 600), abs=4)


def test_others_like_a_fastener_that_was_added_are_found(visit, store):
    sample = next(SAMPLES.glob("*unit232_axle2_left_trackbar*.jpg"))
    whole = screen_file(sample)
    first, second, *rest = whole.fasteners
    photo = store.add_photo(
        dataclasses.replace(whole, fasteners=(first,), candidates=()), data=sample.read_bytes()
    )
    person = visit()
    person.look()
    person.press("Add a fastener")
    person.page.mouse.click(*person.on_screen(second.cx, second.cy))
    person.press("Find others like the one added")
    person.page.get_by_text("A tap with the same tool takes off what is none.").wait_for()
    there = store.photo(photo.id).screening.fasteners
    assert len(there) > 2
    alike = [f for f in rest if abs(math.log(f.radius / first.radius)) < 0.2]
    assert any(math.dist((f.cx, f.cy), (o.cx, o.cy)) < 0.5 * o.radius for f in there for o in alike)
    # The text comes ahead of the end of the redraw that takes the button away.
    person.page.get_by_role("button", name="Find others like the one added").wait_for(state="detached")


def test_wheel_and_pan_keep_the_photo_under_the_pointer(visit, store, picture, screened):
    store.add_photo(screened(picture()), data=picture())
    person = visit()
    person.look()
    at = person.on_screen(640, 760)
    person.page.mouse.move(*at)
    person.page.mouse.wheel(0, -400)
    assert person.on_screen(640, 760) == pytest.approx(at, abs=1)
    person.drag(at, (at[0] + 60, at[1] + 40))
    assert person.on_screen(640, 760) == pytest.approx((at[0] + 60, at[1] + 40), abs=1)
    zoomed = person.page.locator(".viewer > svg").get_attribute("viewBox")
    person.press("Next")
    person.page.get_by_text("2 of 2: Gap under the nut").wait_for()
    after = person.page.locator(".viewer > svg").get_attribute("viewBox")
    assert after.split()[2:] == zoomed.split()[2:]  # the zoom outlives the next candidate


def test_two_fingers_zoom(visit, store, picture, screened):
    store.add_photo(screened(picture()), data=picture())
    person = visit(SCREENS["tablet"], touch=True)
    person.look()
    before = person.on_screen(600, 800)
    reach = person.on_screen(800, 800)[0] - before[0]
    touch = person.context.new_cdp_session(person.page)

    def fingers(kind, gap):
        points = [] if gap is None else [{"x": before[0] + side * gap, "y": before[1]} for side in (-1, 1)]
        touch.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})

    fingers("touchStart", 40)
    for gap in (50, 60, 70, 80):
        fingers("touchMove", gap)
    fingers("touchEnd", None)
    person.settle()
    after = person.on_screen(600, 800)
    assert after == pytest.approx(before, abs=6)
    assert person.on_screen(800, 800)[0] - after[0] == pytest.approx(2 * reach, rel=0.15)


def test_photos_are_uploaded_and_a_bad_one_is_named(visit, store, picture):
    person = visit()
    person.press("Add photos")
    files = [
        {"name": "IMG_1.jpg", "mimeType": "image/jpeg", "buffer": picture(1)},
        {"name": "IMG_2.jpg", "mimeType": "image/jpeg", "buffer": b"cut short"},
        {"name": "IMG_3.jpg", "mimeType": "image/jpeg", "buffer": picture(2)},
    ]
    person.page.locator("input[type=file]").set_input_files(files)
    person.press("Screen 3 photos")
    person.page.get_by_text("Refused: IMG_2.jpg").wait_for()
    assert {e.photo.name for e in store.worklist()} == {"IMG_1.jpg", "IMG_3.jpg"}
    photo = next(e.photo for e in store.worklist() if e.photo.name == "IMG_3.jpg")
    assert store.file(photo).read_bytes() == picture(2)


def test_a_photo_that_is_gone_is_said_to_be(visit, store, picture, screened):
    photo = store.add_photo(screened(picture()), data=picture())
    store.thumb(photo)
    store.file(photo).unlink()
    person = visit()
    person.expected = "404"
    person.button("Look").click()
    person.page.get_by_text("The photo file cannot be shown").wait_for()


def test_what_a_finger_hits_is_large_and_nothing_sticks_out(visit, store, picture, screened):
    # WCAG 2.2, success criterion 2.5.5: targets of at least 44 by 44 CSS pixels.
    store.add_photo(screened(picture()), data=picture())
    wrong, checked = [], 0

    def too_small(page, width):
        targets = page.locator(BUTTONS).all()
        boxes = [(t.inner_text(), t.bounding_box(), t.evaluate(IN_A_ROW_THAT_SCROLLS)) for t in targets]
        return [
            (width, name, box)
            for name, box, scrolls in boxes
            if min(box["height"], box["width"]) < 44
            or not (scrolls or (box["x"] >= 0 and box["x"] + box["width"] <= width))
        ]

    for size in SCREENS.values():
        person = visit(size)
        for go in (person.settle, person.look):
            go()
            wrong += person.faults(partial(too_small, person.page, size[0]))
            checked += person.page.locator(BUTTONS).count()
            assert person.page.evaluate("document.documentElement.scrollWidth") <= size[0]
    assert wrong == []
    assert checked > 40


def test_the_worklist_is_found_by_its_name_too(visit, server, store, picture, screened):
    store.add_photo(screened(picture()), data=picture())
    person = visit()
    person.expected = "_stcore"  # asked for once beside the page, where the server does not have it
    person.page.goto(f"{server.url}/worklist")
    person.look()
    assert person.page.get_by_text("Page not found").count() == 0


@pytest.mark.parametrize("size", SCREENS.values(), ids=SCREENS)
def test_the_foot_of_the_worklist_is_no_higher_than_it_has_to_be(visit, store, picture, screened, size):
    store.add_photo(screened(picture()), data=picture())
    person = visit(size)
    person.page.get_by_text("Pick", exact=True).click()
    person.settle()
    foot = person.page.get_by_test_id("stBottomBlockContainer")
    higher, left = foot.evaluate(
        "foot => { const [all, inside] = [foot, foot.firstElementChild].map(e => e.getBoundingClientRect());"
        " return [all.height - inside.height, inside.left]; }"
    )
    assert higher < 25
    assert left <= person.page.locator(".line").first.bounding_box()["x"]  # as wide as the list above it
    person.page.get_by_label("Your name or initials").fill("J. Doe")
    person.page.keyboard.press("Enter")
    rule_out = person.page.get_by_role("button", name="Rule out all marks on 1 picked photo")
    rule_out.click()
    person.page.get_by_text("Ruled out: 2 marks on 1 photo.").wait_for()


def test_the_filter_says_how_much_is_set(visit, store, picture, screened):
    store.add_photo(screened(picture()), data=picture())
    person = visit()
    person.press("Filter")
    every_shot = person.page.get_by_text("Show every shot of a burst")
    every_shot.click()
    person.settle()
    assert person.page.get_by_role("button", name="Filter", exact=True).is_visible()  # it filters nothing
    person.page.get_by_label("Side", exact=True).first.click()
    person.page.get_by_role("option", name="left").click()
    person.page.get_by_role("button", name="Filter: 1 set").wait_for()
    person.press("Show all photos again")
    person.page.get_by_role("button", name="Filter", exact=True).wait_for()
    assert not person.page.get_by_role("checkbox", name="Show every shot of a burst").is_checked()


def test_text_stands_out_from_its_ground(visit, store, picture, screened):
    # WCAG 2.2, success criterion 1.4.3: at least 4.5 to 1, by the relative luminance defined there.
    store.add_photo(screened(picture()), data=picture())
    person = visit()
    person.look()
    person.sign()
    inks = person.page.evaluate(
        """() => [...document.querySelectorAll('.stMainBlockContainer *')]
        .filter(e => [...e.childNodes].some(n => n.nodeType === 3 && n.textContent.trim())
                     && e.checkVisibility() && e.tagName !== 'STYLE' && !e.closest(':disabled'))
        .map(e => {
          let ground = e;
          const paper = () => getComputedStyle(ground).backgroundColor;
          const clear = /^rgba\\(.*, 0\\)$|transparent/;
          while (ground.parentElement && clear.test(paper())) ground = ground.parentElement;
          let opacity = 1;
          for (let up = e; up; up = up.parentElement) opacity *= getComputedStyle(up).opacity;
          return [e.textContent.trim().slice(0, 40), getComputedStyle(e).color, paper(), opacity];
        })"""
    )
    assert len(inks) > 8
    for text, ink, ground, opacity in inks:
        assert contrast(ink, ground, opacity) >= 4.5, (text, ink, ground, opacity)


def contrast(ink, ground, opacity):
    lights = []
    paper = channels(ground)
    *colour, alpha = channels(ink)
    for *light, share in ((*colour, alpha * opacity), paper):
        mixed = [share * c + (1 - share) * p for c, p in zip(light, paper[:3], strict=True)]
        linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in mixed]
        lights.append(0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2])
    return (max(lights) + 0.05) / (min(lights) + 0.05)


def channels(colour):
    numbers = [float(n) for n in colour[colour.index("(") + 1 : -1].split(",")]
    return (*(n / 255 for n in numbers[:3]), *(numbers[3:] or [1.0]))


def test_the_visit_before_is_wiped_in_from_the_left(visit, store, picture, screened):
    photos = []
    for day in (2, 4):
        seen = store.visits.begin("417", dt.date(2026, 5, day), inspector="J. Doe")
        photos.append(store.add_photo(screened(picture(day)), data=picture(day), visit=seen))
    store.visits.place({p.id: (2, "left", "torque rod") for p in photos}, by="J. Doe")
    person = visit()
    person.page.goto(f"{person.page.url.rstrip('/')}/review?photo={photos[1].id}")
    person.expected = "_stcore"  # a page opened by its address looks for these beside it first
    person.page.locator(".viewer[data-state=shown]").wait_for()
    person.settle()
    former = person.page.locator(".viewer svg.former")
    assert not former.is_visible()
    with person.page.expect_response(f"**/before/{photos[1].id}") as answer:
        person.page.keyboard.press("w")
    assert answer.value.ok
    assert float(former.get_attribute("width")) == pytest.approx(600, abs=1)
    person.drag(person.on_screen(600, 800), person.on_screen(300, 800))
    assert float(former.get_attribute("width")) == pytest.approx(300, abs=4)
    person.page.keyboard.press("Escape")
    assert not former.is_visible()
