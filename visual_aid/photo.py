"""Read upright sRGB pixels from a photo file.

One door for every pixel that enters: formats, orientation, colour profiles, damaged and oversized
files are settled here, so that the rest of the engine sees one kind of array. What the camera wrote
beside the pixels is read in ``exif``.
"""

from __future__ import annotations

import functools
import hashlib
import io
import math
import os
import re
import stat
import warnings
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar, cast

import cv2
import numpy as np
import pi_heif
from numpy.typing import NDArray
from PIL import Image, ImageCms, UnidentifiedImageError

from visual_aid import exif
from visual_aid.exif import Capture
from visual_aid.files import printable
from visual_aid.model import PhotoInfo, Trouble

Pixels = NDArray[np.uint8]
Coordinate = TypeVar("Coordinate", float, NDArray[np.floating])

WORKING_SIDE = 1600
"""Longest side of ``Photo.working`` in pixels: a nut of 1/60 of the photo's width is still 27 px across."""
MIN_SIDE = 64
"""Shortest working side in pixels that is read at all: less cannot hold a nut and what surrounds it."""
HALVINGS = 4
"""How often the working image is halved at most: no frame of a fastener is sampled more coarsely."""
MIN_HALVED = 64
"""Shortest side in pixels that is halved once more."""
MAX_PIXELS = 200_000_000
"""Default of the largest photo read: the largest phone sensors sold give just under 200 megapixels."""
MAX_BYTES = 500_000_000
"""Largest file read: it and its pixels have to fit into memory; common practice, no source."""
BACKDROP = (128, 128, 128)
"""sRGB colour behind transparent pixels: mid grey counts neither as burnt out nor as too dark."""

FORMATS = ("JPEG", "PNG", "TIFF", "WEBP", "BMP", "HEIF")

pi_heif.register_heif_opener()
# Pillow's own guard starts at 89 megapixels, below today's phones; read_photo keeps a limit of its own.
Image.MAX_IMAGE_PIXELS = None
# Its remarks on odd metadata are of no use to anyone who screens photos.
warnings.filterwarnings("ignore", category=UserWarning, module=r"PIL\.")


class PhotoError(Exception):
    """A photo that cannot be read.

    Attributes
    ----------
    trouble : Trouble
        ``code`` is one of missing, unreadable, empty, not_an_image, truncated, damaged, unsupported,
        too_many_pixels, too_many_bytes, too_small; ``say`` names the file and the mend in one line.
    """

    def __init__(self, trouble: Trouble) -> None:
        super().__init__(trouble)
        self.trouble = trouble

    def __str__(self) -> str:
        return self.trouble.say


@dataclass(frozen=True, eq=False)
class Photo:
    """An upright photo at the working scale, with its full size at hand.

    Attributes
    ----------
    info : PhotoInfo
        Name, path, hash and full upright size.
    working : ndarray of shape (h, w, 3), uint8
        sRGB, longest side at most ``WORKING_SIDE``, never enlarged; read-only.
    scale : float
        Full pixels per working pixel, at least 1 and the same along both sides.
    capture : Capture
        What the camera wrote down.
    decode : callable
        Makes ``full`` anew; a plain partial call, so that a photo can be sent to another process.
    """

    info: PhotoInfo
    working: Pixels
    scale: float
    capture: Capture
    decode: Callable[[], Pixels]

    @classmethod
    def from_array(cls, array: Pixels, name: str = "array") -> Photo:
        """Make a photo of upright sRGB pixels in memory.

        Parameters
        ----------
        array : ndarray of shape (H, W, 3), uint8
            sRGB pixels; copied.
        name : str
            What reports call it.

        Raises
        ------
        ValueError
            The array has another shape or type, or at the working scale fewer than ``MIN_SIDE`` rows or
            columns.
        """
        if array.ndim != 3 or array.shape[2] != 3 or array.dtype != np.uint8:
            raise ValueError(
                f"{name}: needs uint8 pixels of shape (H, W, 3), got {array.dtype} {array.shape}"
            )
        height, width = array.shape[:2]
        if min(_working_size(width, height)) < MIN_SIDE:
            raise ValueError(f"{name}: {width} x {height} pixels leave too little at the working scale")
        full = _frozen(array.copy())
        info = PhotoInfo(name, "", hashlib.sha256(full.tobytes()).hexdigest(), width, height)
        working = _frozen(_at_working_scale(full, width, height))
        return cls(info, working, _scale(width, height), Capture(), functools.partial(np.asarray, full))

    @functools.cached_property
    def full(self) -> Pixels:
        """Full-size upright sRGB pixels, ndarray of shape (H, W, 3), uint8; decoded on first use, read-only.

        Raises
        ------
        PhotoError
            The file turns out to be damaged where the working scale did not show it.
        """
        return self.working if self.scale == 1.0 else _frozen(self.decode())

    @functools.cached_property
    def halved(self) -> tuple[Pixels, ...]:
        """The working image, halved again and again (Burt and Adelson 1983), largest first; read-only."""
        levels = [self.working]
        while min(levels[-1].shape[:2]) > MIN_HALVED and len(levels) <= HALVINGS:
            levels.append(_frozen(cv2.pyrDown(levels[-1]).astype(np.uint8, copy=False)))
        return tuple(levels)

    def to_full(self, working: Coordinate) -> Coordinate:
        """Map a working pixel coordinate to the full photo; pixel centres are whole numbers in both."""
        return (working + 0.5) * self.scale - 0.5

    def to_working(self, full: Coordinate) -> Coordinate:
        """Map a full pixel coordinate to the working scale; the inverse of ``to_full``."""
        return (full + 0.5) / self.scale - 0.5

    def crop(self, x: float, y: float, w: float, h: float) -> Pixels:
        """Cut a box out of the full-size photo.

        Parameters
        ----------
        x, y, w, h : float
            Left, top, width and height in full pixels, rounded outwards and clipped to the photo: the
            crop's first pixel is ``(max(0, floor(x)), max(0, floor(y)))``.

        Returns
        -------
        ndarray of shape (<= h, <= w, 3), uint8
            A read-only view; empty where the box misses the photo.
        """
        left, top = max(0, math.floor(x)), max(0, math.floor(y))
        right, bottom = max(left, math.ceil(x + w)), max(top, math.ceil(y + h))
        return self.full[top:bottom, left:right]


def read_photo(path: str | os.PathLike[str], *, max_pixels: int = MAX_PIXELS) -> Photo:
    """Read a photo file.

    Parameters
    ----------
    path : path-like
        JPEG, PNG, TIFF, WebP, BMP or HEIC/HEIF file.
    max_pixels : int
        Larger photos are refused from the file's header, before any pixel is decoded.

    Raises
    ------
    PhotoError
        The file is missing, unreadable, damaged or no photo; its line names the file and the mend.
    """
    data, name = read_file(path)
    return read_photo_bytes(data, name, path=printable(os.fspath(path)), max_pixels=max_pixels)


def read_file(path: str | os.PathLike[str]) -> tuple[bytes, str]:
    """Give the bytes of a photo file, undecoded, and its name for people; raises as ``read_photo``."""
    path = Path(path)
    name = printable(path.name)
    try:
        about = path.stat()
        if not stat.S_ISREG(about.st_mode):
            raise _error("unreadable", f"{name} is not a file: name the photos themselves or their folder.")
        check_size(about.st_size, name)
        return path.read_bytes(), name
    except FileNotFoundError:
        raise _error("missing", f"{name} is not there: check the path, or whether it was moved.") from None
    except (OSError, ValueError) as error:
        why = getattr(error, "strerror", None) or str(error)
        raise _error(
            "unreadable", f"{name} cannot be opened ({why}): check the file's permissions."
        ) from None


def check_size(size: int, name: str) -> None:
    """Refuse a file of more than ``MAX_BYTES`` before it is read; raises PhotoError."""
    if size > MAX_BYTES:
        raise _error(
            "too_many_bytes",
            f"{name} has {size / 1e6:.0f} MB, the limit is {MAX_BYTES / 1e6:.0f} MB: save it as a JPEG.",
        )


def read_photo_bytes(data: bytes, name: str, *, path: str = "", max_pixels: int = MAX_PIXELS) -> Photo:
    """Read a photo from the bytes of its file, as ``read_photo`` does.

    Parameters
    ----------
    data : bytes
        The whole file.
    name : str
        File name for the record and for messages.
    path : str
        Where the file lies, for the record.
    max_pixels : int
        Larger photos are refused from the file's header.

    Raises
    ------
    PhotoError
        As ``read_photo``.
    """
    name = printable(name)
    if not data:
        raise _error("empty", f"{name} is empty: copy it from the camera again.")
    header = _open(data, name)
    if header.format in ("JPEG", "MPO") and not _jpeg_is_whole(data):
        raise _truncated(name)
    width, height = header.size
    if width * height > max_pixels:
        raise _error(
            "too_many_pixels",
            f"{name} has {width} x {height} pixels, the limit is {max_pixels / 1e6:.0f} megapixels: "
            "save it smaller.",
        )
    if min(_working_size(width, height)) < MIN_SIDE:
        raise _error(
            "too_small",
            f"{name} has {width} x {height} pixels: take the original photo, no thumbnail or strip of it.",
        )
    capture = exif.capture(header)
    icc = header.info.get("icc_profile")
    icc = icc if isinstance(icc, bytes) else b""

    decode: Callable[[], Pixels]
    if header.format in ("JPEG", "MPO") and header.mode == "RGB":
        orientation = exif.orientation(header)
        native = _decode_jpeg(data, name, shrink=_scale(width, height))
        native = _rgb(_upright(_at_working_scale(native, width, height), orientation))
        if orientation >= 5:
            width, height = height, width
        working = _srgb(native, icc)
        decode = functools.partial(_decode_jpeg_full, data, name, orientation, icc)
    else:
        native = _decode_with_pillow(header, name)
        height, width = native.shape[:2]
        working = _srgb(_at_working_scale(native, width, height), icc)
        decode = functools.partial(_srgb, native, icc)

    info = PhotoInfo(name, path, hashlib.sha256(data).hexdigest(), width, height, capture.taken)
    return Photo(info, _frozen(working), _scale(width, height), capture, decode)


def _error(code: str, say: str) -> PhotoError:
    return PhotoError(Trouble(code, say))


def too_big(name: str) -> PhotoError:
    """Give the error of a photo whose pixels do not fit into memory."""
    return _error("too_many_pixels", f"{name} does not fit into memory: save it smaller.")


def _damaged(name: str) -> PhotoError:
    return _error("damaged", f"{name} is damaged or cut short: copy it from the camera again.")


def _truncated(name: str) -> PhotoError:
    return _error("truncated", f"{name} is cut short: copy it from the camera again.")


def _frozen(pixels: Pixels) -> Pixels:
    pixels.flags.writeable = False
    return pixels


# Sizes


def _scale(width: int, height: int) -> float:
    return max(1.0, max(width, height) / WORKING_SIDE)


def _working_size(width: int, height: int) -> tuple[int, int]:
    scale = _scale(width, height)
    return round(width / scale), round(height / scale)


def _at_working_scale(pixels: Pixels, width: int, height: int) -> Pixels:
    """Shrink pixels of a photo of full size (width, height), decoded in full or reduced.

    Below a factor of two the four nearest pixels miss nothing, and cost a sixth of area averaging.
    """
    w, h = _working_size(width, height)
    if pixels.shape[:2] == (h, w):
        return pixels
    # A reduced decode covers up to 7 pixels more than the photo has: the ratio of the sizes would be off.
    decoded = 2.0 ** round(math.log2(max(width, height) / max(pixels.shape[:2])))
    times = decoded / _scale(width, height)
    how = cv2.INTER_LINEAR if times > 0.5 else cv2.INTER_AREA
    return cast("Pixels", cv2.resize(pixels, None, fx=times, fy=times, interpolation=how)[:h, :w])


# Decoding


def _open(data: bytes, name: str) -> Image.Image:
    """Read the header; no pixel is decoded yet."""
    try:
        if data[4:8] == b"ftyp":
            _check_heif_items(data)
        return Image.open(io.BytesIO(data), formats=FORMATS)
    except UnidentifiedImageError:
        if _SIGNATURE.match(data):
            raise _damaged(name) from None
        raise _error(
            "not_an_image", f"{name} is no photo that can be read: save it as JPEG, PNG, TIFF, WebP or HEIC."
        ) from None
    except Exception:  # the decoders raise nearly anything on hostile bytes
        raise _damaged(name) from None


# How a JPEG, PNG, TIFF, WebP or HEIF file starts, even if nothing else of it is sound.
_SIGNATURE = re.compile(
    rb"\xff\xd8\xff|\x89PNG\r\n|II\*\0|MM\0\*|RIFF.{4}WEBP|.{4}ftyp(?:hei|mif1|msf1)", re.DOTALL
)


def _check_heif_items(data: bytes) -> None:
    """Raise ValueError where an item's type or name is no text: the HEIF reader would end the process.

    Item info entries: ISO/IEC 14496-12, 8.11.6, versions 2 and 3.
    """
    for entry in re.finditer(rb"infe(?:\x02.{5}|\x03.{7}).{2}", data, re.DOTALL):
        size = int.from_bytes(data[entry.start() - 4 : entry.start()], "big")
        data[entry.end() : entry.start() - 4 + size].decode("utf-8")


def _jpeg_is_whole(data: bytes) -> bool:
    """Tell whether the file runs through to its end-of-image marker.

    Walks the marker segments (ITU-T T.81, annex B), so that the end marker of an embedded preview does
    not count and bytes appended behind the photo do not matter.
    """
    at = 2
    while True:
        marker = _JPEG_MARKER.search(data, at)
        if marker is None:
            return False
        code, at = marker[0][-1], marker.end()
        if code == 0xD9:
            return True
        at += int.from_bytes(data[at : at + 2], "big")


# A marker is FF and a code; FF00 is a data byte, FFD0 to FFD7 restart within a scan, FFFF is padding.
_JPEG_MARKER = re.compile(rb"\xff[^\x00\x01\xd0-\xd8\xff]")


def _decode_jpeg(data: bytes, name: str, shrink: float = 1.0) -> Pixels:
    """Decode BGR as stored, smaller by 2, 4 or 8 where ``shrink`` allows.

    The decoder then leaves out high frequencies of each 8 x 8 block, which is what makes it cheap.
    """
    factor = max(f for f in _REDUCED if f <= shrink)
    try:
        pixels = cv2.imdecode(np.frombuffer(data, np.uint8), _REDUCED[factor] | cv2.IMREAD_IGNORE_ORIENTATION)
    except cv2.error as error:
        if error.code == cv2.Error.StsNoMem:
            raise too_big(name) from None
        pixels = None
    if pixels is None:
        raise _damaged(name)
    return cast("Pixels", pixels)


def _rgb(bgr: Pixels) -> Pixels:
    return cast("Pixels", cv2.cvtColor(bgr, cv2.COLOR_BGR2RGB, dst=bgr))


_REDUCED = {
    1: cv2.IMREAD_COLOR,
    2: cv2.IMREAD_REDUCED_COLOR_2,
    4: cv2.IMREAD_REDUCED_COLOR_4,
    8: cv2.IMREAD_REDUCED_COLOR_8,
}


def _decode_jpeg_full(data: bytes, name: str, orientation: int, icc: bytes) -> Pixels:
    return _srgb(_rgb(_upright(_decode_jpeg(data, name), orientation)), icc)


def _decode_with_pillow(image: Image.Image, name: str) -> Pixels:
    """Decode upright, full size, first frame: (h, w) grey, (h, w, 3) RGB or (h, w, 4) CMYK."""
    try:
        image.load()
        orientation = exif.orientation(image)  # asked after load: some formats are turned while they load
        if image.mode.startswith("I;16"):
            native = ((np.asarray(image).astype(np.uint32) + 128) // 257).astype(np.uint8)  # 65535 / 255
        elif image.mode in ("I", "F"):
            raise _error(
                "unsupported", f"{name} has 32-bit pixels: save it as JPEG, or as PNG with 8 or 16 bits."
            )
        elif image.has_transparency_data:
            backdrop = Image.new("RGBA", image.size, (*BACKDROP, 255))
            backdrop.alpha_composite(image.convert("RGBA"))
            native = np.asarray(backdrop.convert("RGB"))
        else:
            native = np.asarray(image.convert({"1": "L", "L": "L", "CMYK": "CMYK"}.get(image.mode, "RGB")))
    except PhotoError:
        raise
    except MemoryError:
        raise too_big(name) from None
    except Exception as error:  # the decoders raise nearly anything on hostile bytes
        if "truncated" in str(error).lower():
            raise _truncated(name) from None
        raise _damaged(name) from None
    return _upright(native, orientation)


def _upright(pixels: Pixels, orientation: int) -> Pixels:
    """Turn stored pixels as their orientation asks (EXIF 2.32, tag 0x0112: 1 to 8)."""
    turned = cv2.transpose(pixels) if orientation >= 5 else pixels
    if orientation in (3, 4, 7, 8):
        turned = cv2.flip(turned, 0)
    if orientation in (2, 3, 6, 7):
        turned = cv2.flip(turned, 1)
    return cast("Pixels", turned)


# Colour


def _srgb(native: Pixels, icc: bytes) -> Pixels:
    """Turn grey, RGB or CMYK pixels into sRGB, by the embedded profile where it is sound."""
    mode = "L" if native.ndim == 2 else {3: "RGB", 4: "CMYK"}[native.shape[2]]
    transform = _profile_to_srgb(icc, mode) if icc else None
    if transform is not None:
        return np.array(transform.apply(_image(native, mode)))
    if mode == "L":
        return cast("Pixels", cv2.cvtColor(native, cv2.COLOR_GRAY2RGB))
    return native if mode == "RGB" else np.array(_image(native, mode).convert("RGB"))


def _image(native: Pixels, mode: str) -> Image.Image:
    return Image.frombytes(mode, (native.shape[1], native.shape[0]), native.tobytes())


@functools.lru_cache(maxsize=8)
def _profile_to_srgb(icc: bytes, mode: str) -> ImageCms.ImageCmsTransform | None:
    """Build the way from a profile to sRGB; None where the profile is broken or is sRGB itself."""
    try:
        profile = ImageCms.ImageCmsProfile(io.BytesIO(icc))
        intent = ImageCms.Intent.RELATIVE_COLORIMETRIC
        transform = ImageCms.buildTransform(profile, ImageCms.createProfile("sRGB"), mode, "RGB", intent)
    except (ImageCms.PyCMSError, OSError, TypeError, ValueError):
        return None
    if mode == "RGB":
        probe = np.stack(np.meshgrid(*3 * [np.arange(0, 256, 51)]), -1).reshape(1, -1, 3).astype(np.uint8)
        moved = np.asarray(transform.apply(_image(probe, mode))).astype(int) - probe
        if np.abs(moved).max() <= 2:
            return None
    return transform
