"""What the gallery costs with many examples and looks; prints milliseconds, asserts none.

Makes records of its own: 1,000 photos of 20 fasteners each, 500 examples.
"""

import dataclasses
import hashlib
import os
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
from PIL import Image
from streamlit.testing.v1 import AppTest

from visual_aid import pages
from visual_aid.evidence.look import LENGTH, VERSION
from visual_aid.gallery.alike import fastener_at, more_like
from visual_aid.gallery.order import contrast_pairs
from visual_aid.model import CUES, Candidate, Fastener, PhotoInfo, Quality, Screening
from visual_aid.pages import teaching
from visual_aid.records.store import Store

PHOTOS, FASTENERS, EXAMPLES = 1000, 20, 500


def fill(folder):
    """Make records in a folder."""
    store = Store.open(folder / "yard.sqlite")
    rng = np.random.default_rng(1)
    for number in range(PHOTOS):
        path = folder / f"IMG_{number:04}.jpg"
        if number < EXAMPLES:
            Image.fromarray(rng.integers(0, 256, (12, 16, 3), np.uint8)).resize((1600, 1200)).save(path)
        fasteners = tuple(
            Fastener(i + 1, "hex_nut", *rng.uniform(100, 1000, 2), 40.0, look=rng.bytes(LENGTH))
            for i in range(FASTENERS)
        )
        one = fasteners[0]
        box = (one.cx, one.cy, 40.0, 80.0)
        outline = ((one.cx, one.cy), (one.cx + 40, one.cy), (one.cx, one.cy + 80))
        candidate = Candidate(1, CUES[number % 7], 1, box, outline, 0.7, reason="rust-coloured run")
        screening = Screening(
            "benchmark",
            PhotoInfo(path.name, str(path), f"{number:064}", 1600, 1200),
            Quality(True),
            fasteners,
            (candidate,),
        )
        if number < EXAMPLES:
            data = path.read_bytes()
            info = dataclasses.replace(screening.photo, sha256=hashlib.sha256(data).hexdigest())
            screening = dataclasses.replace(screening, photo=info)
        photo = store.add_photo(screening)
        if number < EXAMPLES:
            flagged = store.candidates(photo.id)[0]
            store.decide(flagged.id, "confirmed" if number % 2 else "ruled_out", by="Mo")
            teaching.keep(store, photo.id, store.candidate(flagged.id), by="Mo")
    return store


def timed(name, work, repeat=5):
    """Print the best time of some work."""
    best = min(_once(work) for _ in range(repeat))
    sys.stdout.write(f"{name:52} {1000 * best:8.1f} ms\n")


def _once(work):
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def main():
    """Measure and print."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        store = fill(folder)
        looks = store.gallery.looks(VERSION)
        first = store.gallery.examples()[0]
        at = fastener_at(looks, first.photo, first.candidate.box)
        sys.stdout.write(f"{len(looks)} looks, {len(store.gallery.examples())} examples\n")
        timed("read all looks", lambda: store.gallery.looks(VERSION))
        timed("more like this, looks at hand", lambda: more_like(looks, at, 12))
        timed(
            "more like this, from the database",
            lambda: teaching.like(store, first, store.gallery.looks(VERSION)),
        )
        timed("read all examples", store.gallery.examples)
        examples = store.gallery.examples()
        timed("contrast pairs of all", lambda: contrast_pairs(examples, looks))
        os.environ["VISUAL_AID_STORE"] = str(folder / "yard.sqlite")
        app = AppTest.from_file(str(Path(pages.__file__).with_name("main.py")), default_timeout=60)
        app.run()
        app.switch_page("gallery.py")
        timed("the gallery page's script", app.run)


if __name__ == "__main__":
    main()
