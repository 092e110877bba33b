import http.client
import urllib.parse

import pytest
from playwright.sync_api import expect

from visual_aid.pages import signin
from visual_aid.pages.people import add_person
from visual_aid.pages.server import CONFIG
from visual_aid.pages.signin import PAUSE, SHIFT, TRIES, SignIn

from .conftest import Server

PASSWORD = "nut and bolt 24"


@pytest.fixture
def people(tmp_path):
    add_person(tmp_path / "people.json", "J. Doe", "reviewer", PASSWORD)
    add_person(tmp_path / "people.json", "L. Ead", "lead", PASSWORD)
    return tmp_path / "people.json"


@pytest.fixture
def open_server(store, tmp_path, people):
    """Give a server that other machines reach."""
    server = Server(tmp_path / "yard.sqlite", people)
    yield server
    server.kill()


def ask(server, path, method="GET", body=None, **headers):
    connection = http.client.HTTPConnection("127.0.0.1", server.port, timeout=30)
    headers = {name.replace("_", "-"): value for name, value in headers.items()}
    try:
        connection.request(method, path, body, headers)
        answer = connection.getresponse()
        return answer.status, answer.headers, answer.read() if answer.status != 101 else b""
    finally:
        connection.close()


def enter(server, name, password, **headers):
    form = urllib.parse.urlencode({"name": name, "password": password})
    return ask(server, "/sign-in", "POST", form, **headers)


SOCKET = {
    "Upgrade": "websocket",
    "Connection": "Upgrade",
    "Sec_WebSocket_Version": "13",
    "Sec_WebSocket_Key": "dGhlIHNhbXBsZSBub25jZQ==",  # RFC 6455, section 1.3
}
HEADERS = {
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "referrer-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
}


def test_no_stranger_is_asked_for_the_address(store, tmp_path, people):
    """Streamlit's greeting asks an outside service for the outer address, unless it is kept from it."""
    asked = tmp_path / "asked"
    first = f"import streamlit.net_util as n; n.get_external_ip = lambda: open({str(asked)!r}, 'w').close()"
    for who in (people, None):
        server = Server(tmp_path / "yard.sqlite", who, first)
        assert ask(server, "/")[0] == (401 if who else 200)
        server.kill()
        assert not asked.exists()


def test_nothing_is_reached_without_signing_in(open_server, store, picture, screened):
    photo = store.add_photo(screened(picture()), data=picture())
    for path in (
        "/",
        "/gallery",
        f"/photo/{photo.id}",
        f"/thumb/{photo.id}",
        "/_stcore/host-config",
        "/x.js",
    ):
        assert ask(open_server, path)[0] == 401, path
    status, headers, _ = ask(open_server, "/", accept="text/html")
    assert (status, headers["location"]) == (303, "/sign-in")
    assert ask(open_server, "/_stcore/stream", **SOCKET)[0] == 403
    assert ask(open_server, "/_stcore/upload_file/a/b", "PUT", b"x")[0] == 401

    status, headers, form = ask(open_server, "/sign-in")
    assert (status, b'type="password"' in form) == (200, True)
    assert {name: headers[name] for name in HEADERS} == HEADERS
    assert enter(open_server, "J. Doe", "wrong")[0] == 401
    assert enter(open_server, "<script>", "'\"")[0] == 401
    assert ask(open_server, "/sign-in", "POST", b"x" * 5000)[0] == 413

    status, headers, _ = enter(open_server, "J. Doe", PASSWORD)
    cookie = headers["set-cookie"]
    assert (status, headers["location"]) == (303, "/")
    assert {"HttpOnly", "SameSite=strict"} <= {part.strip() for part in cookie.split(";")}
    session = cookie.partition(";")[0]
    assert ask(open_server, f"/photo/{photo.id}", cookie=session)[0] == 200
    assert ask(open_server, "/_stcore/stream", cookie=session, **SOCKET)[0] == 101
    assert ask(open_server, f"/photo/{photo.id}", cookie=session[:-1] + "~")[0] == 401
    assert ask(open_server, "/sign-out", cookie=session)[0] == 303
    assert ask(open_server, f"/photo/{photo.id}", cookie=session)[0] == 401


def test_a_page_from_elsewhere_is_refused_and_headers_are_on_every_answer(server):
    assert CONFIG["server.address"] == "127.0.0.1"
    assert CONFIG["server.enableXsrfProtection"]
    assert CONFIG["server.enableCORS"]
    own, other = f"http://127.0.0.1:{server.port}", "http://elsewhere.example"
    for path in ("/", "/photo/unknown", "/_stcore/health", "/_stcore/host-config"):
        _, headers, _ = ask(server, path, Origin=own)
        assert {name: headers[name] for name in HEADERS} == HEADERS
        assert "frame-ancestors 'none'" in headers["content-security-policy"]
        status, headers, _ = ask(server, path, Origin=other)
        assert status == 403
        assert headers.get("access-control-allow-origin") not in ("*", other)
    assert ask(server, "/_stcore/stream", Origin=own, **SOCKET)[0] == 101
    for origin in (other, f"http://127.0.0.1.elsewhere.example:{server.port}", "null"):
        assert ask(server, "/_stcore/stream", Origin=origin, **SOCKET)[0] == 403
    # An upload without the token that the page was given is no upload of the page's.
    assert ask(server, "/_stcore/upload_file/a/b", "PUT", b"x", Origin=own)[0] == 403


def test_a_session_ends_and_guessing_is_slowed(people):
    now = [1000.0]
    door = SignIn(people, clock=lambda: now[0])
    token = door.enter("J. Doe", PASSWORD)
    assert (door.who(token).name, door.who(None), door.who("")) == ("J. Doe", None, None)
    now[0] += SHIFT
    assert door.who(token) is None
    for _ in range(TRIES):
        assert door.enter("J. Doe", "wrong") is None
    assert door.enter("J. Doe", PASSWORD) is None
    assert door.enter("L. Ead", PASSWORD)
    now[0] += PAUSE
    assert door.enter("J. Doe", PASSWORD)


@pytest.mark.browser
@pytest.mark.parametrize(("name", "sees"), [("J. Doe", False), ("L. Ead", True)])
def test_a_role_sees_its_pages_and_decides_under_its_own_name(chromium, open_server, name, sees):
    context = chromium.new_context(viewport={"width": 1280, "height": 800})
    page = context.new_page()
    page.goto(open_server.url)
    page.get_by_label("Name").fill(name)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    page.get_by_text("No photos yet").wait_for()
    page.goto(f"{open_server.url}/add_photos")
    field = page.get_by_label("Your name or initials")
    field.wait_for()
    expect(field).to_have_value(name)
    expect(field).to_be_disabled()
    expect(page.get_by_label("Or a folder on this machine")).to_have_count(int(sees))
    missing = page.get_by_text("Page not found")
    for kept in ("threshold", "gallery", "lessons", "trainees"):
        page.goto(f"{open_server.url}/{kept}")
        if sees:
            page.locator("[data-testid=stMain] :is(h3, button, input, p):visible").first.wait_for()
            page.locator("[data-testid=stApp][data-test-script-state=notRunning]").wait_for()
            expect(missing).to_have_count(0)
        else:
            missing.first.wait_for()
    context.close()


def test_without_lan_nobody_is_asked():
    assert signin.at_the_door is None
