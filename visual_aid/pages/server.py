"""The page's server: photos by id beside the pages, reached from this machine only."""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping
from pathlib import Path

import streamlit as st
from starlette.datastructures import MutableHeaders
from starlette.middleware import Middleware
from starlette.middleware.trustedhost import TrustedHostMiddleware
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import BaseRoute, Route
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from visual_aid.pages import pictures, signin
from visual_aid.pages.memory import give_large_arrays_back
from visual_aid.pages.people import check_anybody
from visual_aid.pages.session import STORE_VARIABLE, the_store
from visual_aid.pages.signin import SameOrigin
from visual_aid.pages.uploads import UploadRoom
from visual_aid.photo import PhotoError

MAIN = Path(__file__).with_name("main.py")

CONFIG: Mapping[str, bool | int | str] = {
    "server.address": "127.0.0.1",
    "server.headless": True,
    "server.maxUploadSize": 40,
    "server.fileWatcherType": "none",
    "server.enableCORS": True,
    "server.enableXsrfProtection": True,
    "browser.gatherUsageStats": False,
    "runner.magicEnabled": False,
    "client.showErrorDetails": "none",
    "client.toolbarMode": "minimal",
    "theme.base": "light",
    "theme.primaryColor": "#0b4f6c",
    "theme.backgroundColor": "#ffffff",
    "theme.secondaryBackgroundColor": "#eef2f4",
    "theme.textColor": "#111518",
    "theme.borderColor": "#5b666d",
    "theme.showWidgetBorder": True,
    "theme.baseFontSize": 17,
}
"""Settings of the page; ``.streamlit/config.toml`` says the same for ``streamlit run``."""

_HEADERS = {
    # Nothing is fetched from elsewhere: pages, photos and the socket all come from this server.
    "content-security-policy": (
        "default-src 'self'; script-src 'self' 'unsafe-inline' 'unsafe-eval' blob: data:; "
        "style-src 'self' 'unsafe-inline'; img-src 'self' data: blob:; font-src 'self' data:; "
        "connect-src 'self'; frame-ancestors 'none'; object-src 'none'; base-uri 'self'"
    ),
    "cross-origin-resource-policy": "same-origin",
    # Nothing is told to strangers; no-referrer would hide from this server, too, where its forms come from.
    "referrer-policy": "same-origin",
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
}


class SecurityHeaders:
    """Put the security headers on every answer."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer as the app does, with the headers added."""

        async def send_with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                MutableHeaders(scope=message).update(_HEADERS)
            await send(message)

        await self._app(scope, receive, send_with_headers)


def photo(request: Request) -> Response:
    """Answer with a stored photo, upright, by the store's id."""
    return _image(lambda: the_store().upright(the_store().photo(request.path_params["id"])))


def thumb(request: Request) -> Response:
    """Answer with a small copy of a stored photo, by the store's id."""
    return _image(lambda: the_store().thumb(the_store().photo(request.path_params["id"])))


def shown(request: Request) -> Response:
    """Answer with a photo as trainees see it: its boxes blurred."""
    return _fresh(lambda: pictures.shown(the_store(), request.path_params["id"]))


def example(request: Request) -> Response:
    """Answer with the close crop of an example of the gallery."""
    about = request.path_params
    return _fresh(lambda: pictures.example(the_store(), about["id"], about["number"]))


def piece(request: Request) -> Response:
    """Answer with a fastener cut out of a photo."""
    about = request.path_params
    return _fresh(lambda: pictures.piece(the_store(), about["id"], about["cx"], about["cy"], about["radius"]))


def magnified(request: Request) -> Response:
    """Answer with a candidate's fastener, rectified, with what was measured drawn in."""
    about = request.path_params
    return _image(lambda: pictures.magnified(the_store(), about["id"], about["candidate"]))


def before(request: Request) -> Response:
    """Answer with the photo of the visit before, laid on the one that the id names."""
    return _fresh(lambda: pictures.before(the_store(), request.path_params["id"]))


def laid(request: Request) -> Response:
    """Answer with one photo laid on another one of the same place."""
    about = request.path_params
    return _fresh(lambda: pictures.laid(the_store(), about["before"], about["after"]))


def _fresh(read: Callable[[], bytes]) -> Response:
    """Answer with a picture that a blurred box or a comparison changes: an earlier one may not be shown."""
    answer = _image(read)
    answer.headers["cache-control"] = "no-store"
    return answer


def _image(read: Callable[[], bytes]) -> Response:
    try:
        data = read()
    # ValueError and OverflowError are what numbers out of all bounds come to.
    except (KeyError, OSError, PhotoError, ValueError, OverflowError):
        return PlainTextResponse("No such photo.", status_code=404)
    return Response(data, media_type="image/jpeg", headers={"cache-control": "private, max-age=3600"})


ROUTES: list[BaseRoute] = [
    Route("/photo/{id}", photo),
    Route("/thumb/{id}", thumb),
    Route("/magnified/{id}/{candidate:int}", magnified),
    Route("/before/{id}", before),
    Route("/laid/{before}/{after}", laid),
    Route("/shown/{id}", shown),
    Route("/example/{id}/{number:int}", example),
    Route("/piece/{id}/{cx:float}/{cy:float}/{radius:float}", piece),
]
# A page elsewhere may point its own name at 127.0.0.1: only our own names are answered.
OWN_NAMES = Middleware(TrustedHostMiddleware, allowed_hosts=["localhost", "127.0.0.1"])


def _middleware(door: Middleware) -> list[Middleware]:
    """Give what every request passes through; ``door`` tells who is let in."""
    return [Middleware(SecurityHeaders), Middleware(SameOrigin), door, Middleware(UploadRoom)]


MIDDLEWARE = _middleware(OWN_NAMES)


def serve(store: str, port: int = 8501, people: Path | None = None) -> None:
    """Serve the page until it is stopped: to this machine, or to others for people who sign in.

    Parameters
    ----------
    store : str
        An SQLite file, made if there is none, or a database URL.
    port : int
        Port of 127.0.0.1; with ``people``, of every address of this machine.
    people : Path, optional
        File of those who may sign in.

    Raises
    ------
    OSError, ValueError
        The records or the people cannot be read, or nobody may sign in.
    """
    middleware, config = MIDDLEWARE, {**CONFIG, "server.port": port}
    if people is not None:
        check_anybody(people)
        signin.at_the_door = signin.SignIn(people)
        # Whatever name the machine is reached by: a session's cookie is bound to that name by the browser.
        middleware = _middleware(Middleware(signin.Door, sign_in=signin.at_the_door))
        # Streamlit's own greeting would ask a stranger for the outer address of this machine.
        config |= {"server.address": "0.0.0.0", "logger.hideWelcomeMessage": True}
    os.environ[STORE_VARIABLE] = store
    the_store()
    give_large_arrays_back()
    app = st.App(MAIN, routes=ROUTES, middleware=middleware)
    app.run(config=config)
