"""What a tired person on a tablet in the sun would trip over, on every page of a walkaround."""

import datetime as dt
from pathlib import Path

import pytest

from visual_aid.pages import teaching
from visual_aid.records.teaching import Answer, Step

pytestmark = pytest.mark.browser

LOOK = Path(__file__).with_name("legible.js").read_text(encoding="utf-8")
PAGES = (
    "",
    "visit",
    "review",
    "hand_checks",
    "torque",
    "due",
    "log",
    "add_photos",
    "patterns",
    "threshold",
    "compare",
    "gallery",
    "lessons",
    "quiz",
    "trainees",
)


@pytest.mark.parametrize("size", [(1280, 800), (1024, 768), (390, 844)], ids=["desktop", "tablet", "phone"])
def test_every_page_can_be_read_and_hit(visit, server, store, picture, screened, size):
    for day, seed in ((2, 1), (4, 0)):
        seen = store.visits.begin(
            "417", dt.date(2026, 5, day), inspector="J. Doe", odometer=900, odometer_unit="mi"
        )
        name = "yard07_unit417_axle2_left_torque_rod_close.jpg"
        photo = store.add_photo(screened(picture(seed), name, usable=False), data=picture(seed), visit=seen)
        store.visits.place({photo.id: (2, "left", "torque rod")}, by="J. Doe")
    rust, _ = store.candidates(photo.id)
    store.decide(rust.id, "confirmed", by="J. Doe")
    example = teaching.keep(store, photo.id, store.candidate(rust.id), by="J. Doe")
    store.gallery.save_lesson("Rust", "Look low.", [Step(example.id, "Here.")], by="J. Doe")
    quiz = store.quizzes.add("May", 1, teaching.pool(store), by="J. Doe")
    store.quizzes.answer(store.quizzes.begin(quiz, "Ada", "Night"), [Answer(0)])
    person = visit(size)
    # A page opened by its address asks once for files beside it that the server has at its root.
    person.expected = "_stcore"
    faults = {}
    for page in (*PAGES, f"hand_checks?finding={rust.id}", f"torque?finding={rust.id}"):
        person.page.goto(f"{server.url}/{page}")
        person.page.locator("[data-testid=stMain] :is(button, input, .event, svg):visible").first.wait_for()
        person.settle()
        faults[page] = person.faults(lambda: person.page.evaluate(LOOK))
    assert faults == {page: [] for page in faults}


def test_the_look_finds_what_is_wrong(visit, store):
    person = visit()
    person.page.evaluate(
        """() => document.querySelector("[data-testid=stMain]").insertAdjacentHTML("beforeend",
        "<p style='color: #999; background: #fff'>pale</p><button style='all: unset; width: 20px'>x</button>"
        + "<p style='width: 2000px'>wide</p>")"""
    )
    found = person.page.evaluate(LOOK)
    assert "wider than the screen" in found
    # 2.85 is the contrast of #999999 on white by the formula of WCAG 2.2.
    assert any(line.startswith("contrast 2.8") and "pale" in line for line in found)
    assert any(line.endswith(": x") for line in found)
