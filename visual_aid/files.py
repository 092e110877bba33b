"""Files that are either whole or not there, and names of files for people to read."""

from __future__ import annotations

import os
from pathlib import Path


def write_atomically(path: Path, data: bytes) -> None:
    """Write a file so that a reader, or a crash half-way, never meets half of it.

    The data goes to a hidden file in the same folder (made if need be), which then takes the name; a
    file of that name is replaced.

    Raises
    ------
    OSError
        The folder cannot be made or written; what stood under the name is left as it was.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    unfinished = path.with_name(f".{path.name}.{os.getpid()}")
    try:
        with unfinished.open("wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        unfinished.replace(path)
    finally:
        unfinished.unlink(missing_ok=True)


def printable(name: str) -> str:
    """Give a file name or path that fits on one line of UTF-8, whatever bytes it is made of."""
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in name)
