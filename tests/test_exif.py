"""What the camera wrote beside the pixels, and what else stands where it should."""

import io
import struct

import numpy as np
import pytest
from PIL import Image

from visual_aid.photo import read_photo_bytes

from .conftest import camera_exif


def photo(kind: str, **options) -> bytes:
    target = io.BytesIO()
    Image.effect_noise((120, 80), 60).convert("RGB").save(target, kind, **options)
    return target.getvalue()


def test_capture_tells_when_with_what_and_where():
    gps = {1: "S", 2: (33.0, 51.0, 36.0), 3: "E", 4: (151.0, 12.0, 0.0)}
    read = read_photo_bytes(photo("JPEG", exif=camera_exif(gps=gps)), "a")
    assert read.info.taken == read.capture.taken == "2026-05-04T07:12:00"
    assert read.capture.camera == "Yardcam One"
    assert read.capture.position == pytest.approx((-33.86, 151.2))
    assert "SN12345" not in repr(read.capture)


@pytest.mark.parametrize(
    "taken", ["0000:00:00 00:00:00", "", "    :  :     :  :  ", "2026:02:30 10:00:00", "yesterday", 7]
)
def test_a_date_that_is_none_stays_empty(taken):
    exif = camera_exif("x")
    exif.get_ifd(0x8769)[0x9003] = taken
    assert read_photo_bytes(photo("PNG", exif=exif), "a").info.taken is None


def test_the_next_best_date_is_used():
    exif = camera_exif("0000:00:00 00:00:00")
    exif[0x0132] = "2026:05:04 08:00:00"
    assert read_photo_bytes(photo("JPEG", exif=exif), "a").info.taken == "2026-05-04T08:00:00"


@pytest.mark.parametrize(
    "gps",
    [
        {},
        {1: "N", 2: (91.0, 0.0, 0.0), 3: "E", 4: (10.0, 0.0, 0.0)},
        {1: "N", 2: (0.0, 0.0, 0.0), 3: "E", 4: (0.0, 0.0, 0.0)},
        {2: (50.0, 0.0, 0.0), 4: (10.0, 0.0, 0.0)},
        {1: "N", 2: (50.0, 0.0, 0.0)},
    ],
)
def test_a_position_that_is_none_stays_empty(gps):
    assert read_photo_bytes(photo("JPEG", exif=camera_exif(gps=gps)), "a").capture.position is None


def exif_block(*entries: tuple[int, int, int, int]) -> bytes:
    """Lay out one little-endian EXIF directory of (tag, type, count, value or offset)."""
    directory = struct.pack("<H", len(entries)) + b"".join(struct.pack("<HHII", *e) for e in entries)
    return b"Exif\0\0II*\0" + struct.pack("<I", 8) + directory + bytes(4)


@pytest.mark.parametrize(
    "exif",
    [
        b"Exif\0\0",
        b"Exif\0\0garbage that is no directory",
        exif_block((0x8769, 4, 1, 8), (0x8825, 4, 1, 8)),  # directories that point at themselves
        exif_block((0x9003, 2, 0xFFFFFFFF, 0xFFFFFFF0), (0x0112, 3, 0xFFFFFFFF, 6)),  # beyond the end
        exif_block((0x0112, 2, 4, 0x36363636)),  # orientation as text
        b"Exif\0\0" + bytes(60_000),
    ],
)
def test_odd_exif_never_fails_a_photo(exif):
    data = photo("JPEG")
    segment = b"\xff\xe1" + struct.pack(">H", len(exif) + 2) + exif
    read = read_photo_bytes(data[:2] + segment + data[2:], "a")
    np.testing.assert_array_equal(read.working, read_photo_bytes(data, "a").working)
    assert read.info.taken is None
