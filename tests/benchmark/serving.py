"""The page in a process of its own, for scripts that look at it from a browser."""

from __future__ import annotations

import contextlib
import shutil
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from pathlib import Path

from playwright.sync_api import Browser, Playwright

PROGRAM = "import sys; from visual_aid.pages.server import serve; serve(sys.argv[1], int(sys.argv[2]))"


@contextlib.contextmanager
def served(store: Path) -> Iterator[tuple[str, int]]:
    """Serve a store's page; give its address and the number of its process, which ends with the context."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    url = f"http://127.0.0.1:{port}"
    server = subprocess.Popen(
        [sys.executable, "-c", PROGRAM, str(store), str(port)], stdout=subprocess.DEVNULL
    )
    try:
        _wait(url)
        yield url, server.pid
    finally:
        server.kill()
        server.wait()


def _wait(url: str) -> None:
    for _ in range(300):
        try:
            with urllib.request.urlopen(f"{url}/_stcore/health", timeout=1):
                return
        except OSError:
            time.sleep(0.2)
    raise SystemExit("the server did not start within a minute")


def chromium(playwright: Playwright) -> Browser:
    """Start the Chromium of this machine."""
    path = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
    if path is None:
        raise SystemExit("no Chromium is installed on this machine")
    return playwright.chromium.launch(executable_path=path, args=["--no-sandbox"])
