"""Let people work on a page for a while, and print how its memory and its answers go.

    python tests/benchmark/soak.py MINUTES [PICTURE]

One after another people open the page, add photos, decide, look at the visit and leave; meanwhile the records
are backed up. Every step is timed; the memory is that of the server and of its decoding processes. Decisions
that the page acknowledged are looked up in the records, and one that is missing or on another candidate ends
the run with an error. With a picture's name the curves are drawn as well. Needs a Chromium.
"""

import math
import os
import sys
import tempfile
import time
from collections import Counter, defaultdict
from pathlib import Path
from statistics import median

from PIL import Image, ImageDraw
from playwright.sync_api import TimeoutError as PlaywrightTimeoutError
from playwright.sync_api import sync_playwright
from serving import chromium, served

from visual_aid.outputs.lettering import lettering
from visual_aid.records.backup import back_up
from visual_aid.records.store import Store

SAMPLES = sorted((Path(__file__).parents[2] / "sample_images").glob("*.jpg"))


def resident(process):
    """Give the resident memory of a process and of its children, in MB."""
    own = Path(f"/proc/{process}/status").read_text().splitlines()
    total = int(next(line for line in own if line.startswith("VmRSS:")).split()[1]) / 1000
    children = Path(f"/proc/{process}/task/{process}/children").read_text().split()
    return total + sum(resident(child) for child in children)


def photos(number):
    """Give a few sample photos as new files: what follows the end of a JPEG makes it another file."""
    chosen = [SAMPLES[(3 * number + k) % len(SAMPLES)] for k in range(3)]
    return [
        {
            "name": f"{number}-{path.name}",
            "mimeType": "image/jpeg",
            "buffer": path.read_bytes() + os.urandom(8),
        }
        for path in chosen
    ]


class Clock:
    """When each step was done, and how long it took, in seconds, by its name."""

    def __init__(self):
        self._began = time.monotonic()
        self.times = defaultdict(list)

    def now(self):
        return time.monotonic() - self._began

    def step(self, name, do):
        began = self.now()
        do()
        self.times[name].append((self.now(), self.now() - began))


class Presses:
    """What became of each press of Confirm, by what the page says."""

    def __init__(self):
        self.acknowledged, self.refused, self.unanswered = [], 0, 0

    def confirm(self, page):
        """Confirm the candidate that the page shows, and wait for the page's answer to that."""
        button = page.locator(".st-key-decide button", has_text="Confirm")
        shown = page.locator("img.magnifier").get_attribute("src")
        candidate = int(shown.partition("?")[0].rpartition("/")[2])
        page.wait_for_timeout(600)  # nobody answers sooner
        button.click()
        kept = page.locator(f".st-key-choose-{candidate}", has_text="confirmed")
        refusal = page.get_by_text("ecorded now").or_(page.get_by_text("Not recorded"))
        try:
            kept.or_(refusal).filter(visible=True).first.wait_for()
        except PlaywrightTimeoutError:
            self.unanswered += 1
            return
        if kept.count():
            self.acknowledged.append(candidate)
        else:
            self.refused += 1

    def lost(self, records):
        """Give what differs between the candidates acknowledged and those decided on, and how often."""
        photos = [entry.photo.id for entry in records.worklist()]
        ids = [candidate.id for photo in photos for candidate in records.candidates(photo)]
        decided = Counter({id_: len(records.history(id_)) for id_ in ids})
        said = Counter(self.acknowledged)
        return said - decided, decided - said


def settle(page):
    page.locator("[data-testid=stApp][data-test-script-state=notRunning]").wait_for()


def waiting(page):
    """Tell whether the page asks for a decision on something that nobody has decided on."""
    settle(page)
    asked = page.locator(".st-key-decide button:enabled", has_text="Confirm")
    if not asked.count():
        return False
    return not page.get_by_text("All decided on this photo.").count()


def walk(page, url, number, clock, presses):
    """Work as one person from the first page to the visit's report."""
    clock.step("open", lambda: (page.goto(url), page.get_by_role("link", name="Add photos").wait_for()))
    page.get_by_role("link", name="Add photos", exact=True).click()
    page.get_by_label("Unit number").fill(str(number % 7 + 400))
    page.keyboard.press("Enter")
    page.get_by_label("Your name or initials").fill("J. Doe")
    page.keyboard.press("Enter")
    page.locator("input[type=file]").set_input_files(photos(number))
    screen = page.get_by_role("button", name="Screen 3 photos")
    screen.wait_for()

    def screened():
        screen.click()
        page.get_by_role("heading", name="3 photos in the records").wait_for()

    clock.step("screen 3", screened)
    page.get_by_role("link", name="Review", exact=True).click()
    asked_or_done = page.get_by_role("button", name="Next photo").or_(
        page.get_by_text("No photo to decide on")
    )
    asked_or_done.first.wait_for()
    for _ in range(4):
        if waiting(page):
            clock.step("decide", lambda: presses.confirm(page))
    page.get_by_role("link", name="Visit", exact=True).click()
    clock.step("visit", lambda: page.get_by_role("heading", name="Report").wait_for())


COLOURS = {
    "memory": "#0b4f6c",
    "screen 3": "#8a3b00",
    "open": "#5b666d",
    "visit": "#6a2c8c",
    "decide": "#0b7a3b",
    "back up": "#b8860b",
}


def draw(curve, times, path):
    """Draw memory and times over the minutes as a PNG: the one from 0 MB, the others on a scale of tens."""
    image = Image.new("RGB", (900, 640), "white")
    pen = ImageDraw.Draw(image)
    last = curve[-1][0] or 1
    most = max(memory for _, memory in curve) * 1.1

    def panel(top, height, label, ticks, lines):
        bottom = top + height
        pen.text((70, top - 8), label, "black", lettering(15), "lb")
        for text, share in ticks:
            y = bottom - height * share
            pen.line([(70, y), (760, y)], "#dddddd")
            pen.text((62, y), text, "black", lettering(14), "rm")
        pen.line([(70, top), (70, bottom), (760, bottom)], "black")
        for name, points in lines.items():
            at = [(70 + 690 * moment / last, bottom - height * share) for moment, share in points]
            pen.line(at, COLOURS[name], 2)
        labels = sorted(((bottom - height * points[-1][1], name) for name, points in lines.items()))
        free = top
        for y, name in labels:
            free = max(free, y)
            pen.text((770, free), name, COLOURS[name], lettering(14), "lm")
            free += 18

    memory = {"memory": [(moment, used / most) for moment, used in curve]}
    panel(
        40,
        230,
        "Memory of the server and its decoders, MB",
        [(f"{most * k:.0f}", k) for k in (0, 0.5, 1)],
        memory,
    )
    tens = [("0.1", 0), ("1", 1 / 3), ("10", 2 / 3), ("100", 1)]
    spans = {
        name: [(moment, min(1, max(0, (math.log10(took) + 1) / 3))) for moment, took in steps]
        for name, steps in times.items()
    }
    panel(330, 260, "Time that a step takes, s", tens, spans)
    pen.text((760, 600), f"{last / 60:.0f} min", "black", lettering(14), "rt")
    image.save(path, optimize=True)


def main(minutes, picture=None):
    """Work for so many minutes and print the figures."""
    clock, curve, presses = Clock(), [], Presses()
    with tempfile.TemporaryDirectory() as folder:
        store = Path(folder, "yard.sqlite")
        with served(store) as (url, process), sync_playwright() as playwright:
            browser = chromium(playwright)
            number = failed = 0
            while clock.now() < 60 * minutes:
                context = browser.new_context()
                context.set_default_timeout(120_000)
                try:
                    walk(context.new_page(), url, number, clock, presses)
                except Exception as error:  # counted, and the next person comes
                    failed += 1
                    sys.stderr.write(f"{number}: {str(error).splitlines()[0]}\n")
                context.close()
                clock.step("back up", lambda: back_up(store, Path(folder, "yard.zip")))
                number += 1
                curve.append((clock.now(), resident(process)))
                sys.stdout.write(f"{curve[-1][0]:6.0f} s  {number:4} people  {curve[-1][1]:6.0f} MB\n")
            browser.close()
        records = Store.open(store)
        missing, unasked = presses.lost(records)
        sys.stdout.write(
            f"{number} people, {failed} stopped short, {len(records.worklist())} photos; Confirm: "
            f"{len(presses.acknowledged)} acknowledged, {presses.refused} refused with a reason, "
            f"{presses.unanswered} without an answer; {missing.total()} acknowledged and missing, "
            f"{unasked.total()} kept and not acknowledged\n"
        )
        records.close()
    for name, steps in clock.times.items():
        times = [took for _, took in steps]
        half = len(times) // 2
        sys.stdout.write(
            f"{name:9} {len(times):4} times, median {median(times):.2f} s, worst {max(times):.2f} s; "
            f"first half {median(times[:half] or times):.2f} s, second half {median(times[half:]):.2f} s\n"
        )
    if picture:
        draw(curve, clock.times, picture)
    if missing or unasked:
        raise SystemExit("the page and the records do not agree on what was decided")


if __name__ == "__main__":
    main(float(sys.argv[1]), *sys.argv[2:])
