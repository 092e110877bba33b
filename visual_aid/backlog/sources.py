"""Which photo files there are, in folders of this machine and wherever a URL leads."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import fsspec
from fsspec.implementations.local import LocalFileSystem

from visual_aid.files import printable
from visual_aid.photo import read_file

SUFFIXES = frozenset({".jpg", ".jpeg", ".png", ".tif", ".tiff", ".webp", ".bmp", ".heic", ".heif"})
"""Endings of photo files, in small letters."""


def photo_files(
    paths: Iterable[Path], left_out: Callable[[str], object], without: Iterable[Path] = ()
) -> list[Path]:
    """List photo files, each once.

    Parameters
    ----------
    paths : iterable of Path
        Files are taken as they are, whatever their ending and whether or not they exist. Folders are
        searched with all their subfolders, in the order of names; hidden files and folders are not looked at.
    left_out : callable
        Told in one line of each folder that cannot be searched.
    without : iterable of Path
        Folders that are passed by wherever the search meets them.
    """
    passed_by = {folder.resolve() for folder in without}

    def tell(error: OSError) -> None:
        left_out(_left_out(str(error.filename), error))

    found: dict[Path, None] = {}
    for path in paths:
        if not os.path.isdir(path):  # unlike Path.is_dir, False where a folder above is closed
            found[path] = None
            continue
        for folder, subfolders, names in os.walk(path, onerror=tell):
            here = Path(folder)
            subfolders[:] = sorted(
                s for s in subfolders if not s.startswith(".") and (here / s).resolve() not in passed_by
            )
            for name in sorted(names):
                if not name.startswith(".") and Path(name).suffix.lower() in SUFFIXES:
                    found[here / name] = None
    return list(found)


_STAMPS = ("ETag", "etag", "mtime", "last_modified", "LastModified", "updated")
"""What file systems call that which changes with a file, the surest first."""


class PlaceError(ValueError):
    """A place that cannot be searched; the message names it and the mend."""


@dataclass(frozen=True, slots=True)
class PhotoFile:
    """A photo file where it lies.

    Attributes
    ----------
    url : str
        A path of this machine, or a URL that fsspec opens.
    size : int
        Bytes; -1 where the file system does not say.
    stamp : str
        Changes with the file's content; empty where the file system has nothing of the kind.
    """

    url: str
    size: int = -1
    stamp: str = ""

    @property
    def name(self) -> str:
        """The file's own name."""
        return self.url.partition("::")[0].rpartition("/")[2]


def is_url(place: str) -> bool:
    """Tell a URL from a path."""
    return "://" in place


def local_path(url: str) -> str | None:
    """Give the path of a file of this machine; None where a URL leads elsewhere."""
    if not is_url(url):
        return url
    system, path = fsspec.core.url_to_fs(url)
    return str(path) if isinstance(system, LocalFileSystem) else None


def read_place(place: str) -> bytes:
    """Read a file of this machine, or what a URL names.

    Raises
    ------
    PhotoError
        It is not there, or no file: a pipe, a device or a socket is not waited for.
    Exception
        Whatever the file system behind a URL raises.
    """
    path = local_path(place)
    if path is not None:
        return read_file(path)[0]
    with fsspec.open(place) as opened:
        data: bytes = opened.read()
        return data


def reach(place: str) -> tuple[Any, str, dict[str, Any]]:
    """Give the file system of a path or URL, its path there, and what that says of it.

    Parameters
    ----------
    place : str
        A file or folder of this machine, or any URL of fsspec (``s3://``, ``gs://``, ``file://``,
        ``zip://::...``).

    Raises
    ------
    PlaceError
        Nothing is there, it cannot be reached, or the URL carries a password.
    """
    if is_url(place) and urlsplit(place).password:
        raise PlaceError("a URL with a password would be kept in the records: give it by the environment")
    try:
        system, root = fsspec.core.url_to_fs(place if is_url(place) else os.path.abspath(place))
        return system, str(root), system.info(root)
    except Exception as error:  # each file system raises what it likes
        raise PlaceError(f"{place} cannot be searched ({_why(error)})") from error


def find_files(place: str, left_out: Callable[[str], object]) -> Iterator[PhotoFile]:
    """Search a folder, or what a URL names, for photo files with all subfolders, in the order of names.

    Hidden files and folders are not looked at, links to folders are not followed. Only one folder's names
    are held at a time.

    Parameters
    ----------
    place : str
        As for ``reach``.
    left_out : callable
        Told in one line of each folder that cannot be searched.

    Raises
    ------
    PlaceError
        As ``reach`` does.
    """
    system, root, info = reach(place)
    _, chain, rest = place.partition("::")

    def url(path: str) -> str:
        return str(system.unstrip_protocol(path)) + chain + rest if is_url(place) else path

    def source(info: dict[str, Any]) -> PhotoFile:
        stamp = next((str(info[key]) for key in _STAMPS if info.get(key)), "")
        size = info.get("size")
        return PhotoFile(url(info["name"]), -1 if size is None else int(size), stamp and f"{size} {stamp}")

    if info["type"] == "file":
        yield source({**info, "name": root})
        return
    folders = [root]
    while folders:
        folder = folders.pop()
        try:
            # Not by the file system's own walk: it is silent about subfolders that cannot be listed.
            listed = system.ls(folder, detail=True)
        except Exception as error:  # each file system raises what it likes
            left_out(_left_out(url(folder), error))
            continue
        here = {str(info["name"]).rstrip("/"): info for info in listed}
        paths = sorted(p for p in here if p != folder and not p.rpartition("/")[2].startswith("."))
        for path in paths:
            if here[path]["type"] != "directory" and Path(path).suffix.lower() in SUFFIXES:
                yield source(here[path])
        folders += [path for path in reversed(paths) if here[path]["type"] == "directory"]


def _left_out(folder: str, error: Exception) -> str:
    return (
        f"{printable(folder)} cannot be searched ({_why(error)}), its photos are left out: "
        "see that it can be read, and do this again"
    )


def _why(error: Exception) -> str:
    why = getattr(error, "strerror", None) or str(error)
    return " ".join(why.split()) or type(error).__name__
