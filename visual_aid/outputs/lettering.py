"""The font of drawn pictures."""

from __future__ import annotations

import functools
from importlib import resources

from PIL import ImageFont


@functools.cache
def lettering(size: int) -> ImageFont.FreeTypeFont:
    """Give the font at a size in pixels.

    It is the one that comes with reportlab: Latin letters with degree, multiplication and comparison
    signs, which Pillow's own lacks.
    """
    with resources.as_file(resources.files("reportlab") / "fonts" / "Vera.ttf") as path:
        return ImageFont.truetype(str(path), size)


def wrap(text: str, font: ImageFont.FreeTypeFont, width: float) -> list[str]:
    """Break a text between words into lines no wider than ``width`` pixels, longer words apart."""
    lines = [""]
    for word in text.split():
        longer = f"{lines[-1]} {word}" if lines[-1] else word
        if lines[-1] and font.getlength(longer) > width:
            lines.append(word)
        else:
            lines[-1] = longer
    return lines
