"""Settings shared by all tests, and drawn joints: four nuts on a known axis on a textured surface."""

import contextlib
import errno
import math
import os
import signal
import socket
import sys
import threading

import cv2
import numpy as np
import pytest
from hypothesis import settings
from PIL import Image

from visual_aid import decoder
from visual_aid.model import Fastener

# A shell that runs the tests in its background has them ignore Ctrl-C, and all that they start as well.
signal.signal(signal.SIGINT, signal.default_int_handler)

settings.register_profile("repeatable", derandomize=True, deadline=None)
settings.load_profile("repeatable")

R = 40.0
# ISO 4032: an M16 nut is 24 mm across flats and 14.8 mm high, so 14.8 / 12 nut radii.
NUT_HEIGHT = 14.8 / 12
# ISO 7089: an M16 washer has 30 mm outside diameter and is 3 mm thick.
WASHER_RADIUS, WASHER_HEIGHT = 30 / 24, 3 / 12
PLACES = ((160, 170), (400, 170), (160, 400), (400, 400))


def prism(canvas, centre, corners, low, high, tilt, colour):
    """Draw the solid between two heights (in r) over the seat; the axis rises towards image-up.

    Light comes from the front and the left: sides are darker than the top, those to the right darkest.
    """
    rise = R * math.sin(math.radians(tilt))
    base = corners * R * (1, math.cos(math.radians(tilt))) + centre
    bottom, top = base - (0, low * rise), base - (0, high * rise)
    for k in range(len(corners)):
        pair = [k, (k + 1) % len(corners)]
        normal = corners[pair].mean(axis=0)
        if normal[1] > 0:  # faces the viewer
            side = np.concatenate([bottom[pair], top[pair[::-1]]])
            fill(canvas, side, colour, 0.65 - 0.25 * normal[0])
    fill(canvas, top, colour, 1.15)


def fill(canvas, polygon, colour, shade):
    shaded = tuple(min(shade * c, 255) for c in colour)
    cv2.fillPoly(canvas, [np.int32(np.round(polygon * 16))], shaded, cv2.LINE_AA, 4)


def ring(radius, n=72, turn=0.0):
    bearings = np.radians(np.arange(n) * 360 / n + turn)
    return radius * np.column_stack([np.cos(bearings), np.sin(bearings)])


def joint(
    lifts=(0, 0, 0, 0),
    tilt=45.0,
    shadow=False,
    washer=True,
    paint=(96, 112, 128),
    nut=(150, 142, 135),
    under=None,
):
    """Draw four nuts.

    ``lifts`` are the slits under them in r; ``under(canvas, x, y)`` paints the surface about each seat
    before the nut stands on it. Gives RGB pixels and the fasteners, whose seats lie at ``PLACES``.
    """
    rng = np.random.default_rng(5)
    canvas = np.full((560, 560, 3), paint, np.float32)
    canvas += cv2.GaussianBlur(rng.normal(0, 30, canvas.shape).astype(np.float32), (0, 0), 3)
    fasteners = []
    for k, ((x, y), lift) in enumerate(zip(PLACES, lifts, strict=True)):
        seat = WASHER_HEIGHT if washer else 0.0
        if under is not None:
            under(canvas, x, y)
        if shadow:  # wide and to one side, as the sun throws it
            far = np.array(
                [[x, y], [x + 2.6 * R, y + 0.9 * R], [x + 2.4 * R, y + 2 * R], [x - R, y + 0.3 * R]]
            )
            mask = np.zeros(canvas.shape[:2], np.float32)
            cv2.fillPoly(mask, [np.int32(far)], 1.0)
            canvas *= 1 - 0.65 * cv2.GaussianBlur(mask, (0, 0), 2)[..., None]
        if washer:
            prism(canvas, (x, y), ring(WASHER_RADIUS), 0, seat, tilt, (170, 170, 165))
        hexagon = ring(2 / math.sqrt(3), 6, 10.0 * k)
        if lift:
            prism(canvas, (x, y), hexagon, seat, seat + lift, tilt, (30, 30, 30))
        prism(canvas, (x, y), hexagon, seat + lift, seat + lift + NUT_HEIGHT, tilt, nut)
        top = y - (seat + lift + NUT_HEIGHT) * R * math.sin(math.radians(tilt))
        radius = R * math.sqrt(math.cos(math.radians(tilt)))
        fasteners.append(Fastener(k + 1, "hex_nut", x, top, radius, tilt=tilt, tilt_axis=0.0))
    canvas += rng.normal(0, 2, canvas.shape)
    return np.clip(canvas, 0, 255).astype(np.uint8), fasteners


@pytest.fixture(scope="session")
def draw_joint():
    return joint


TROUBLEMAKER = """
import os, sys, time
from visual_aid import decoder, photo

decode = photo.read_photo_bytes

def read(data, name, **options):
    if name == "fatal.heic":
        os.abort()
    if name == "slow.heic":
        time.sleep(5)
    if name == "greedy.heic":
        return bytearray(decoder.MEMORY)
    if name == "chatty.heic":
        os.write(1, b"{}")
        print("a library speaks", flush=True)
    if name == "once.heic" and not os.path.exists(os.environ["ONCE"]):
        open(os.environ["ONCE"], "w").close()
        os.abort()
    return decode(data, name, **options)

photo.read_photo_bytes = read
decoder.serve()
"""
"""A decoding process that does by the file's name what decoders have done by a file's content."""


@pytest.fixture
def fresh_decoder(monkeypatch):
    """Start with no decoding process, and leave none behind."""
    monkeypatch.setattr(decoder, "_idle", [])
    yield
    for process in decoder._idle:
        process.end()


@pytest.fixture
def troublemaker(fresh_decoder, monkeypatch, tmp_path):
    """Decode with the troublemaker."""
    monkeypatch.setattr(decoder, "_COMMAND", [sys.executable, "-c", TROUBLEMAKER])
    monkeypatch.setenv("ONCE", str(tmp_path / "once"))


@pytest.fixture
def unlisted(monkeypatch):
    """Give a way to have a folder that the system lists for nobody, not even for an administrator."""
    scan = os.scandir

    def close(folder):
        def refuse(path):
            if path in (folder, str(folder)):
                raise PermissionError(errno.EACCES, os.strerror(errno.EACCES), str(path))
            return scan(path)

        monkeypatch.setattr(os, "scandir", refuse)
        return folder

    return close


@pytest.fixture
def no_files(tmp_path):
    """Give a folder of what has a photo's name and is no file: a pipe, a link to it, a socket, a device.

    Whoever waits for the pipe to say something hears after a while that it has nothing to say.
    """
    folder = tmp_path / "no files"
    folder.mkdir()
    os.mkfifo(folder / "pipe.jpg")
    (folder / "link.jpg").symlink_to("pipe.jpg")
    (folder / "device.jpg").symlink_to(os.devnull)
    done = threading.Event()

    def end_what_waits():
        while not done.wait(0.1):
            with contextlib.suppress(OSError):  # nobody is waiting
                os.close(os.open(folder / "pipe.jpg", os.O_WRONLY | os.O_NONBLOCK))

    with socket.socket(socket.AF_UNIX) as listening:
        here = os.getcwd()
        os.chdir(folder)  # a socket's address is short
        listening.bind("socket.jpg")
        os.chdir(here)
        thread = threading.Thread(target=end_what_waits)
        thread.start()
        yield folder
        done.set()
        thread.join()


def camera_exif(taken: object = "2026:05:04 07:12:00", gps: dict | None = None) -> Image.Exif:
    """Give what a camera writes beside a photo; no camera is called so."""
    exif = Image.Exif()
    exif[0x010F], exif[0x0110] = "Yardcam ", "One\0"
    exif.get_ifd(0x8769)[0x9003] = taken
    exif.get_ifd(0x8769)[0xA431] = "SN12345"
    exif.get_ifd(0x8825).update(gps or {})
    return exif
