"""A measurement drawn on its photos, with its words underneath."""

from __future__ import annotations

import io
from collections.abc import Sequence
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from visual_aid.files import write_atomically
from visual_aid.measure.measurement import OUTCOME_WORDS, Measurement
from visual_aid.measure.wear import WEAR_KINDS
from visual_aid.model import Box
from visual_aid.outputs.lettering import lettering, wrap
from visual_aid.outputs.palette import UNDER_STROKE
from visual_aid.photo import Photo

SIDE = 1200
"""Longest side of a drawn photo in pixels."""
NEAR, AROUND, BOLD = 480, 0.15, 2
"""Longest side in pixels of a part seen from near; share of its box shown around it; how many times as thick
its lines are, since a page shows it at half its size."""
BOX_COLOUR, MARK_COLOUR = "#ffffff", "#00e5ff"
"""Of the person's box and of what was measured: cyan is rare under a truck."""
_TEXT, _STEP, _MARGIN = 20, 30, 14
_PANEL, _INK = "#16181c", "#f4f4f4"

Pixels = NDArray[np.uint8]


def draw_measurement(photos: Sequence[Photo], measurement: Measurement) -> Pixels:
    """Draw a measurement: boxes, what was measured in them, and the reason in words below.

    Returns
    -------
    ndarray of shape (h, w, 3), uint8
        sRGB, the photos side by side.
    """
    sides = [_side(photo, measurement, number) for number, photo in enumerate(photos)]
    width, height = sum(side.width for side in sides), max(side.height for side in sides)
    font = lettering(_TEXT)
    lines = [line for text in in_words(measurement) for line in wrap(text, font, width - 2 * _MARGIN)]
    whole = Image.new("RGB", (width, height + _STEP * len(lines) + 2 * _MARGIN), _PANEL)
    left = 0
    for side in sides:
        whole.paste(side, (left, 0))
        left += side.width
    pen = ImageDraw.Draw(whole)
    for i, line in enumerate(lines):
        pen.text((_MARGIN, height + _MARGIN + i * _STEP), line, _INK, font)
    return np.array(whole)


def write_measurement(path: Path, photos: Sequence[Photo], measurement: Measurement) -> None:
    """Write ``draw_measurement`` as a JPEG file without any metadata of the camera.

    Raises
    ------
    OSError
        The file cannot be written.
    """
    data = io.BytesIO()
    Image.fromarray(draw_measurement(photos, measurement)).save(data, "JPEG", quality=88)
    write_atomically(path, data.getvalue())


def in_words(measurement: Measurement) -> list[str]:
    """Say a measurement in lines: outcome, reason, limit and its source, cautions."""
    lines = [f"{WEAR_KINDS[measurement.wear].label}. {OUTCOME_WORDS[measurement.outcome]}."]
    lines.append(f"{measurement.reason[:1].upper()}{measurement.reason[1:]}.")
    if measurement.limit is not None:
        lines.append(
            f"Limit: {measurement.limit.say} ({measurement.limit.source}). The maker's figure goes first."
        )
    if measurement.scale is not None:
        lines.append(f"Millimetres from {measurement.scale}.")
    return [*lines, *measurement.cautions]


def _side(photo: Photo, measurement: Measurement, number: int) -> Image.Image:
    height, width = photo.working.shape[:2]
    shrink = min(1.0, SIDE / max(width, height))
    size = round(width * shrink), round(height * shrink)
    picture = Image.fromarray(cv2.resize(photo.working, size, interpolation=cv2.INTER_AREA))
    scale = size[0] / photo.info.width
    _draw(picture, measurement, number, scale, (0.0, 0.0))
    return picture


def draw_part(photo: Photo, measurement: Measurement, number: int, box: Box) -> Pixels:
    """Draw a boxed part from near, with what was measured on it.

    Parameters
    ----------
    number : int
        Which of the measurement's photos it is, from 0.
    box : Box
        The part, in full pixels.

    Returns
    -------
    ndarray of shape (h, w, 3), uint8
        sRGB, its longer side ``NEAR`` pixels.
    """
    x, y, w, h = box
    left, top = max(0, round(x - AROUND * w)), max(0, round(y - AROUND * h))
    right = min(photo.info.width, round(x + (1 + AROUND) * w))
    bottom = min(photo.info.height, round(y + (1 + AROUND) * h))
    part = photo.full[top : max(bottom, top + 1), left : max(right, left + 1)]
    scale = NEAR / max(part.shape[:2])
    size = max(1, round(part.shape[1] * scale)), max(1, round(part.shape[0] * scale))
    how = cv2.INTER_AREA if scale < 1 else cv2.INTER_CUBIC
    picture = Image.fromarray(cv2.resize(part, size, interpolation=how))
    _draw(picture, measurement, number, scale, (left, top), BOLD)
    return np.array(picture)


def _draw(
    picture: Image.Image,
    measurement: Measurement,
    number: int,
    scale: float,
    corner: tuple[float, float],
    bold: int = 1,
) -> None:
    """Draw the boxes and marks of one photo into a picture whose upper left pixel is ``corner`` of it."""
    pen = ImageDraw.Draw(picture)

    def placed(points: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
        return [((x - corner[0] + 0.5) * scale - 0.5, (y - corner[1] + 0.5) * scale - 0.5) for x, y in points]

    alone = len(measurement.photos) == 1
    for i, (x, y, w, h) in enumerate(measurement.boxes):
        if alone or i == number:
            corners = placed([(x, y), (x + w, y), (x + w, y + h), (x, y + h), (x, y)])
            pen.line(corners, UNDER_STROKE, 4 * bold)
            pen.line(corners, BOX_COLOUR, 2 * bold)
    for mark in measurement.marks:
        if mark.photo == number:
            points = placed([*mark.outline, *(mark.outline[:1] if mark.closed else ())])
            pen.line(points, UNDER_STROKE, 5 * bold, joint="curve")
            pen.line(points, MARK_COLOUR, 2 * bold, joint="curve")
