"""Pictures that the page shows beside the photos; those of teaching with their boxes blurred."""

from __future__ import annotations

import functools
import hashlib

import numpy as np
from PIL import Image

from visual_aid.model import Box
from visual_aid.outputs.before import laid_on
from visual_aid.outputs.lesson import Shown, draw_example, outlined
from visual_aid.outputs.magnifier import magnify
from visual_aid.outputs.palette import FASTENER_COLOUR
from visual_aid.outputs.publish import publishable
from visual_aid.outputs.report_pictures import close_up, encode, shrunk
from visual_aid.photo import Photo
from visual_aid.records.store import Store

SHOWN_SIDE = 2400
"""Longest side in pixels of a quiz's photo: a nut of 1/60 of its width is 40 px across."""
SHOWN_BYTES, EXAMPLE_BYTES, PIECE_BYTES = 1_500_000, 120_000, 40_000
AROUND_NUT = 3.0
"""What a piece shows each side of a fastener's centre, in nut radii."""


def shown(store: Store, photo: str) -> bytes:
    """Give a photo as trainees see it; raises as ``publishable``."""

    def make() -> bytes:
        return encode(shrunk(Image.fromarray(publishable(store, photo)), SHOWN_SIDE), SHOWN_BYTES)

    return store.copy(_name(store, photo, "shown"), make)


def example(store: Store, photo: str, number: int) -> bytes:
    """Give the close crop of an example, or the whole photo of a clean one.

    Raises
    ------
    KeyError
        No such example on that photo.
    FileNotFoundError, PhotoError
        The photo file is gone, changed or damaged.
    """
    one = store.gallery.example(number)
    if one.photo != photo:
        raise KeyError(number)
    look = outlined(one)

    def make() -> bytes:
        close, wide = draw_example(one, 1, publishable(store, photo), EXAMPLE_BYTES)
        return close or wide

    return store.copy(_name(store, photo, "example", None if look is None else (look.box, look.colour)), make)


def piece(store: Store, photo: str, cx: float, cy: float, radius: float) -> bytes:
    """Give a fastener and its surroundings, cut out of a photo; raises as ``publishable``."""
    half = AROUND_NUT * radius
    box: Box = (cx - radius, cy - radius, 2 * radius, 2 * radius)
    ring = np.radians(np.arange(0, 360, 10))
    outline = tuple(zip(cx + radius * np.cos(ring), cy + radius * np.sin(ring), strict=True))

    def make() -> bytes:
        pixels = publishable(store, photo)
        left, top = max(0, round(cx - half)), max(0, round(cy - half))
        cut = pixels[top : max(top + 1, round(cy + half)), left : max(left + 1, round(cx + half))]
        moved: Box = (box[0] - left, box[1] - top, box[2], box[3])
        around = Shown(moved, tuple((x - left, y - top) for x, y in outline), FASTENER_COLOUR)
        return encode(close_up(cut, around), PIECE_BYTES)

    return store.copy(_name(store, photo, "piece", box), make)


def magnified(store: Store, photo: str, candidate: int) -> bytes:
    """Give a candidate's fastener head on, with what was measured drawn in.

    Raises
    ------
    KeyError
        No such candidate on that photo.
    FileNotFoundError, PhotoError
        The photo file is gone, changed or damaged.
    """
    found = store.candidate(candidate)
    if found.photo != photo:
        raise KeyError(candidate)
    fasteners = store.photo(photo).screening.fasteners
    return encode(Image.fromarray(magnify(_read(store, photo), fasteners, found.candidate)), EXAMPLE_BYTES)


def before(store: Store, photo: str) -> bytes:
    """Give the photo of the visit before, laid on this one; raises as ``magnified``, without one KeyError."""
    former = store.visits.former(store.photo(photo))
    if former is None:
        raise KeyError(photo)
    return laid(store, former.id, photo)


def laid(store: Store, earlier: str, photo: str) -> bytes:
    """Give another photo of the same place, laid on this one; raises as ``magnified``."""
    former = store.photo(earlier)
    known = store.comparisons.between(earlier, photo)
    homography = None if known is None else known.homography

    def make() -> bytes:
        pixels = laid_on(store.read(former), _read(store, photo), homography)
        return encode(Image.fromarray(pixels), SHOWN_BYTES)

    # By the comparison too: one made since lays them otherwise.
    return store.copy(_name(store, photo, "laid", earlier, homography), make)


@functools.lru_cache(maxsize=2)
def _read(store: Store, photo: str) -> Photo:
    # The candidates of a photo are looked at one after the other.
    return store.read(store.photo(photo))


def _name(store: Store, photo: str, *what: object) -> str:
    """Give the name of a copy; what is blurred is part of it, so that a later box makes another copy."""
    about = repr((what, store.gallery.blurred(photo)))
    return f"{photo}-{hashlib.sha256(about.encode()).hexdigest()[:20]}.jpg"
