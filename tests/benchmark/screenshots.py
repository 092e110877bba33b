"""Take the pictures of the pages that the README shows.

    python tests/benchmark/screenshots.py [FOLDER]

Shows the samples as the demo does, in records that are thrown away, decides on them as their labels say under
the name "demo", walks through the pages, and writes a small WebP picture of each into the folder, by default
``.pages``. Look at every picture before it is kept. Needs a Chromium.
"""

from __future__ import annotations

import datetime as dt
import io
import re
import sys
import tempfile
from pathlib import Path
from typing import Literal

import cv2
from PIL import Image
from playwright.sync_api import Page, sync_playwright
from serving import chromium, served

from visual_aid.cli.demo import show_samples
from visual_aid.evaluation.judging import judge
from visual_aid.evaluation.truth import TruthPhoto, read_truths
from visual_aid.outputs.palette import SIGN_STYLE
from visual_aid.pages import teaching
from visual_aid.pages.intake import take_upload
from visual_aid.records.entries import WEAK_SCORE
from visual_aid.records.store import Store
from visual_aid.records.teaching import Answer, Item, Quiz, Tap

ROOT = Path(__file__).parents[2]
SAMPLES = ROOT / "sample_images"
NAME = "demo"
SIZE = {"width": 1024, "height": 768}
SEEN_BEFORE = "yard07_unit231_axle2_left_trackbar_bracket.jpg"
BYTES = 60_000
"""Most that one picture may weigh."""
PICTURES_SHOWN = """() => [...document.images]
  .filter((image) => image.getBoundingClientRect().top < innerHeight)
  .every((image) => image.complete && image.naturalWidth > 0)"""


def main(folder: Path) -> None:
    """Take all pictures."""
    folder.mkdir(parents=True, exist_ok=True)
    truths = {truth.name: truth for truth in read_truths(SAMPLES)}
    with tempfile.TemporaryDirectory() as kept:
        path = Path(kept, "demo.sqlite")
        show_samples(SAMPLES, path, 1)
        store = Store.open(path)
        with served(path) as (url, _), sync_playwright() as playwright:
            browser = chromium(playwright)
            pages = Pages(browser.new_page(viewport=SIZE, reduced_motion="reduce"), url, folder)
            pages.look()
            decide(store, truths, every=2)
            pages.inspect()
            see_before(store)
            pages.compare()
            pages.lead()
            decide(store, truths, every=1)
            quiz = teach(store)
            pages.train(quiz)
            sit(store, quiz)
            pages.look_back()
            browser.close()
        store.close()


def decide(store: Store, truths: dict[str, TruthPhoto], every: int) -> None:
    """Decide as the labels say on every so many of the photos that wait."""
    labelled = [entry for entry in store.worklist() if entry.photo.name in truths]
    for entry in labelled[::every]:
        judged = judge(truths[entry.photo.name], entry.photo.screening).candidates
        stands = {one.candidate.id for one in judged if one.evidence is not None}
        for stored in store.candidates(entry.photo.id):
            if stored.outcome is None:
                there = stored.candidate.id in stands
                store.decide(stored.id, "confirmed" if there else "ruled_out", by=NAME)


def teach(store: Store) -> Quiz:
    """Fill the gallery with what was decided, and draw a quiz from it."""
    for entry in store.worklist("decided"):
        for stored in store.candidates(entry.photo.id):
            plain = stored.is_finding or stored.candidate.score >= WEAK_SCORE
            if plain and teaching.can_keep(stored):
                teaching.keep(store, entry.photo.id, stored, by=NAME)
    return teaching.new_quiz(store, "Frame and hangers", 1, 6, trainee="", by=NAME)


def see_before(store: Store) -> None:
    """Add a photo of a sample's place from the month before: the sample, a little turned and nearer."""
    waiting = (*store.worklist("to_decide"), *store.worklist("decided"))
    photo = next(entry.photo for entry in waiting if entry.photo.name == SEEN_BEFORE)
    assert photo.visit is not None
    assert photo.position is not None
    pixels = cv2.imread(str(SAMPLES / SEEN_BEFORE))
    height, width = pixels.shape[:2]
    camera = cv2.getRotationMatrix2D((width / 2, height / 2), 2.0, 1.04)
    data = cv2.imencode(".jpg", cv2.warpAffine(pixels, camera, (width, height)))[1]
    visit = store.visits.begin(photo.visit.unit, photo.visit.date - dt.timedelta(days=30), inspector=NAME)
    take_upload(store, data.tobytes(), "month_before.jpg", visit)
    (added,) = store.visits.photos(visit.id)
    store.visits.place({added.id: photo.position.spot}, by=NAME)


def sit(store: Store, quiz: Quiz) -> None:
    """Let two people take the quiz: one finds what is there, one taps nothing."""
    for name, sees in (("Ada", True), ("Ben", False)):
        answers = [Answer(n, _taps(item) if sees else ()) for n, item in enumerate(quiz.items)]
        store.quizzes.answer(store.quizzes.begin(quiz, name, "Night crew"), answers)


def _taps(item: Item) -> tuple[Tap, ...]:
    return tuple(Tap(e.box[0] + e.box[2] / 2, e.box[1] + e.box[3] / 2, e.cue) for e in item.evidence)


class Pages:
    """Somebody who walks through the pages and takes pictures."""

    def __init__(self, page: Page, url: str, folder: Path) -> None:
        self.page, self.url, self.folder = page, url, folder
        page.set_default_timeout(60_000)

    def look(self) -> None:
        """See the worklist and the first photo, before anything is decided."""
        page = self.page
        page.goto(self.url)
        page.get_by_text("A photo never proves a joint tight").first.wait_for()
        self.take("worklist")
        page.get_by_role("button", name="Look", exact=True).first.click()
        page.locator(".viewer[data-state=shown]").wait_for()
        page.get_by_label("Your name or initials").fill(NAME)
        page.keyboard.press("Enter")
        page.locator(".st-key-decide button:enabled").first.wait_for()
        self.take("review")
        page.get_by_role("button", name="Confirm").first.click()
        # The photo's next mark comes up, if there is one: the hand check belongs to the one confirmed.
        hand_check = page.get_by_role("button", name="Hand check").first
        next_mark = page.get_by_role("heading", name=re.compile("^2 of"))
        hand_check.or_(next_mark).first.wait_for()
        if next_mark.is_visible():
            page.get_by_role("button", name="Back Shortcut").click()
        hand_check.wait_for()

    def inspect(self) -> None:
        """Go on as the inspector, from the photo that was confirmed."""
        page = self.page
        page.get_by_role("button", name="Hand check").first.click()
        self.settle()
        self.fill("Maker's torque for this thread condition", "100")
        self.fill("Torque at which the wrench gave its signal", "100")
        self.choose("Wrench calibrated", "yes")
        self.choose("The nut turned", "yes")
        self.fill("How far it turned", "15")
        page.locator(".outcome").evaluate("e => e.scrollIntoView({ block: 'end' })")
        self.take("hand_check")
        page.get_by_role("button", name="Torque worksheet").click()
        self.settle()
        self.pick("Thread", "3/4-16 UNF")
        self.pick("Grade or class", "SAE grade 8")
        self.pick("Thread as found", "clean and dry")
        self.fill("Maker's dry value", "123")
        page.locator(".outcome").evaluate("e => e.scrollIntoView({ block: 'center' })")
        self.take("torque")
        self.go("Visit")
        self.take("visit")
        self.go("Due")
        self.take("due")
        self.go("Log")
        self.take("log")
        self.go("Add photos")
        self.fill("Unit number", "7")
        self.page.locator("input[type=file]").set_input_files(sorted(SAMPLES.glob("*.jpg"))[:4])
        self.settle()
        self.take("add_photos")

    def compare(self) -> None:
        """Lay the visit on the one before."""
        self.go("Compare")
        self.page.get_by_role("button", name="Compare", exact=True).click()
        self.page.locator(".viewer[data-state=shown]").wait_for()
        self.take("compare")

    def lead(self) -> None:
        """Go the shop lead's way."""
        self.go("Threshold", "Backlog")
        self.page.locator("svg.marks").wait_for()
        slider = self.page.get_by_test_id("stSlider")
        slider.evaluate("e => { e.style.scrollMarginTop = '80px'; e.scrollIntoView(); }")
        self.take("threshold")
        self.go("Patterns", "Backlog")
        self.take("patterns")

    def train(self, quiz: Quiz) -> None:
        """Go the trainer's way, and answer the first question of the quiz that shows evidence."""
        self.go("Gallery", "Teaching")
        self.take("gallery")
        self.go("Quiz", "Teaching")
        self.fill("Trainee", NAME)
        self.page.get_by_role("button", name="Start").click()
        for item in quiz.items:
            self.page.locator(".asking[data-state=shown]").wait_for()
            for evidence in item.evidence:
                x, y, width, height = evidence.box
                self.page.mouse.click(*self.on_screen(x + width / 2, y + height / 2))
                self.page.get_by_role("button", name=SIGN_STYLE[evidence.cue].label, exact=True).click()
            self.page.get_by_role("button", name="Done" if item.evidence else "Nothing here").click()
            self.page.get_by_role("button", name="Next photo").wait_for()
            if item.evidence:
                break
            self.page.get_by_role("button", name="Next photo").click()
            self.settle()
        self.take("quiz")

    def look_back(self) -> None:
        """See how the trainees did, and put a lesson together."""
        self.go("Trainees", "Teaching")
        self.take("trainees")
        self.go("Lessons", "Teaching")
        self.take("lessons")

    def on_screen(self, x: float, y: float) -> tuple[float, float]:
        """Give the point of the screen where a pixel of the quiz's photo is drawn."""
        found = self.page.locator(".asking svg").first.evaluate(
            "(svg, [x, y]) => { const p = new DOMPoint(x, y).matrixTransform(svg.getScreenCTM());"
            " return [p.x, p.y]; }",
            [x, y],
        )
        return found[0], found[1]

    def go(self, title: str, section: str = "") -> None:
        """Go to a page by the bar at the top."""
        role: Literal["link", "menuitem"] = "link"
        if section:
            self.page.get_by_test_id("stTopNavSection").filter(has_text=section).click()
            role = "menuitem"
        self.page.get_by_role(role, name=title, exact=True).click()
        self.settle()
        self.page.get_by_test_id("stMain").evaluate("e => e.scrollTo(0, 0)")

    def fill(self, label: str, text: str) -> None:
        """Write into the field of that name."""
        self.page.get_by_role("textbox", name=label).first.fill(text)
        self.page.keyboard.press("Tab")
        self.settle()

    def choose(self, group: str, option: str) -> None:
        """Tap one of the buttons of a question."""
        self.page.get_by_role("radiogroup", name=group).first.get_by_text(option, exact=True).click()
        self.settle()

    def pick(self, label: str, option: str) -> None:
        """Pick from a list."""
        box = self.page.get_by_test_id("stSelectbox").filter(has_text=label).first.locator("input")
        box.click()
        box.fill(option)
        self.page.get_by_role("option", name=option).first.click()
        self.settle()

    def settle(self) -> None:
        """Wait until the page is at rest."""
        self.page.locator("[data-testid=stApp][data-test-script-state=notRunning]").wait_for()
        self.page.wait_for_timeout(500)

    def take(self, name: str) -> None:
        """Take a picture, as good as its weight allows."""
        self.settle()
        self.page.wait_for_function(PICTURES_SHOWN)
        self.page.wait_for_timeout(1500)
        image = Image.open(io.BytesIO(self.page.screenshot())).convert("RGB")
        for quality in range(80, 20, -5):
            data = io.BytesIO()
            image.save(data, "WEBP", quality=quality, method=6)
            if data.tell() <= BYTES:
                break
        (self.folder / f"{name}.webp").write_bytes(data.getvalue())
        print(f"{name}: {data.tell() / 1000:.0f} kB")  # noqa: T201


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else ROOT / ".pages")
