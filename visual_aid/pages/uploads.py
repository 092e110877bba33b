"""Uploads on their way to the page: how many and how much the server holds, and letting go of them."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from typing import cast

from starlette.datastructures import Headers
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Receive, Scope, Send
from streamlit import runtime
from streamlit.runtime.memory_uploaded_file_manager import MemoryUploadedFileManager
from streamlit.runtime.scriptrunner import get_script_run_ctx

MOST = 250
"""Most photos that one person uploads at once: a walkaround of two hundred, and some more; common practice,
no source."""
ROOM = 2_000_000_000
"""Most bytes of uploads that wait in the server's memory, of all people together; common practice, no
source. 250 photos from a phone take about half of it."""
_PLACE = "/_stcore/upload_file/"


def held(session: str) -> tuple[int, int]:
    """Give how many uploads of a session wait in this server, and the bytes of all that wait."""
    waiting = _waiting()
    sizes = (stat.byte_length for stats in waiting.get_stats().values() for stat in stats)
    return len(waiting.file_storage.get(session, ())), sum(sizes)


def let_go(file: str) -> None:
    """Free the memory of an upload that has been taken; until then Streamlit holds it while the page is open.

    Parameters
    ----------
    file : str
        Its ``file_id``.
    """
    context = get_script_run_ctx()
    if context is not None and runtime.exists():
        _waiting().remove_file(context.session_id, file)


def _waiting() -> MemoryUploadedFileManager:
    return cast("MemoryUploadedFileManager", runtime.get_instance().uploaded_file_mgr)


class UploadRoom:
    """Refuse uploads for which there is no room, before any of their bytes are read.

    Parameters
    ----------
    most, room : int
        Most files of one session, most bytes of all sessions, those on their way counted in.
    """

    def __init__(
        self, app: ASGIApp, held: Callable[[str], tuple[int, int]] = held, most: int = MOST, room: int = ROOM
    ) -> None:
        self._app = app
        self._held, self._most, self._room = held, most, room
        self._coming: Counter[str] = Counter()
        self._bytes = 0

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer as the app does, unless it is an upload too many."""
        if scope["type"] != "http" or scope["method"] != "PUT" or not scope["path"].startswith(_PLACE):
            await self._app(scope, receive, send)
            return
        session = scope["path"].removeprefix(_PLACE).partition("/")[0]
        said = Headers(scope=scope).get("content-length", "")
        if not said.isdecimal():
            await PlainTextResponse("Say how long the file is.", 411)(scope, receive, send)
            return
        files, size = self._held(session)
        if files + self._coming[session] >= self._most:
            await PlainTextResponse(f"At most {self._most} photos at once.", 413)(scope, receive, send)
        elif size + self._bytes + int(said) > self._room:
            await PlainTextResponse("No room for more photos now.", 507)(scope, receive, send)
        else:
            self._coming[session] += 1
            self._bytes += int(said)
            try:
                await self._app(scope, receive, send)
            finally:
                self._coming[session] -= 1
                self._bytes -= int(said)
                self._coming += Counter()  # sessions from which nothing comes are forgotten
