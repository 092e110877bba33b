"""Labelled cases as files: photos beside their labels, in a folder or in one ZIP file."""

from __future__ import annotations

import io
import json
from collections.abc import Callable, Iterable

from PIL import Image

from visual_aid.gallery.cases import labels
from visual_aid.model import Screening
from visual_aid.outputs.lesson import zipped
from visual_aid.outputs.publish import Pixels
from visual_aid.records.teaching import Item

QUALITY = 95
"""Of the JPEG files, whose pixels are to be measured again (common practice, no source)."""


def case_files(number: int, one: Item, screening: Screening, pixels: Pixels) -> dict[str, bytes]:
    """Give a photo and its labels as files by name, as ``visual-aid evaluate`` reads them.

    Parameters
    ----------
    number : int
        Names the case among the others of its folder.
    pixels : ndarray of shape (H, W, 3), uint8
        The publishable photo; the file carries nothing else of it.
    """
    name = f"case-{number:03}"
    label = labels(one, screening, f"{name}.jpg")
    photo = io.BytesIO()
    Image.fromarray(pixels).save(photo, "JPEG", quality=QUALITY)
    return {
        f"{name}.jpg": photo.getvalue(),
        f"{name}.json": json.dumps(label, indent=1).encode(),
    }


def cases_zip(
    items: Iterable[Item], screening: Callable[[str], Screening], pixels: Callable[[str], Pixels]
) -> bytes:
    """Write photos of a quiz with their labels as one ZIP file.

    Parameters
    ----------
    screening : callable
        Gives a photo's record by its id.
    pixels : callable
        Gives the publishable pixels of a photo by its id; raises as ``publishable``.
    """
    files: dict[str, bytes] = {}
    for number, one in enumerate(items, 1):
        files |= case_files(number, one, screening(one.photo), pixels(one.photo))
    return zipped(files)
