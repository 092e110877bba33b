"""Two visits of a joint side by side, with the turn of every nut drawn on both photos."""

from __future__ import annotations

import io
import math
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from visual_aid.files import write_atomically
from visual_aid.measure.visits import Comparison, NutTurn
from visual_aid.model import Candidate, Outline
from visual_aid.outputs.lettering import lettering, wrap
from visual_aid.outputs.palette import FASTENER_COLOUR, SIGN_STYLE, UNDER_STROKE
from visual_aid.outputs.wording import CAUTION
from visual_aid.photo import Photo

SIDE = 1000
"""Longest side of either photo as drawn, in pixels."""

_TEXT, _STEP, _MARGIN = 20, 30, 14
_PANEL, _INK = "#16181c", "#f4f4f4"

Pixels = NDArray[np.uint8]


@dataclass(frozen=True, slots=True)
class Dial:
    """A turn as the hands of a dial, in full pixels of the photo after; points as (x, y).

    Attributes
    ----------
    stood, stands : tuple of points
        Hands from the nut's middle: straight up in the photo before, and turned as far as the nut.
    doubt : tuple of points
        The sector within which two of three such measurements lie.
    """

    stood: Outline
    stands: Outline
    doubt: Outline


def dial(candidate: Candidate) -> Dial:
    """Give the dial of a nut that turned, drawn in the plane of the part within the candidate's outline."""
    rim = np.array(candidate.outline)
    middle = rim.mean(axis=0)
    turn, doubt = candidate.measures["turn_deg"], candidate.measures["uncertainty_deg"]
    bearings = np.linspace(0, 360, len(rim) + 1)  # the outline runs around once, from the right of 'before'

    def hand(degrees: float) -> tuple[float, float]:
        at = (degrees - 90) % 360
        x, y = (np.interp(at, bearings, [*rim[:, axis], rim[0, axis]]) for axis in (0, 1))
        return float(x), float(y)

    centre = float(middle[0]), float(middle[1])
    spread = np.linspace(turn - doubt, turn + doubt, 9)
    return Dial((centre, hand(0.0)), (centre, hand(turn)), (centre, *(hand(float(d)) for d in spread)))


def draw_turns(before: Photo, after: Photo, comparison: Comparison) -> Pixels:
    """Draw a comparison.

    Nuts that stayed are thin white circles; on nuts that turned, the hand of a dial runs from where the
    nut stood (straight up) by the turn.

    Returns
    -------
    ndarray of shape (h, w, 3), uint8
        sRGB: the photos side by side, what was found in words below.
    """
    sides = [
        _side(before, [(t.cx, t.cy) for t in comparison.turns], comparison, 0.0),
        _side(after, [t.after for t in comparison.turns], comparison, 1.0),
    ]
    width = sum(side.width for side in sides)
    lines = [
        line for text in _lines(comparison) for line in wrap(text, lettering(_TEXT), width - 2 * _MARGIN)
    ]
    height = max(side.height for side in sides)
    whole = Image.new("RGB", (width, height + _STEP * len(lines) + 2 * _MARGIN), _PANEL)
    whole.paste(sides[0], (0, 0))
    whole.paste(sides[1], (sides[0].width, 0))
    pen = ImageDraw.Draw(whole)
    for i, line in enumerate(lines):
        pen.text((_MARGIN, height + _MARGIN + i * _STEP), line, _INK, lettering(_TEXT))
    return np.array(whole)


def write_turns(path: Path, before: Photo, after: Photo, comparison: Comparison) -> None:
    """Write ``draw_turns`` as a JPEG file without any metadata of the cameras.

    Raises
    ------
    OSError
        The file cannot be written.
    """
    data = io.BytesIO()
    Image.fromarray(draw_turns(before, after, comparison)).save(data, "JPEG", quality=88)
    write_atomically(path, data.getvalue())


def _side(
    photo: Photo, centres: list[tuple[float, float]], comparison: Comparison, share: float
) -> Image.Image:
    """Draw one photo; ``share`` is how much of the turn the hands show."""
    height, width = photo.working.shape[:2]
    shrink = SIDE / max(width, height)
    size = round(width * shrink), round(height * shrink)
    picture = Image.fromarray(cv2.resize(photo.working, size, interpolation=cv2.INTER_AREA))
    pen = ImageDraw.Draw(picture)
    scale = size[0] / photo.info.width
    for number, (turn, (x, y)) in enumerate(zip(comparison.turns, centres, strict=True), start=1):
        centre = ((x + 0.5) * scale - 0.5, (y + 0.5) * scale - 0.5)
        _mark(pen, turn, number, centre, 1.4 * turn.radius * scale, share)
    return picture


def _mark(
    pen: ImageDraw.ImageDraw,
    turn: NutTurn,
    number: int,
    centre: tuple[float, float],
    radius: float,
    share: float,
) -> None:
    x, y = centre
    box = (x - radius, y - radius, x + radius, y + radius)
    colour, line = (SIGN_STYLE["turned"].colour, 4) if turn.turned else (FASTENER_COLOUR, 2)
    pen.ellipse(box, outline=UNDER_STROKE, width=line + 2)
    pen.ellipse(box, outline=colour, width=line)
    if turn.turned:
        bearing = math.radians(share * turn.turn - 90)
        end = (x + radius * math.cos(bearing), y + radius * math.sin(bearing))
        pen.line((centre, end), UNDER_STROKE, line + 3)
        pen.line((centre, end), colour, line)
    pen.text(
        (box[2] + 4, box[1]), str(number), colour, lettering(_TEXT), stroke_width=2, stroke_fill=UNDER_STROKE
    )


def _lines(comparison: Comparison) -> list[str]:
    if comparison.why is not None:
        return [f"Not compared: {comparison.why}.", CAUTION]
    lines = [f"{number}  {_in_words(turn)}" for number, turn in enumerate(comparison.turns, start=1)]
    if comparison.not_measured:
        lines.append(f"Not measured, too unlike in the two photos: {comparison.not_measured}.")
    lines += [f"New: {news.say}" for news in comparison.news]
    return [*lines, f"{comparison.before} and {comparison.after}.  {CAUTION}"]


def _in_words(turn: NutTurn) -> str:
    what = "turned" if turn.turned else "no turn seen"
    return f"{what}: {turn.turn:+.1f}°, clockwise positive, give or take {turn.uncertainty:.1f}°"
