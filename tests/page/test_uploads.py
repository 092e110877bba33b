"""What is uploaded is limited in count and size, and does not stay in the server's memory."""

import asyncio
import io
import urllib.request
from concurrent.futures import ThreadPoolExecutor

import pytest
from PIL import Image

from visual_aid.pages.uploads import UploadRoom

from .conftest import Person, Server


async def answer(room, session="a", size="100", method="PUT", path="/_stcore/upload_file/{}/1"):
    """Give the status that a request through the middleware is answered with."""
    said = []

    async def send(message):
        said.append(message)

    headers = [] if size is None else [(b"content-length", size.encode())]
    scope = {"type": "http", "method": method, "path": path.format(session), "headers": headers}
    await room(scope, None, send)
    return said[0]["status"]


def run(coroutine):
    """Run a coroutine in a thread: the browser's own loop may run in this one."""
    with ThreadPoolExecutor(1) as pool:
        return pool.submit(asyncio.run, coroutine).result()


async def take(scope, receive, send):
    await send({"type": "http.response.start", "status": 204, "headers": []})


def test_uploads_are_limited_in_count_for_each_person_and_in_size_for_all():
    held = {"a": 2, "b": 0}
    room = UploadRoom(take, lambda session: (held[session], 700), most=3, room=1000)

    def status(*about, **more):
        return run(answer(room, *about, **more))

    assert status("a") == 204
    assert status("a") == 204  # what has been answered is no longer on its way
    held["a"] = 3
    assert status("a") == 413
    assert status("b", "300") == 204
    assert status("b", "301") == 507
    assert status("b", None) == 411
    assert status("b", "-5") == 411
    assert status("a", method="DELETE") == 204
    assert status("a", path="/photo/{}") == 204


def test_what_is_on_its_way_counts():
    async def all_at_once():
        ready = asyncio.Event()

        async def slow(scope, receive, send):
            await ready.wait()
            await take(scope, receive, send)

        room = UploadRoom(slow, lambda _: (0, 0), most=2, room=1000)
        asked = [("a", "300"), ("a", "300"), ("a", "300"), ("b", "300"), ("b", "300")]
        waiting = [asyncio.create_task(answer(room, *one)) for one in asked]
        await asyncio.sleep(0)
        ready.set()
        return await asyncio.gather(*waiting)

    assert run(all_at_once()) == [204, 204, 413, 204, 507]


def files(count, size=(64, 48)):
    """Give so many plain pictures that differ, as a browser uploads them."""
    made = []
    for n in range(count):
        buffer = io.BytesIO()
        Image.new("RGB", size, (n % 256, n // 256, 90)).save(buffer, "PNG")
        made.append({"name": f"IMG_{n:04}.png", "mimeType": "image/png", "buffer": buffer.getvalue()})
    return made


def upload(person, chosen):
    person.page.get_by_role("link", name="Add photos", exact=True).click()
    person.page.locator("input[type=file]").set_input_files(chosen)


def waiting_bytes(server):
    """Give the bytes of uploads that the server holds, by its own metrics; None where there are none."""
    with urllib.request.urlopen(f"{server.url}/_stcore/metrics", timeout=20) as answer:
        lines = answer.read().decode().splitlines()
    return next((int(line.split()[-1]) for line in lines if "UploadedFileManager" in line), None)


@pytest.mark.browser
def test_uploads_that_were_screened_are_let_go_of(visit, server, store):
    person = visit()
    photos = files(3, (640, 480))
    upload(person, photos)
    person.button("Screen 3 photos").wait_for()
    assert waiting_bytes(server) == sum(len(file["buffer"]) for file in photos)
    person.press("Screen 3 photos")
    person.page.get_by_role("heading", name="3 photos in the records").wait_for()
    person.page.wait_for_timeout(6000)  # the server's metrics are up to five seconds old
    assert waiting_bytes(server) is None


@pytest.fixture
def narrow(store, tmp_path):
    """Give a server that takes three photos at once."""
    fewer = "from visual_aid.pages import uploads as u\nu.MOST = 3\n"
    fewer += "u.UploadRoom.__init__.__defaults__ = (u.held, 3, u.ROOM)"
    server = Server(tmp_path / "yard.sqlite", first=fewer)
    yield server
    server.kill()


@pytest.mark.browser
def test_too_many_photos_at_once_are_refused_with_the_way_on(chromium, narrow, store):
    person = Person(chromium, narrow, (1280, 800))
    upload(person, files(5, (640, 480)))
    person.page.get_by_text("3 photos are the most at once").wait_for()
    person.press("Screen 3 photos")
    person.page.get_by_role("heading", name="3 photos in the records").wait_for()
    person.settle()
    # There is room again, and the others can be added.
    kept = {entry.photo.name for entry in store.worklist()}
    left = [file for file in files(5, (640, 480)) if file["name"] not in kept]
    person.page.locator("input[type=file]").set_input_files(left)
    person.press("Screen 2 photos")
    person.page.get_by_role("heading", name="2 photos in the records").wait_for()
    assert len(store.worklist()) == 5
    person.context.close()
