"""Line charts as pictures."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from visual_aid.outputs.lettering import lettering

WIDTH, HEIGHT = 1100, 800
_LEFT, _TOP, _RIGHT, _BOTTOM = 90, 60, 380, 80
_SMOOTH = 2  # drawn so many times larger, then shrunk

_PAPER, _INK, _GRID = "#ffffff", "#222222", "#dddddd"


@dataclass(frozen=True, slots=True)
class Line:
    """One line of a chart: points with coordinates 0 to 1, ``colour`` as ``#rrggbb``."""

    label: str
    colour: str
    x: Sequence[float]
    y: Sequence[float]


def draw_chart(title: str, x_label: str, y_label: str, lines: Sequence[Line]) -> NDArray[np.uint8]:
    """Draw lines in a unit square with a legend beside it.

    Returns
    -------
    ndarray of shape (HEIGHT, WIDTH, 3), uint8
        sRGB.
    """
    big = Image.new("RGB", (WIDTH * _SMOOTH, HEIGHT * _SMOOTH), _PAPER)
    pen = ImageDraw.Draw(big)

    def at(x: float, y: float) -> tuple[float, float]:
        across = _LEFT + x * (WIDTH - _LEFT - _RIGHT)
        down = HEIGHT - _BOTTOM - y * (HEIGHT - _TOP - _BOTTOM)
        return across * _SMOOTH, down * _SMOOTH

    for tick in np.linspace(0, 1, 6):
        pen.line([at(tick, 0), at(tick, 1)], _GRID, _SMOOTH)
        pen.line([at(0, tick), at(1, tick)], _GRID, _SMOOTH)
    pen.line([at(0, 1), at(0, 0), at(1, 0)], _INK, 2 * _SMOOTH)
    for line in lines:
        pen.line([at(x, y) for x, y in zip(line.x, line.y, strict=True)], line.colour, 3 * _SMOOTH, "curve")
    picture = big.resize((WIDTH, HEIGHT), Image.Resampling.LANCZOS)

    pen = ImageDraw.Draw(picture)
    small, large = lettering(16), lettering(22)
    middle = (_LEFT + WIDTH - _RIGHT) / 2
    pen.text((_LEFT, 8), title, _INK, large)
    pen.text((middle, HEIGHT - 18), x_label, _INK, small, anchor="mb")
    pen.text((_LEFT, _TOP - 8), y_label, _INK, small, anchor="lb")
    for tick in np.linspace(0, 1, 6):
        x, y = at(tick, tick)
        pen.text((x / _SMOOTH, HEIGHT - _BOTTOM + 8), f"{tick:.1f}", _INK, small, anchor="mt")
        pen.text((_LEFT - 10, y / _SMOOTH), f"{tick:.1f}", _INK, small, anchor="rm")
    for i, line in enumerate(lines):
        y = _TOP + 20 + 32 * i
        pen.line([(WIDTH - _RIGHT + 24, y), (WIDTH - _RIGHT + 60, y)], line.colour, 5)
        pen.text((WIDTH - _RIGHT + 70, y), line.label, _INK, small, anchor="lm")
    return np.array(picture)
