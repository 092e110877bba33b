import datetime as dt
import io
import os
import subprocess
import sys
import time
import tomllib
import urllib.error
import urllib.request
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from visual_aid.measure.visits import Comparison
from visual_aid.pages import pictures
from visual_aid.pages.intake import take_upload
from visual_aid.pages.server import CONFIG

ROOT = Path(__file__).parents[2]


def get(url, **headers):
    try:
        with urllib.request.urlopen(urllib.request.Request(url, headers=headers), timeout=20) as answer:
            return answer.status, answer.headers, answer.read()
    except urllib.error.HTTPError as error:
        return error.code, error.headers, error.read()


def test_both_ways_to_start_have_the_same_settings():
    sections = tomllib.loads((ROOT / ".streamlit" / "config.toml").read_text())
    flat = {
        f"{section}.{name}": value for section, names in sections.items() for name, value in names.items()
    }
    assert flat == dict(CONFIG)


def test_a_photo_is_served_upright_by_its_id_with_the_headers(server, store, picture, screened):
    photo = store.add_photo(screened(picture()), data=picture())
    status, headers, body = get(f"{server.url}/photo/{photo.id}")
    assert (status, headers["content-type"]) == (200, "image/jpeg")
    assert Image.open(io.BytesIO(body)).size == (1200, 1600)
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["cross-origin-resource-policy"] == "same-origin"
    assert "connect-src 'self'" in headers["content-security-policy"]
    status, _, body = get(f"{server.url}/thumb/{photo.id}")
    assert (status, max(Image.open(io.BytesIO(body)).size)) == (200, 480)

    for wrong in (
        "0" * 22,
        photo.screening.photo.sha256,
        "..%2f..%2fyard.sqlite",
        "%2e%2e%2fyard.sqlite",
        "../yard.sqlite",
        "..%5cyard.sqlite",
        "%00",
    ):
        status, _, body = get(f"{server.url}/photo/{wrong}")
        assert status in (400, 404), wrong
        assert b"SQLite" not in body

    # The file is gone: a plain answer, and the server goes on.
    again = store.add_photo(screened(picture(1)), data=picture(1))
    store.file(again).unlink()
    assert get(f"{server.url}/photo/{again.id}")[0] == 404
    assert get(f"{server.url}/photo/{photo.id}")[0] == 200


WAYS_OUT = (
    "..%2f..%2fyard.sqlite",
    "%2e%2e%2fyard.sqlite",
    "..%5cyard.sqlite",
    "%2fetc%2fpasswd",
    "....//yard.sqlite",
    "%00",
    "%0d%0aSet-Cookie:%20a=b",
)


def test_no_route_and_no_question_leads_to_another_file(server, store, picture, screened):
    photo = store.add_photo(screened(picture()), data=picture())
    shapes = ("photo/{}", "thumb/{}", "shown/{}", "before/{}", "laid/{}/{}", "magnified/{}/1", "example/{}/1")
    for shape in (*shapes, "piece/{}/1/1/1", "media/{}", "app/static/{}", "_stcore/component/{}/{}"):
        for way in WAYS_OUT:
            status, headers, body = get(f"{server.url}/{shape.format(way, way)}")
            assert status != 500, (shape, way)
            assert b"SQLite" not in body, (shape, way)
            assert b"root:" not in body, (shape, way)
            assert headers["set-cookie"] is None or "a=b" not in headers["set-cookie"]
    for way in WAYS_OUT:
        status, _, body = get(f"{server.url}/review?photo={way}&before={way}&after={way}")
        assert (status, b"SQLite" in body) == (200, False)
    # Numbers beyond what the database and a picture hold stop nothing.
    assert get(f"{server.url}/magnified/{photo.id}/{10**30}")[0] == 404
    assert get(f"{server.url}/piece/{photo.id}/1e308/1e308/1e308")[0] in (200, 404)


def test_what_can_change_is_not_kept_by_a_browser_and_no_cookie_is_for_others(
    server, store, picture, screened
):
    photo = store.add_photo(screened(picture()), data=picture())
    # RFC 9111, 5.2.2.7: private keeps an answer out of caches that are shared.
    assert "private" in get(f"{server.url}/photo/{photo.id}")[1]["cache-control"]
    assert get(f"{server.url}/shown/{photo.id}")[1]["cache-control"] == "no-store"
    _, headers, _ = get(f"{server.url}/")
    cookies = headers.get_all("set-cookie") or []
    assert all("samesite" in cookie.lower() for cookie in cookies)
    for path in ("", f"photo/{photo.id}", "photo/unknown", "_stcore/health"):
        _, headers, _ = get(f"{server.url}/{path}")
        assert headers["x-content-type-options"] == "nosniff", path
        assert "server" not in headers or "python" not in headers["server"].lower()


def test_an_upload_s_name_leads_nowhere_else(store, picture, tmp_path):
    for number, name in enumerate(
        ("../../evil.jpg", "/etc/evil.jpg", "..\\evil.jpg", "a/b/evil.jpg", "\0evil.jpg")
    ):
        assert take_upload(store, picture(number), name).kept
    files = {path.relative_to(tmp_path).as_posix() for path in tmp_path.rglob("*") if path.is_file()}
    assert not [name for name in files if "evil" in name]
    assert {name.split("/")[0] for name in files} <= {
        *("yard-photos", "yard.sqlite", "yard.sqlite-wal", "yard.sqlite-shm")
    }


def test_only_this_machine_reaches_the_server(server):
    # Sockets that listen, by /proc/net/tcp (proc(5)): local address in hexadecimal, state 0A.
    rows = [line.split() for line in Path("/proc/net/tcp").read_text().splitlines()[1:]]
    rows += [line.split() for line in Path("/proc/net/tcp6").read_text().splitlines()[1:]]
    listening = [row[1].rpartition(":") for row in rows if row[3] == "0A"]
    addresses = {address for address, _, port in listening if int(port, 16) == server.port}
    assert addresses == {"0100007F"}  # 127.0.0.1 in little-endian order


@pytest.mark.parametrize("path", ["/", "/_stcore/health", "/photo/{id}"])
def test_another_name_for_this_machine_is_refused(server, store, picture, screened, path):
    photo = store.add_photo(screened(picture()), data=picture())
    url = server.url + path.format(id=photo.id)
    assert get(url)[0] == 200
    assert get(url, Host=f"elsewhere.example:{server.port}")[0] == 400


@pytest.mark.parametrize("launch", [["app.py"], ["-m", "streamlit", "run", "app.py", "--server.port", "0"]])
def test_the_script_starts_both_ways(launch, tmp_path):
    environment = {**os.environ, "VISUAL_AID_STORE": str(tmp_path / "yard.sqlite")}
    process = subprocess.Popen(
        [sys.executable, *launch], cwd=ROOT, env=environment, stdout=subprocess.PIPE, text=True
    )
    try:
        url = next(line.split()[1] for line in process.stdout if line.strip().startswith("URL: "))
        assert url.startswith("http://127.0.0.1:")
        assert wait_for(f"{url}/photo/unknown") == (404, b"No such photo.")
    finally:
        process.kill()
        process.wait()


def wait_for(url):
    deadline = time.monotonic() + 30
    while True:
        try:
            status, _, body = get(url)
            return status, body
        except OSError:
            if time.monotonic() > deadline:
                raise
            time.sleep(0.2)


def test_a_magnified_fastener_is_given_by_photo_and_candidate(store, picture, screened):
    photo = store.add_photo(screened(picture()), data=picture())
    other = store.add_photo(screened(picture(1)), data=picture(1))
    first = store.candidates(photo.id)[0].id
    shown = pictures.magnified(store, photo.id, first)
    assert Image.open(io.BytesIO(shown)).size == (448, 576)
    for at, candidate in ((other.id, first), (photo.id, 99)):
        with pytest.raises(KeyError):
            pictures.magnified(store, at, candidate)


@pytest.fixture
def photos(store, picture, screened):
    """Give two photos of one place, from visits two days apart."""
    photos = []
    for day in (2, 4):
        visit = store.visits.begin("417", dt.date(2026, 5, day), inspector="J. Doe")
        photos.append(store.add_photo(screened(picture(day)), data=picture(day), visit=visit))
    store.visits.place({p.id: (2, "left", "torque rod") for p in photos}, by="J. Doe")
    return photos


def test_the_visit_before_is_laid_as_the_last_comparison_says(server, store, photos):
    before, after = (photo.id for photo in photos)

    def red(path):
        """Where the red box of the photo before comes to lie, in pixels of the photo after."""
        status, headers, body = get(f"{server.url}/{path}")
        assert (status, headers["cache-control"]) == (200, "no-store")
        pixels = np.asarray(Image.open(io.BytesIO(body)).resize((1200, 1600))).astype(int)
        y, x = np.nonzero((pixels[..., 0] > 170) & (pixels[..., 1] < 90))
        return x.mean(), y.mean()

    for aside in (None, -300.0, -150.0):
        if aside is not None:
            moved = (1.0, 0.0, aside, 0.0, 1.0, 500.0, 0.0, 0.0, 1.0)
            store.comparisons.keep(before, after, Comparison("a.jpg", "b.jpg", homography=moved))
        x, y = 880, 300  # the middle of the red box
        lies = (x, y) if aside is None else (x + aside, y + 500)
        assert red(f"laid/{before}/{after}") == pytest.approx(lies, abs=40)
        assert red(f"before/{after}") == pytest.approx(lies, abs=40)


def test_the_visit_before_is_given_where_there_was_one(store, photos):
    assert Image.open(io.BytesIO(pictures.before(store, photos[1].id))).format == "JPEG"
    with pytest.raises(KeyError):
        pictures.before(store, photos[0].id)
