"""Decode photo files in a process of their own, whose death or delay costs that photo only.

Decoders are written in C and are given whatever a phone, a mail or a stranger sent. Here they run apart,
with limits of time and memory, and answer in plain bytes, so that nothing of what they were given can stop
the program or speak to it.
"""

from __future__ import annotations

import contextlib
import dataclasses
import functools
import json
import os
import subprocess
import sys
import threading
from pathlib import Path
from typing import IO, Any, cast

import numpy as np

from visual_aid import photo
from visual_aid.exif import Capture
from visual_aid.files import printable
from visual_aid.model import PhotoInfo, Trouble
from visual_aid.photo import MAX_PIXELS, Photo, PhotoError, Pixels

SECONDS = 10.0
"""Longest time that one file may take; common practice, no source. Twelve megapixels take about 0.1 s."""
MEMORY = 1_500_000_000
"""Most bytes of address space of a decoding process, where the system can limit them (not on Windows)."""
CHANCES = 2
"""How many processes may end over a file before it counts as the cause: one may be ended from outside."""

_COMMAND = [sys.executable, "-P", "-m", "visual_aid.decoder"]
_ENVIRONMENT = {
    # Threads of a library would take address space that pixels need, and processors that others work on.
    "OPENBLAS_NUM_THREADS": "1",
    "OMP_NUM_THREADS": "1",
    "PYTHONPATH": os.pathsep.join(filter(None, [str(Path(__file__).parents[1]), os.getenv("PYTHONPATH")])),
}


def read_photo(path: str | os.PathLike[str], *, max_pixels: int = MAX_PIXELS) -> Photo:
    """Read a photo file as ``photo.read_photo`` does, decoding it in a process of its own.

    Raises
    ------
    PhotoError
        As ``photo.read_photo``, and ``too_slow`` or ``process_died`` where decoding took too long or ended
        its process.
    """
    data, name = photo.read_file(path)
    return read_photo_bytes(data, name, path=printable(os.fspath(path)), max_pixels=max_pixels)


def read_photo_bytes(data: bytes, name: str, *, path: str = "", max_pixels: int = MAX_PIXELS) -> Photo:
    """Read a photo from the bytes of its file as ``read_photo`` does."""
    name = printable(name)
    about, working = _decoded(data, name, path, max_pixels, full=False)
    position = about["capture"].pop("position")
    return Photo(
        PhotoInfo(**about["info"]),
        working,
        about["scale"],
        Capture(**about["capture"], position=position and (position[0], position[1])),
        functools.partial(_full, data, name, max_pixels),
    )


def _full(data: bytes, name: str, max_pixels: int) -> Pixels:
    return _decoded(data, name, "", max_pixels, full=True)[1]


def _decoded(
    data: bytes, name: str, path: str, max_pixels: int, *, full: bool
) -> tuple[dict[str, Any], Pixels]:
    """Have a file decoded: what is said about it, and its pixels."""
    question = {"name": name, "path": path, "max_pixels": max_pixels, "full": full}
    for chance in range(CHANCES):
        with _free:
            try:
                process = _idle_process() if chance == 0 else _Process()
                about, pixels = process.ask(question, data)
            except TimeoutError:
                raise PhotoError(
                    Trouble(
                        "too_slow",
                        f"{name} took longer than {SECONDS:.0f} s to decode: save it as a smaller JPEG.",
                    )
                ) from None
            except EOFError:
                continue
            _idle.append(process)
        if "trouble" in about:
            raise PhotoError(Trouble(**about["trouble"]))
        decoded = np.frombuffer(pixels, np.uint8).reshape(about["shape"])
        return about, cast("Pixels", decoded)
    raise PhotoError(
        Trouble("process_died", f"{name} ended the process that decodes photos: save it as a smaller JPEG.")
    )


class _Process:
    """One process that decodes one file at a time; EOFError if it cannot be started."""

    def __init__(self) -> None:
        self._popen = subprocess.Popen(
            _COMMAND,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            env={**os.environ, **_ENVIRONMENT},
            process_group=0 if os.name == "posix" else None,  # Ctrl-C is for the program, not for its parts
        )
        try:
            _receive(self._out)
        except EOFError:
            self.end()
            raise

    def ask(self, question: dict[str, Any], data: bytes) -> tuple[dict[str, Any], bytes]:
        """Give the answer to a question; EOFError if the process dies, TimeoutError if it is too slow.

        Either way the process is gone afterwards.
        """
        late = threading.Event()

        def stop() -> None:
            late.set()
            self._popen.kill()

        clock = threading.Timer(SECONDS, stop)
        clock.start()
        try:
            _send(cast("IO[bytes]", self._popen.stdin), question, data)
            return _receive(self._out)
        except (EOFError, OSError, ValueError):
            self.end()
            raise (TimeoutError if late.is_set() else EOFError) from None
        except BaseException:  # what is left in the pipes would be taken for the next answer
            self.end()
            raise
        finally:
            clock.cancel()

    @property
    def _out(self) -> IO[bytes]:
        return cast("IO[bytes]", self._popen.stdout)

    def end(self) -> None:
        """End the process and let go of it."""
        self._popen.kill()
        for pipe in (self._popen.stdin, self._popen.stdout):
            with contextlib.suppress(OSError):  # what had not been written to a process that is gone
                cast("IO[bytes]", pipe).close()
        self._popen.wait()


def _idle_process() -> _Process:
    try:
        return _idle.pop()
    except IndexError:
        return _Process()


_idle: list[_Process] = []
_free = threading.BoundedSemaphore(os.cpu_count() or 1)


def _send(pipe: IO[bytes], about: dict[str, Any], body: bytes | memoryview = b"") -> None:
    """Send what is said about a body as one line of JSON, then the body."""
    pipe.write(json.dumps({**about, "bytes": len(body)}).encode() + b"\n")
    pipe.write(body)
    pipe.flush()


def _receive(pipe: IO[bytes]) -> tuple[dict[str, Any], bytes]:
    """Receive what ``_send`` sent; EOFError if the other side is gone."""
    line = pipe.readline()
    if not line.endswith(b"\n"):
        raise EOFError
    about = json.loads(line)
    size = about.pop("bytes")
    body = pipe.read(size)
    if len(body) < size:
        raise EOFError
    return about, body


def serve() -> None:
    """Decode what comes through standard input until it ends; the whole life of a decoding process."""
    questions, answers = sys.stdin.buffer, os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)  # whatever a library prints is not taken for an answer
    _limit_memory()
    _send(answers, {})
    while True:
        try:
            question, data = _receive(questions)
        except EOFError:
            return
        about, pixels = _answer(question, data)
        _send(answers, about, pixels)
        del data, pixels


def _answer(question: dict[str, Any], data: bytes) -> tuple[dict[str, Any], bytes | memoryview]:
    name, full = question["name"], question["full"]
    try:
        read = photo.read_photo_bytes(data, name, path=question["path"], max_pixels=question["max_pixels"])
        pixels = np.ascontiguousarray(read.full if full else read.working)
    except PhotoError as refused:
        return {"trouble": dataclasses.asdict(refused.trouble)}, b""
    except MemoryError:
        return {"trouble": dataclasses.asdict(photo.too_big(name).trouble)}, b""
    about = {
        "info": dataclasses.asdict(read.info),
        "scale": read.scale,
        "capture": dataclasses.asdict(read.capture),
        "shape": pixels.shape,
    }
    return about, pixels.reshape(-1).data


def _limit_memory() -> None:
    try:
        import resource
    except ImportError:  # there is none on Windows
        return
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


if __name__ == "__main__":
    serve()
