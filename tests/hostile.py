"""Bad photo files, made from sound ones: what mails, cards and strangers bring."""

from __future__ import annotations

import io
import random
import struct
import zlib
from collections.abc import Iterator
from pathlib import Path

import numpy as np
from PIL import Image

HEIC = Path(__file__).parent / "data" / "quarters.heic"


def sound() -> dict[str, bytes]:
    """Give one sound file of each kind, by its name."""
    tiles = np.random.default_rng(3).integers(0, 255, (9, 12, 3), np.uint8).repeat(16, 0).repeat(16, 1)
    exif = Image.Exif()
    exif[0x0112], exif[0x010F] = 6, "Yardcam"
    kinds = {
        "a.jpg": ("RGB", "JPEG", {"exif": exif}),
        "progressive.jpg": ("RGB", "JPEG", {"progressive": True}),
        "cmyk.jpg": ("CMYK", "JPEG", {}),
        "a.png": ("RGB", "PNG", {"exif": exif}),
        "alpha.png": ("RGBA", "PNG", {}),
        "a.tif": ("RGB", "TIFF", {}),
        "packed.tif": ("RGB", "TIFF", {"compression": "tiff_lzw"}),
        "a.webp": ("RGB", "WEBP", {"exif": exif}),
        "moving.webp": ("RGB", "WEBP", {"save_all": True, "append_images": [Image.new("RGB", (192, 144))]}),
        "a.bmp": ("RGB", "BMP", {}),
    }
    files = {"a.heic": HEIC.read_bytes()}
    for name, (mode, kind, options) in kinds.items():
        buffer = io.BytesIO()
        Image.fromarray(tiles).convert(mode).save(buffer, kind, **options)
        files[name] = buffer.getvalue()
    buffer = io.BytesIO()
    Image.fromarray(tiles[..., 0].astype(np.uint16) * 257).save(buffer, "PNG")
    files["sixteen.png"] = buffer.getvalue()
    return files


def bombs() -> dict[str, bytes]:
    """Give files whose headers promise 65,535 x 65,535 pixels, or whose camera data never end."""
    side = 65535

    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    header = struct.pack(">IIBBBBB", side, side, 8, 2, 0, 0, 0)
    png = b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + chunk(b"IDAT", zlib.compress(bytes(1 << 16)))
    files = sound()
    jpeg = bytearray(files["a.jpg"])
    at = jpeg.index(b"\xff\xc0")  # frame header: ITU-T T.81, B.2.2
    jpeg[at + 5 : at + 9] = struct.pack(">HH", side, side)
    bmp = bytearray(files["a.bmp"])
    bmp[18:26] = struct.pack("<ii", side, side)
    # An image file directory whose next directory, and whose Exif directory, is itself: TIFF 6.0, section 2.
    loop = b"II*\0\x08\0\0\0" + struct.pack("<HHHIII", 1, 0x8769, 4, 1, 8, 8)
    app1 = b"Exif\0\0" + loop
    plain = files["progressive.jpg"]
    whole = b"".join(
        b"\xff\xe1" + struct.pack(">H", len(part) + 2) + part for part in [b"Exif\0\0" + bytes(65000)] * 100
    )
    return {
        "bomb.png": png + chunk(b"IEND", b""),
        "bomb.jpg": bytes(jpeg),
        "bomb.bmp": bytes(bmp),
        "loop.jpg": plain[:2] + b"\xff\xe1" + struct.pack(">H", len(app1) + 2) + app1 + plain[2:],
        "loop.tif": loop,
        "long.jpg": plain[:2] + whole + plain[2:],
        "empty.jpg": b"",
        "text.jpg": b"<script>alert(1)</script>",
    }


def mutated(count: int, seed: int = 1) -> Iterator[tuple[str, bytes]]:
    """Give so many bad files with names, the same for the same seed."""
    chance = random.Random(seed)
    files, made = sound(), list(bombs().items())
    yield from made[:count]
    names = sorted(files)
    for number in range(count - len(made)):
        name = names[number % len(names)]
        data = bytearray(files[name])
        how = chance.choice(("flip", "head", "cut", "hole", "swap", "grow", "ending"))
        if how == "flip":
            for _ in range(chance.choice((1, 8, 64))):
                data[chance.randrange(len(data))] ^= 1 << chance.randrange(8)
        elif how == "head":
            for _ in range(chance.choice((1, 4, 16))):
                data[chance.randrange(min(200, len(data)))] = chance.choice((0, 1, 0x7F, 0x80, 0xFF))
        elif how == "cut":
            del data[chance.randrange(len(data)) :]
        elif how == "hole":
            at = chance.randrange(len(data))
            del data[at : at + chance.randrange(1, 200)]
        elif how == "swap":
            other = files[chance.choice(names)]
            at = chance.randrange(min(len(data), len(other)))
            data[at:] = other[at:]
        elif how == "grow":
            at = chance.randrange(len(data))
            data[at:at] = chance.randbytes(chance.randrange(1, 5000))
        else:
            name = chance.choice(names)
        yield f"{number}-{how}-{name}", bytes(data)


NAMES = (
    "new\nline.jpg",
    "'quotes\".jpg",
    "\u202egpj.exe.jpg",
    "\u200f\u05d0.jpg",
    "x" * 251 + ".jpg",
    "\U0001f529.jpg",
    "<b>bold<b>.jpg",
    "=1+1.jpg",
    "%2e%2e%2f.jpg",
    "tab\t.jpg",
    " .jpg",
)
"""File names that have broken other programs."""
