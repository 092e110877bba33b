"""Pictures of a report: small files without any of the camera's data, within a budget of bytes."""

from __future__ import annotations

import io
import math
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from visual_aid.model import Box, Outline
from visual_aid.outputs.lettering import lettering
from visual_aid.outputs.palette import UNDER_STROKE
from visual_aid.outputs.report import Remark, Report, ReportPhoto
from visual_aid.photo import PhotoError

MOST_BYTES = 6_500_000
"""All pictures of a report together: HTML writes them as text, a third longer, and stays under 10 MB."""
PICTURE_BYTES, THUMBNAIL_BYTES = 150_000, 14_000
"""The most that one picture takes where the budget allows."""
WIDE, CLOSE, THUMBNAIL = 1000, 640, 260
"""Longest sides in pixels."""
AROUND = 0.8
"""What a close-up shows around the box, in lengths of its longer side."""
LEAST_CLOSE = 160
"""Side of the smallest piece of a photo that a close-up shows, in the photo's pixels."""
_QUALITIES = (85, 70, 55)

Pixels = NDArray[np.uint8]


class Outlined(Protocol):
    """Something on a photo, in pixels of the full upright photo, and the colour that it is drawn in."""

    @property
    def box(self) -> Box:
        """Left, top, width, height."""

    @property
    def outline(self) -> Outline:
        """A closer outline; the box stands in for one of under three points."""

    @property
    def colour(self) -> str:
        """As ``#rrggbb``."""


@dataclass(frozen=True, slots=True)
class FindingPictures:
    """JPEG files of a finding; both empty, and ``trouble`` says why, where the photo could not be read."""

    close: bytes = b""
    wide: bytes = b""
    trouble: str = ""


@dataclass(frozen=True, slots=True)
class Pictures:
    """Pictures of a report: of its findings ``in_order``, and a thumbnail, or nothing, for each remark."""

    findings: tuple[FindingPictures, ...]
    quiet: tuple[bytes, ...]
    not_judged: tuple[bytes, ...]


def draw_pictures(report: Report) -> Pictures:
    """Make the pictures of a report; each photo is read once, and one at a time is held."""
    remarks = [*report.quiet, *report.not_judged]
    photos = [finding.photo for finding in report.findings] + [remark.photo for remark in remarks]
    thumbnail_bytes = min(THUMBNAIL_BYTES, MOST_BYTES // (4 * max(1, len(remarks))))
    left = MOST_BYTES - thumbnail_bytes * len(remarks)
    picture_bytes = min(PICTURE_BYTES, left // (2 * max(1, len(report.findings))))

    found = {id(finding.photo) for finding in report.findings}
    findings: dict[int, FindingPictures] = {}
    thumbnails: dict[int, bytes] = {}
    for key, photo in {id(photo): photo for photo in photos}.items():
        pixels, trouble = _read(photo, small=key not in found)
        small = None if pixels is None else shrunk(Image.fromarray(pixels), WIDE)
        for number, finding in enumerate(report.in_order, 1):
            if id(finding.photo) != key:
                continue
            if pixels is None or small is None:
                findings[number] = FindingPictures(trouble=trouble)
                continue
            close = close_up(pixels, finding)
            wide = wide_shot(small, small.width / pixels.shape[1], finding, number)
            findings[number] = FindingPictures(encode(close, picture_bytes), encode(wide, picture_bytes))
        if any(id(remark.photo) == key for remark in remarks):
            thumbnails[key] = b"" if small is None else encode(shrunk(small, THUMBNAIL), thumbnail_bytes)

    def of(remarks: tuple[Remark, ...]) -> tuple[bytes, ...]:
        return tuple(thumbnails[id(remark.photo)] for remark in remarks)

    numbered = tuple(findings[number] for number in sorted(findings))
    return Pictures(numbered, of(report.quiet), of(report.not_judged))


def close_up(pixels: Pixels, finding: Outlined) -> Image.Image:
    """Cut out a finding's box and its surroundings, ``CLOSE`` pixels a side at most, with its outline.

    The piece is square as far as the photo reaches.
    """
    x, y, w, h = finding.box
    side = max(LEAST_CLOSE, max(w, h) * (1 + 2 * AROUND))
    left, width = _stretch(x + w / 2, side, pixels.shape[1])
    top, height = _stretch(y + h / 2, side, pixels.shape[0])
    grow = min(2.0, CLOSE / max(width, height))
    size = (max(1, round(width * grow)), max(1, round(height * grow)))
    cut = Image.fromarray(pixels[top : top + height, left : left + width])
    cut = cut.resize(size, Image.Resampling.LANCZOS, reducing_gap=2.0)
    points = finding.outline if len(finding.outline) >= 3 else _corners(finding.box)
    _outline(
        cut, [((px + 0.5 - left) * grow, (py + 0.5 - top) * grow) for px, py in points], finding.colour, 3
    )
    return cut


def wide_shot(picture: Image.Image, scale: float, finding: Outlined, number: int) -> Image.Image:
    """Give a copy of a shrunk photo with a numbered marker around a finding's box.

    Parameters
    ----------
    picture : Image
        The photo.
    scale : float
        Its pixels per pixel of the full photo.
    finding : Outlined
        The finding.
    number : int
        What is written at the marker.
    """
    picture = picture.copy()
    x, y, w, h = (v * scale for v in finding.box)
    margin = max(8.0, (36 - min(w, h)) / 2)
    x0, x1 = (min(max(4.0, v), picture.width - 5.0) for v in (x - margin, x + w + margin))
    y0, y1 = (min(max(4.0, v), picture.height - 5.0) for v in (y - margin, y + h + margin))
    _outline(picture, _corners((x0, y0, x1 - x0, y1 - y0)), finding.colour, 4)

    pen, font = ImageDraw.Draw(picture), lettering(40)
    left, top, right, bottom = font.getbbox(str(number))
    width, height = right - left + 16, bottom - top + 14
    above, below = y0 - height - 6, y1 + 6
    at_x = min(x0, picture.width - width)
    at_y = above if above > 0 else max(0.0, min(below, picture.height - height))
    pen.rectangle((at_x, at_y, at_x + width, at_y + height), UNDER_STROKE, finding.colour, 3)
    pen.text((at_x + 8 - left, at_y + 7 - top), str(number), "#ffffff", font)
    return picture


def shrunk(picture: Image.Image, longest: int) -> Image.Image:
    """Give a picture whose longest side is so many pixels at most."""
    scale = min(1.0, longest / max(picture.size))
    size = (max(1, round(picture.width * scale)), max(1, round(picture.height * scale)))
    return picture.resize(size, Image.Resampling.LANCZOS, reducing_gap=2.0)


def encode(picture: Image.Image, most_bytes: int) -> bytes:
    """Write a JPEG file of so many bytes at most, coarser or smaller if need be, with no metadata.

    A picture of a few pixels is given as it is, however few bytes are allowed.
    """
    while True:
        for quality in _QUALITIES:
            data = io.BytesIO()
            picture.save(data, "JPEG", quality=quality)
            if data.tell() <= most_bytes or max(picture.size) < 32:
                return data.getvalue()
        # The size of a file goes about with the number of pixels.
        scale = min(0.9, max(0.5, math.sqrt(most_bytes / data.tell())))
        picture = shrunk(picture, round(max(picture.size) * scale))


def _read(photo: ReportPhoto, *, small: bool) -> tuple[Pixels | None, str]:
    read = (small and photo.small) or photo.pixels
    try:
        return read(), ""
    except (PhotoError, OSError) as error:
        return None, f"{photo.name} cannot be shown: {error}"


def _stretch(middle: float, length: float, whole: int) -> tuple[int, int]:
    """Give start and length of a piece of a side around a place, moved and cut to fit into the whole."""
    length = min(max(1, round(length)), whole)
    return min(max(0, round(middle - length / 2)), whole - length), length


def _corners(box: Box) -> list[tuple[float, float]]:
    x, y, w, h = box
    return [(x, y), (x + w, y), (x + w, y + h), (x, y + h)]


def _outline(picture: Image.Image, points: list[tuple[float, float]], colour: str, line: int) -> None:
    """Draw a closed outline with a dark line under the coloured one, so that it shows on any ground."""
    pen = ImageDraw.Draw(picture)
    for ink, width in ((UNDER_STROKE, line + 4), (colour, line)):
        pen.line([*points, points[0], points[1]], ink, width, joint="curve")
