"""Sign-in in front of everything that the server answers, where other machines reach it."""

from __future__ import annotations

import html
import secrets
import threading
import time
from collections.abc import Callable
from http.cookies import SimpleCookie
from pathlib import Path
from urllib.parse import parse_qs, urlsplit

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import Request
from starlette.responses import HTMLResponse, PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Receive, Scope, Send

from visual_aid.pages.people import Person, person

COOKIE = "visual-aid-session"
SHIFT = 12 * 3600.0
"""Seconds after which one has to sign in again: the longest shift; common practice, no source."""
TRIES, PAUSE = 5, 60.0
"""After so many wrong passwords in a row a name has to wait so many seconds; common practice, no source."""
PATH, OUT = "/sign-in", "/sign-out"
_LONGEST = 4096

_FORM = """<!doctype html><html lang="en"><meta charset="utf-8"><title>visual-aid: sign in</title>
<meta name="viewport" content="width=device-width, initial-scale=1">
<style>body{font:17px sans-serif;max-width:24rem;margin:3rem auto;padding:0 1rem;color:#111518}
input,button{font:inherit;display:block;width:100%;box-sizing:border-box;padding:.7rem;margin:.3rem 0 1rem}
button{background:#0b4f6c;color:#fff;border:0;min-height:3rem}p{color:#8a1c1c;font-weight:bold}</style>
<h1>Sign in</h1>SAY<form method="post"><label>Name<input name="name" autocomplete="username" autofocus
required maxlength="60"></label><label>Password<input name="password" type="password"
autocomplete="current-password" required></label><button>Sign in</button></form></html>"""


class SignIn:
    """Who is signed in, for as long as the server runs.

    Parameters
    ----------
    people : Path
        File of those who may.
    """

    def __init__(self, people: Path, clock: Callable[[], float] = time.monotonic) -> None:
        self._people = people
        self._clock = clock
        self._sessions: dict[str, tuple[Person, float]] = {}
        self._wrong: dict[str, tuple[int, float]] = {}
        self._lock = threading.Lock()

    def who(self, token: str | None) -> Person | None:
        """Give the person that a session's token belongs to."""
        known, ends = self._sessions.get(token or "", (None, 0.0))
        return known if self._clock() < ends else None

    def enter(self, name: str, password: str) -> str | None:
        """Give the token of a new session; None where name or password are wrong, or it is too soon."""
        # One at a time: a hash takes 64 MiB and a processor, which a crowd of guesses must not multiply.
        with self._lock:
            now = self._clock()
            wrong, last = self._wrong.get(name, (0, 0.0))
            if wrong >= TRIES and now < last + PAUSE:
                return None
            known = person(self._people, name, password)
            if known is None:
                self._wrong = {n: w for n, w in self._wrong.items() if now < w[1] + PAUSE}
                self._wrong[name] = (wrong + 1, now)
                return None
            self._wrong.pop(name, None)
            self._sessions = {t: s for t, s in self._sessions.items() if now < s[1]}
            token = secrets.token_urlsafe(32)
            self._sessions[token] = (known, now + SHIFT)
            return token

    def leave(self, token: str | None) -> None:
        """End a session."""
        with self._lock:
            self._sessions.pop(token or "", None)


at_the_door: SignIn | None = None
"""The sign-in of this process; None where only this machine reaches the page."""


class SameOrigin:
    """Refuse what a page from elsewhere asks for, the socket as well."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer as the app does where the request's origin, if it names one, is this server."""
        if scope["type"] in ("http", "websocket"):
            headers = Headers(scope=scope)
            origin = headers.get("origin")
            if origin is not None:
                if urlsplit(origin).netloc != headers.get("host"):
                    await _refuse(scope, receive, send, PlainTextResponse("Not from elsewhere.", 403))
                    return
                # Under any name but its own addresses Streamlit would ask a stranger for its outer address.
                MutableHeaders(scope=scope)["origin"] = "http://127.0.0.1"
        await self._app(scope, receive, send)


class Door:
    """Let through only those who have signed in."""

    def __init__(self, app: ASGIApp, sign_in: SignIn) -> None:
        self._app = app
        self._sign_in = sign_in

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer as the app does for those who have signed in, and with the form for others."""
        if scope["type"] not in ("http", "websocket") or scope["path"] == "/_stcore/health":
            await self._app(scope, receive, send)
            return
        token = _token(Headers(scope=scope))
        if scope["type"] == "http" and scope["path"] in (PATH, OUT):
            answer = await self._answer(Request(scope, receive), token)
            await answer(scope, receive, send)
        elif self._sign_in.who(token) is not None:
            await self._app(scope, receive, send)
        elif scope["type"] == "http" and "text/html" in Headers(scope=scope).get("accept", ""):
            await RedirectResponse(PATH, 303)(scope, receive, send)
        else:
            await _refuse(scope, receive, send, PlainTextResponse("Sign in first.", 401))

    async def _answer(self, request: Request, token: str | None) -> Response:
        if request.url.path == OUT:
            self._sign_in.leave(token)
            answer: Response = RedirectResponse(PATH, 303)
            answer.delete_cookie(COOKIE)
            return answer
        if request.method != "POST":
            return _form()
        body = b""
        async for chunk in request.stream():
            body += chunk
            if len(body) > _LONGEST:
                return _form("Too much was sent.", 413)
        said = parse_qs(body.decode("utf-8", "replace"))
        name, password = (said.get(field, [""])[0] for field in ("name", "password"))
        entered = await run_in_threadpool(self._sign_in.enter, name.strip(), password)
        if entered is None:
            return _form(
                f"Name or password are wrong. After {TRIES} wrong ones wait {PAUSE:.0f} seconds.", 401
            )
        answer = RedirectResponse("/", 303)
        secure = request.url.scheme == "https"
        answer.set_cookie(
            COOKIE, entered, max_age=int(SHIFT), httponly=True, samesite="strict", secure=secure
        )
        return answer


def _form(say: str = "", status: int = 200) -> Response:
    told = f'<p role="alert">{html.escape(say)}</p>' if say else ""
    return HTMLResponse(_FORM.replace("SAY", told), status, {"cache-control": "no-store"})


def _token(headers: Headers) -> str | None:
    morsel = SimpleCookie(headers.get("cookie", "")).get(COOKIE)
    return morsel.value if morsel else None


async def _refuse(scope: Scope, receive: Receive, send: Send, answer: Response) -> None:
    if scope["type"] == "websocket":
        await receive()
        await send({"type": "websocket.close", "code": 1008})
    else:
        await answer(scope, receive, send)
