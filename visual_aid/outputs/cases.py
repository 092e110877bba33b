"""Labelled cases as files: photos beside their labels, in one ZIP file."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable

from PIL import Image

from visual_aid.gallery.cases import labels
from visual_aid.model import Screening
from visual_aid.outputs.lesson import zipped
from visual_aid.outputs.publish import Pixels
from visual_aid.outputs.report_pictures import encode
from visual_aid.records.teaching import Item

NO_LIMIT = 1 << 62
"""A photo stays at full size, for its labels are in its pixels."""


def cases_zip(
    items: Iterable[Item], screening: Callable[[str], Screening], pixels: Callable[[str], Pixels]
) -> bytes:
    """Write photos of a quiz with their labels, as ``visual-aid evaluate`` reads them.

    Parameters
    ----------
    screening : callable
        Gives a photo's record by its id.
    pixels : callable
        Gives the publishable pixels of a photo by its id; raises as ``publishable``.
    """
    files: dict[str, bytes] = {}
    for number, one in enumerate(items, 1):
        name = f"case-{number:03}"
        files[f"{name}.jpg"] = encode(Image.fromarray(pixels(one.photo)), NO_LIMIT)
        label = labels(one, screening(one.photo), f"{name}.jpg")
        files[f"{name}.json"] = json.dumps(label, indent=1).encode()
    return zipped(files)
