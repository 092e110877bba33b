"""The photo files of a store: originals by content hash, and the upright copies that a browser shows."""

from __future__ import annotations

import hashlib
import io
from collections.abc import Callable
from pathlib import Path

from PIL import ExifTags, Image
from sqlalchemy import URL

from visual_aid.backlog.sources import PhotoFile, is_url, read_place
from visual_aid.decoder import read_photo_bytes
from visual_aid.files import write_atomically
from visual_aid.model import PhotoInfo
from visual_aid.photo import Photo, PhotoError, Pixels

COPY_QUALITY = 92
"""JPEG quality of upright copies: no block shows at the zoom at which single pixels do."""
THUMB_SIDE = 480
"""Longest side of a thumbnail in pixels: a third of a tablet's width at two pixels a point."""
_SUFFIX = {"JPEG": ".jpg", "MPO": ".jpg", "PNG": ".png", "TIFF": ".tif", "WEBP": ".webp", "BMP": ".bmp"}


class PhotoFolder:
    """A folder that holds photo files by the SHA-256 of their bytes.

    Copies made for showing lie apart under ``copies`` and can be deleted at any time.
    """

    def __init__(self, root: Path) -> None:
        self.root = root

    def keep(self, data: bytes) -> str:
        """Write the bytes of a photo file, unless they are there already; give its path in the folder.

        The file is whole or absent, whatever happens meanwhile.
        """
        sha256 = hashlib.sha256(data).hexdigest()
        with Image.open(io.BytesIO(data)) as header:
            suffix = _SUFFIX.get(header.format or "", ".heic")
        path = f"{sha256[:2]}/{sha256}{suffix}"
        if not (self.root / path).exists():
            write_atomically(self.root / path, data)
        return path

    def read(self, path: str | Path, info: PhotoInfo) -> Photo:
        """Read the pixels of the photo that a record is about; raises as ``upright``."""
        return read_photo_bytes(self._read(path, info.sha256), info.name, path=info.path)

    def copy(self, name: str, make: Callable[[], bytes]) -> bytes:
        """Give a file made for showing by its name; it is made if there is none yet."""
        path = self.root / "copies" / name
        if not path.exists():
            write_atomically(path, make())
        return path.read_bytes()

    def upright(self, path: str | Path, sha256: str) -> bytes:
        """Give a JPEG whose pixels are those of the record, for any reader that ignores orientation.

        Parameters
        ----------
        path : str or path
            In this folder or anywhere on this machine, or a URL.

        Raises
        ------
        FileNotFoundError
            The file is gone or out of reach, or its content is no longer that of ``sha256``.
        PhotoError
            The file can no longer be decoded.
        """
        data = self._read(path, sha256)
        if _is_upright_jpeg(data):
            return data

        def full() -> bytes:
            return _jpeg(Image.fromarray(read_photo_bytes(data, _name(path)).full))

        return self.copy(f"{sha256}.jpg", full)

    def thumb(self, path: str | Path, sha256: str, pixels: Pixels | None = None) -> bytes:
        """Give a small upright JPEG, longest side at most ``THUMB_SIDE`` pixels; raises as ``upright``.

        Whoever has ``pixels`` of the photo at hand, at whatever scale, spares it being read again.
        """

        def small() -> bytes:
            shown = pixels
            if shown is None:
                shown = read_photo_bytes(self._read(path, sha256), _name(path)).working
            picture = Image.fromarray(shown)
            picture.thumbnail((THUMB_SIDE, THUMB_SIDE))
            return _jpeg(picture)

        return self.copy(f"{sha256}-thumb.jpg", small)

    def _read(self, path: str | Path, sha256: str) -> bytes:
        try:
            data = read_place(str(path) if is_url(str(path)) else str(self.root / path))
        except PhotoError as refused:
            raise FileNotFoundError(str(refused)) from None
        except Exception as error:  # each file system raises what it likes
            raise FileNotFoundError(f"{_name(path)} is out of reach ({error}).") from error
        if hashlib.sha256(data).hexdigest() != sha256:
            raise FileNotFoundError(f"{_name(path)} has changed since it was screened: add it again.")
        return data


def photo_folder(url: URL, photos: str | Path | None) -> Path:
    """Give the folder of a store's photo files; ValueError where it has to be named and is not."""
    if photos is None:
        if url.get_backend_name() != "sqlite" or not url.database:
            raise ValueError("records on a database server need a folder for the photo files: name one")
        photos = Path(url.database).with_name(f"{Path(url.database).stem}-photos")
    return Path(photos).expanduser().resolve()


def _name(path: str | Path) -> str:
    return PhotoFile(str(path)).name


def _is_upright_jpeg(data: bytes) -> bool:
    with Image.open(io.BytesIO(data)) as header:
        try:
            orientation = header.getexif().get(ExifTags.Base.Orientation, 1)
        except Exception:  # EXIF is written by anything; what cannot be read may mean anything to a browser
            return False
        return header.format in ("JPEG", "MPO") and header.mode in ("L", "RGB") and orientation == 1


def _jpeg(image: Image.Image) -> bytes:
    buffer = io.BytesIO()
    image.save(buffer, "JPEG", quality=COPY_QUALITY, subsampling=0)
    return buffer.getvalue()
