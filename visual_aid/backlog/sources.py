"""Which photo files there are, in folders of this machine and wherever a URL leads."""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import fsspec
from fsspec.implementations.local import LocalFileSystem

from visual_aid.photo import read_file

SUFFIXES = frozenset({".jpg", ".jpeg", ".png", ".tif", ".tiff", ".webp", ".bmp", ".heic", ".heif"})
"""Endings of photo files, in small letters."""


def photo_files(paths: Iterable[Path], without: Iterable[Path] = ()) -> list[Path]:
    """List photo files, each once.

    Parameters
    ----------
    paths : iterable of Path
        Files are taken as they are, whatever their ending and whether or not they exist. Folders are
        searched with all their subfolders, in the order of names; hidden files and folders are left out.
    without : iterable of Path
        Folders that are left out wherever the search meets them.
    """
    left_out = {folder.resolve() for folder in without}
    found: dict[Path, None] = {}
    for path in paths:
        if not path.is_dir():
            found[path] = None
            continue
        for folder, subfolders, names in os.walk(path):
            here = Path(folder)
            subfolders[:] = sorted(
                s for s in subfolders if not s.startswith(".") and (here / s).resolve() not in left_out
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


def find_files(place: str) -> Iterator[PhotoFile]:
    """Search a folder, or what a URL names, for photo files with all subfolders, in the order of names.

    Hidden files and folders are left out, links to folders are not followed. Only one folder's names are
    held at a time.

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
    remote = is_url(place)
    if remote and urlsplit(place).password:
        raise PlaceError("a URL with a password would be kept in the records: give it by the environment")
    try:
        system, root = fsspec.core.url_to_fs(place if remote else os.path.abspath(place))
        info = system.info(root)
    except Exception as error:  # each file system raises what it likes
        why = " ".join(str(error).split()) or type(error).__name__
        raise PlaceError(f"{place} cannot be searched ({why})") from error
    _, chain, rest = place.partition("::")

    def source(path: str, info: dict[str, Any]) -> PhotoFile:
        url = system.unstrip_protocol(path) + chain + rest if remote else path
        stamp = next((str(info[key]) for key in _STAMPS if info.get(key)), "")
        size = info.get("size")
        return PhotoFile(url, -1 if size is None else int(size), stamp and f"{size} {stamp}")

    if info["type"] == "file":
        yield source(root, info)
        return
    for _, folders, files in system.walk(root, detail=True):
        _keep(folders, sorted(name for name in folders if not name.startswith(".")))
        for name in sorted(files):
            if not name.startswith(".") and Path(name).suffix.lower() in SUFFIXES:
                yield source(files[name]["name"], files[name])


def _keep(folders: dict[str, Any], names: list[str]) -> None:
    """Leave only these folders to a walk, in this order."""
    kept = {name: folders[name] for name in names}
    folders.clear()
    folders.update(kept)
