"""Time the page: how smoothly the viewer pans and zooms, and how soon a key does what it says.

Prints the frame times of a pan and a zoom over a photo of twelve megapixels with sixty candidates, and the
time from a key press to the next candidate and to the stored decision, with the machine's load beside them.
"""

from __future__ import annotations

import io
import os
import re
import sqlite3
import statistics
import tempfile
import time
from pathlib import Path

import numpy as np
from PIL import Image
from playwright.sync_api import Page, sync_playwright
from serving import chromium, served

from visual_aid.model import CUES, Candidate, Fastener, Quality, Screening
from visual_aid.photo import read_photo_bytes
from visual_aid.records.store import Store

CANDIDATES = 60
DECISIONS = 20
STEPS = 10
SEEN = 1000
"""Milliseconds before a key is pressed: the page refuses one before the question can have been seen."""
LONGEST = 10.0
"""Seconds after which a decision is not coming any more."""
FRAMES = """() => {
  window.frames_ = [];
  window.ticking_ = true;
  let last = performance.now();
  const tick = (now) => {
    window.frames_.push(now - last);
    last = now;
    if (window.ticking_) requestAnimationFrame(tick);
  };
  requestAnimationFrame(tick);
}"""


def main() -> None:
    """Measure and print."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "yard.sqlite"
        store = Store.open(path)
        photo = _fill(store)
        with served(path) as (url, _), sync_playwright() as playwright:
            browser = chromium(playwright)
            page = browser.new_page(viewport={"width": 1280, "height": 800})
            page.goto(f"{url}/review?photo={photo}")
            page.locator(".viewer[data-state=shown]").wait_for()
            page.get_by_label("Your name or initials").fill("J. Doe")
            page.keyboard.press("Enter")
            page.locator(".st-key-decide button:enabled").first.wait_for()
            _frames(page)
            _steps(page)
            _keys(page, path)
            browser.close()
    print(f"load of the machine: {os.getloadavg()[0]:.1f} on {os.cpu_count()} processors")  # noqa: T201


def _fill(store: Store) -> str:
    pixels = np.random.default_rng(1).integers(60, 190, (3000, 4000, 3), np.uint8)
    buffer = io.BytesIO()
    Image.fromarray(pixels).resize((4000, 3000)).save(buffer, "JPEG", quality=90)
    candidates = []
    for i in range(CANDIDATES):
        x, y = 150.0 + 380 * (i % 10), 150.0 + 480 * (i // 10)
        around = np.radians(np.arange(0, 360, 10))
        outline = tuple(zip(x + 90 * np.cos(around), y + 120 * np.sin(around), strict=True))
        box = (x - 90, y - 120, 180.0, 240.0)
        candidates.append(Candidate(i + 1, CUES[i % len(CUES)], 1, box, outline, 0.9, {}, "drawn"))
    screening = Screening(
        engine="benchmark",
        photo=read_photo_bytes(buffer.getvalue(), "photo.jpg").info,
        quality=Quality(True),
        fasteners=(Fastener(1, "hex_nut", 2000.0, 1500.0, 90.0),),
        candidates=tuple(candidates),
        priority=0.9,
    )
    return store.add_photo(screening, data=buffer.getvalue()).id


def _steps(page: Page) -> None:
    took = []
    for _ in range(STEPS):
        page.wait_for_timeout(SEEN)
        asked = page.locator("h3").filter(has_text=f" of {CANDIDATES}:")
        at = int(asked.inner_text().split()[0])
        start = time.perf_counter()
        page.keyboard.press("ArrowRight")
        page.locator("h3").filter(has_text=re.compile(rf"^{at % CANDIDATES + 1} of")).wait_for()
        took.append(1000 * (time.perf_counter() - start))
    _tell("key to next candidate", took)


def _frames(page: Page) -> None:
    box = page.locator(".viewer > svg").bounding_box()
    assert box is not None
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.mouse.move(x, y)
    for name in ("zoom", "pan"):
        page.evaluate(FRAMES)
        if name == "zoom":
            for step in range(60):
                page.mouse.wheel(0, -40 if step < 30 else 20)
        else:
            page.mouse.down()
            for step in range(120):
                page.mouse.move(x + 150 * np.sin(step / 10), y + 100 * np.cos(step / 10))
            page.mouse.up()
        frames = page.evaluate("() => { window.ticking_ = false; return window.frames_; }")
        middle, late = np.median(frames), np.percentile(frames, 95)
        print(f"{name}: {len(frames)} frames, median {middle:.0f} ms, 95 % under {late:.0f} ms")  # noqa: T201


def _keys(page: Page, path: Path) -> None:
    took = []
    records = sqlite3.connect(path)
    for number in range(DECISIONS):
        page.wait_for_timeout(SEEN)
        start = time.perf_counter()
        page.keyboard.press("yn"[number % 2])
        while records.execute("SELECT count(*) FROM decision").fetchone()[0] <= number:
            if time.perf_counter() - start > LONGEST:
                raise SystemExit(f"decision {number + 1} was not stored within {LONGEST:.0f} s")
            time.sleep(0.005)
        took.append(1000 * (time.perf_counter() - start))
        page.locator("[data-testid=stApp][data-test-script-state=notRunning]").wait_for()
    _tell("key to stored decision", took)


def _tell(what: str, took: list[float]) -> None:
    middle, worst = statistics.median(took), max(took)
    print(f"{what}: median {middle:.0f} ms, longest {worst:.0f} ms of {len(took)}")  # noqa: T201


if __name__ == "__main__":
    main()
