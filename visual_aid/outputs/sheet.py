"""A contact sheet: cut-outs of photos with a caption each, on one picture."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from visual_aid.model import Box
from visual_aid.outputs.lettering import lettering, wrap
from visual_aid.outputs.palette import UNDER_STROKE

TILE = 300
COLUMNS = 5
AROUND = 0.6
"""What is shown around the box, in lengths of its longer side."""
_CAPTION_LINES, _STEP, _GAP = 3, 20, 10
_PAPER, _INK = "#ffffff", "#222222"


@dataclass(frozen=True, slots=True)
class Tile:
    """One cut-out.

    Attributes
    ----------
    pixels : ndarray of shape (h, w, 3), uint8
        The photo, sRGB, at any scale.
    box : tuple of float
        Left, top, width, height in ``pixels``: outlined and shown with its surroundings.
    """

    pixels: NDArray[np.uint8]
    box: Box
    colour: str
    caption: str


def draw_sheet(sections: Sequence[tuple[str, Sequence[Tile]]]) -> NDArray[np.uint8]:
    """Draw tiles in rows under the heading of their section.

    Returns
    -------
    ndarray of shape (h, w, 3), uint8
        sRGB, ``COLUMNS`` tiles wide.
    """
    row_height = TILE + _CAPTION_LINES * _STEP + _GAP
    rows = sum(max(1, -(-len(tiles) // COLUMNS)) for _, tiles in sections)
    width = COLUMNS * (TILE + _GAP) + _GAP
    sheet = Image.new("RGB", (width, rows * row_height + len(sections) * 50), _PAPER)
    pen = ImageDraw.Draw(sheet)
    top = 0
    for heading, tiles in sections:
        pen.text((_GAP, top + 14), heading if tiles else f"{heading}: none", _INK, lettering(22))
        top += 50
        for i, tile in enumerate(tiles):
            row, column = divmod(i, COLUMNS)
            x, y = _GAP + column * (TILE + _GAP), top + row * row_height
            sheet.paste(_cut_out(tile), (x, y))
            for k, line in enumerate(wrap(tile.caption, lettering(14), TILE)[:_CAPTION_LINES]):
                pen.text((x, y + TILE + 4 + k * _STEP), line, _INK, lettering(14))
        top += max(1, -(-len(tiles) // COLUMNS)) * row_height
    return np.array(sheet)


def _cut_out(tile: Tile) -> Image.Image:
    """Cut a square around the box; what lies outside the photo is black."""
    x, y, w, h = tile.box
    side = max(w, h) * (1 + 2 * AROUND)
    left, top = x + w / 2 - side / 2, y + h / 2 - side / 2
    grow = TILE / side
    photo = Image.fromarray(tile.pixels)
    cut = photo.transform(
        (TILE, TILE),
        Image.Transform.EXTENT,
        (left, top, left + side, top + side),
        Image.Resampling.BICUBIC,
    )
    corner = ((x - left) * grow, (y - top) * grow)
    pen = ImageDraw.Draw(cut)
    for margin, colour, line in ((2, UNDER_STROKE, 6), (0, tile.colour, 2)):
        left_top = (corner[0] - margin, corner[1] - margin)
        right_bottom = (corner[0] + w * grow + margin, corner[1] + h * grow + margin)
        pen.rectangle((left_top, right_bottom), outline=colour, width=line)
    return cut
