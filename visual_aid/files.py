"""Files that are either whole or not there, and names of files for people to read."""

from __future__ import annotations

import os
import secrets
from pathlib import Path


def write_atomically(path: Path, data: bytes, mode: int = 0o666) -> None:
    """Write a file so that a reader, or a crash half-way, never meets half of it.

    The data goes to a hidden file in the same folder (made if need be), which then takes the name; a
    file of that name is replaced. ``mode`` is who may read and write it, less what the umask takes away.

    Raises
    ------
    OSError
        The folder cannot be made or written; what stood under the name is left as it was.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    # A name of this write alone: others may write the same file at the same time.
    unfinished = path.with_name(f".{secrets.token_hex(8)}.part")
    try:
        flags = os.O_WRONLY | os.O_CREAT | os.O_TRUNC | getattr(os, "O_BINARY", 0)
        with open(os.open(unfinished, flags, mode), "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        unfinished.replace(path)
    finally:
        unfinished.unlink(missing_ok=True)


def printable(name: str) -> str:
    """Give a file name or path that fits on one line of UTF-8, whatever bytes it is made of."""
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in name)
