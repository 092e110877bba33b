"""Whether two photos show nearly the same: a perceptual hash for the shots of a burst."""

from __future__ import annotations

import cv2
import numpy as np

from visual_aid.photo import Photo

SIDE = 16
"""The hash has ``SIDE`` x ``SIDE`` bits."""


def likeness(photo: Photo) -> str:
    """Give a perceptual hash of a photo: near-duplicates differ in few bits.

    Each bit says whether one field of a 17 by 16 grid is darker than its neighbour on the right, so that
    exposure, contrast and compression hardly matter (difference hash; Krawetz, Kind of Like That, 2013).

    Returns
    -------
    str
        64 hexadecimal digits.
    """
    grey = cv2.cvtColor(photo.working, cv2.COLOR_RGB2GRAY)
    fields = cv2.resize(grey, (SIDE + 1, SIDE), interpolation=cv2.INTER_AREA)
    return np.packbits(fields[:, :-1] < fields[:, 1:]).tobytes().hex()


def distance(a: str, b: str) -> int:
    """Count the bits in which two hashes of ``likeness`` differ."""
    return (int(a, 16) ^ int(b, 16)).bit_count()
