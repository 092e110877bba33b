import io
import os
import shutil
import signal
import socket
import subprocess
import sys
import time
import urllib.request

import numpy as np
import pytest
from PIL import ExifTags, Image
from streamlit.testing.v1 import AppTest

from visual_aid.model import Candidate, Fastener, NotJudged, Problem, Quality, Screening
from visual_aid.pages.server import MAIN
from visual_aid.photo import read_photo_bytes
from visual_aid.records.store import Store

RED_BOX = (800.0, 240.0, 160.0, 120.0)
"""Where ``picture`` is red, in pixels of the upright photo: x, y, width, height."""
SIZE = (1200, 1600)
"""Width and height of the upright photo."""


@pytest.fixture(scope="session")
def picture():
    """Give the bytes of a photo held upright, stored on its side as phones do: grey tiles and a red box."""

    def draw(seed=0):
        stones = np.random.default_rng(seed).integers(60, 190, (SIZE[1] // 40, SIZE[0] // 40), np.uint8)
        pixels = np.repeat(stones.repeat(40, 0).repeat(40, 1)[..., None], 3, 2)
        x, y, w, h = (int(v) for v in RED_BOX)
        pixels[y : y + h, x : x + w] = (220, 30, 30)
        exif = Image.Exif()
        exif[ExifTags.Base.Orientation] = 6  # the top of the stored pixels is the right of the photo
        buffer = io.BytesIO()
        Image.fromarray(np.rot90(pixels)).save(buffer, "JPEG", quality=95, exif=exif.tobytes())
        return buffer.getvalue()

    return draw


@pytest.fixture(scope="session")
def screened():
    """Give a screening of such a photo, made by hand."""

    def screen(data, name="IMG_0001.jpg", usable=True, flags=True):
        x, y, w, h = RED_BOX
        candidates = (
            Candidate(
                1,
                "rust_trail",
                1,
                RED_BOX,
                ((x, y), (x + w, y), (x + w, y + h), (x, y + h)),
                0.88,
                {"length_r": 3.21},
                "run of <b>rust</b>, 3.2 nut radii long",
            ),
            Candidate(
                2,
                "gap",
                1,
                (120.0, 1000.0, 180.0, 80.0),
                ((120.0, 1000.0), (300.0, 1000.0), (120.0, 1080.0)),
                0.4,
            ),
        )
        problems = (Problem("blurred", 0.31, 0.5, "blurred: hold still and take it again"),)
        return Screening(
            engine="test",
            photo=read_photo_bytes(data, name).info,
            quality=Quality(usable, () if usable else problems),
            fasteners=(Fastener(1, "hex_nut", 880.0, 200.0, 60.0),),
            candidates=candidates if flags else (),
            not_judged=(NotJudged("clean_outlier", "fewer than three like nuts"),),
            priority=0.88 if flags else 0.0,
        )

    return screen


@pytest.fixture
def store(tmp_path, monkeypatch):
    """Give an empty store, which the pages of this process work on."""
    monkeypatch.setenv("VISUAL_AID_STORE", str(tmp_path / "yard.sqlite"))
    store = Store.open(tmp_path / "yard.sqlite")
    yield store
    store.close()


@pytest.fixture
def new_page(store, monkeypatch):
    """Give a way to run the pages without a browser, unsigned or as a person."""
    # A run leaves the page behind as __main__, which the processes that later tests spawn would run again.
    monkeypatch.setitem(sys.modules, "__main__", sys.modules["__main__"])

    def make(signature=None):
        app = AppTest.from_file(str(MAIN), default_timeout=60)
        if signature is not None:
            app.session_state["signature"] = signature
        return app

    return make


@pytest.fixture
def app(new_page):
    """Give the pages as J. Doe sees them."""
    return new_page("J. Doe")


class Server:
    """The page in a process of its own, which may do something ``first``."""

    def __init__(self, store, people=None, first=""):
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            self.port = probe.getsockname()[1]
        self.url = f"http://127.0.0.1:{self.port}"
        self._command = [
            sys.executable,
            "-c",
            f"{first}\nimport sys; from pathlib import Path; from visual_aid.pages.server import serve;"
            "serve(sys.argv[1], int(sys.argv[2]), *map(Path, sys.argv[3:]))",
            str(store),
            str(self.port),
            *([] if people is None else [str(people)]),
        ]
        self.start()

    def start(self):
        self.process = subprocess.Popen(self._command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        deadline = time.monotonic() + 60
        while time.monotonic() < deadline:
            try:
                with urllib.request.urlopen(f"{self.url}/_stcore/health", timeout=1):
                    return
            except OSError:
                time.sleep(0.2)
        raise AssertionError("the server did not start within a minute")

    def kill(self):
        os.kill(self.process.pid, signal.SIGKILL)
        self.process.wait()


@pytest.fixture
def first():
    """Give what the server does first: nothing, unless a test has something to arrange there."""
    return ""


@pytest.fixture
def server(store, tmp_path, first):
    """Give a server on the store."""
    server = Server(tmp_path / "yard.sqlite", first=first)
    yield server
    if server.process.poll() is None:
        server.kill()


@pytest.fixture(scope="session")
def chromium():
    """Give a browser, or skip where none is installed."""
    path = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
    if path is None:
        pytest.skip("no Chromium is installed on this machine")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=["--no-sandbox"])
        yield browser
        browser.close()


class Person:
    """A browser page that writes down what should not happen."""

    def __init__(self, browser, server, size, touch=False):
        self.context = browser.new_context(
            viewport={"width": size[0], "height": size[1]}, has_touch=touch, reduced_motion="reduce"
        )
        self.page = self.context.new_page()
        self.trouble = []
        self.expected = "nothing"
        self.page.on("pageerror", lambda error: self.note(str(error)))
        self.page.on("console", lambda m: m.type == "error" and self.note(f"{m.text} {m.location}"))
        self.page.on("request", lambda request: self.foreign(request.url, server))
        self.page.on("websocket", lambda socket: self.foreign(socket.url, server))
        self.page.goto(server.url)
        self.page.get_by_text("A photo never proves a joint tight").or_(
            self.page.get_by_text("No photos yet")
        ).wait_for()

    def foreign(self, url, server):
        own = (server.url, server.url.replace("http", "ws"), "data:", "blob:")
        if not url.startswith(own):
            self.note(f"request to {url}")

    def note(self, line):
        if self.expected not in line:
            self.trouble.append(line)

    def look(self):
        self.page.get_by_role("button", name="Look", exact=True).first.click()
        self.page.locator(".viewer[data-state=shown]").wait_for()
        self.settle()

    def settle(self):
        self.page.locator("[data-testid=stApp][data-test-script-state=notRunning]").wait_for()
        self.page.wait_for_timeout(200)

    def consider(self):
        """Wait as long as anybody needs to see what is asked; a press before that is refused."""
        self.settle()
        self.page.wait_for_timeout(1000)

    def faults(self, look):
        """Look for faults until there are none: styles and fonts may come after what they are for.

        ``look`` gives what is wrong now. What is still wrong after some seconds is no passing state.
        """
        for _ in range(20):
            wrong = look()
            if not wrong:
                break
            self.page.wait_for_timeout(500)
        return wrong

    def button(self, name):
        return self.page.get_by_role("button", name=name).first

    def press(self, name):
        self.button(name).click()
        self.settle()

    def sign(self):
        self.page.get_by_label("Your name or initials").fill("J. Doe")
        self.page.keyboard.press("Enter")
        self.page.locator(".st-key-onwards button:enabled", has_text="Undo").wait_for()
        self.settle()

    def on_screen(self, x, y, where=".viewer"):
        """Give the point of the screen where a pixel of the photo is drawn, by the viewer's own matrix."""
        return self.page.locator(f"{where} > svg").evaluate(
            "(svg, [x, y]) => { const p = new DOMPoint(x, y).matrixTransform(svg.getScreenCTM());"
            " return [p.x, p.y]; }",
            [x, y],
        )

    def outline(self, candidate):
        """Give the box on screen of a candidate's outline: left, top, width, height."""
        return self.page.locator(f"polygon.over[data-id='{candidate}']").evaluate(
            "shape => { const b = shape.getBBox(), m = shape.getScreenCTM();"
            " const p = new DOMPoint(b.x, b.y).matrixTransform(m);"
            " return [p.x, p.y, b.width * m.a, b.height * m.d]; }"
        )

    def drag(self, start, end, modifier=None):
        if modifier:
            self.page.keyboard.down(modifier)
        self.page.mouse.move(*start)
        self.page.mouse.down()
        self.page.mouse.move((start[0] + end[0]) / 2, (start[1] + end[1]) / 2)
        self.page.mouse.move(*end)
        self.page.mouse.up()
        if modifier:
            self.page.keyboard.up(modifier)
        self.settle()


@pytest.fixture
def visit(chromium, server):
    """Give a way to open the page; nothing may have gone wrong by the end."""
    people = []

    def come(size=(1280, 800), touch=False):
        people.append(Person(chromium, server, size, touch))
        return people[-1]

    yield come
    for person in people:
        person.context.close()
    assert [line for person in people for line in person.trouble] == []
