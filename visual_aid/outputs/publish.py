"""Photos that may leave the tool: boxes blurred beyond recovery, nothing of the camera's data.

The original stays as it is: what is published is drawn afresh from its pixels.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from visual_aid.model import Box
from visual_aid.records.store import Store

CELLS = 6
"""What is left of a blurred box along its longer side: a plate of seven letters, or a face, then has less
than one cell a letter or an eye (common practice, no source)."""

Pixels = NDArray[np.uint8]


def publishable(store: Store, photo: str) -> Pixels:
    """Give the pixels of a stored photo with its boxes blurred.

    Returns
    -------
    ndarray of shape (H, W, 3), uint8
        sRGB, the full upright photo.

    Raises
    ------
    KeyError
        No photo of that id.
    FileNotFoundError, PhotoError
        The photo file is gone, changed or damaged.
    """
    return blurred(store.read(store.photo(photo)).full, store.gallery.blurred(photo))


def blurred(pixels: Pixels, boxes: Sequence[Box]) -> Pixels:
    """Give a photo in which boxes hold nothing but the mean colours of a few cells.

    Averages cannot be taken apart again, as a mere smoothing can.

    Parameters
    ----------
    pixels : ndarray of shape (H, W, 3), uint8
        Left as it is.
    boxes : sequence of Box
        In pixels; rounded outwards and cut to the photo.
    """
    if not boxes:
        return pixels
    out = pixels.copy()
    for x, y, w, h in boxes:
        left, top = max(0, math.floor(x)), max(0, math.floor(y))
        piece = out[top : max(top, math.ceil(y + h)), left : max(left, math.ceil(x + w))]
        if not piece.size:
            continue
        height, width = piece.shape[:2]
        cell = max(width, height) / CELLS
        few = (max(1, round(width / cell)), max(1, round(height / cell)))
        means = cv2.resize(piece, few, interpolation=cv2.INTER_AREA)
        piece[:] = cv2.resize(means, (width, height), interpolation=cv2.INTER_LINEAR)
    return out
