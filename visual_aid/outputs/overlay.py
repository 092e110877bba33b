"""A screened photo with its fasteners and candidates drawn on it, and the reasons underneath."""

from __future__ import annotations

import io
import math
from collections.abc import Iterator, Sequence
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from visual_aid.evidence.frame import plane_to_image
from visual_aid.files import write_atomically
from visual_aid.model import Candidate, Fastener, Screening
from visual_aid.outputs.lettering import lettering, wrap
from visual_aid.outputs.palette import FASTENER_COLOUR, SIGN_STYLE, UNDER_STROKE
from visual_aid.outputs.wording import CAUTION
from visual_aid.records.entries import WEAK_SCORE

SIDE = 1600
"""Longest side of the drawn photo in pixels; smaller photos are enlarged, at most ``MOST_ENLARGED`` times."""
MOST_ENLARGED = 2.0

_LINE, _FASTENER_LINE, _TEXT = 3, 1, 20
_MARGIN = 14
_PANEL, _INK, _FAINT_INK = "#16181c", "#f4f4f4", "#b8bcc4"

Pixels = NDArray[np.uint8]
Rectangle = tuple[float, float, float, float]
"""Left, top, right, bottom in drawn pixels."""


def draw_overlay(pixels: Pixels, screening: Screening) -> Pixels:
    """Draw a record on its photo.

    Fasteners are thin white outlines. Each candidate is outlined in its cue's colour and dashes and
    carries its number, the cue in words and the score; the reasons stand below the photo by number.

    Parameters
    ----------
    pixels : ndarray of shape (H, W, 3), uint8
        Upright sRGB photo at any scale; the record's coordinates are scaled to fit.
    screening : Screening
        The photo's record.

    Returns
    -------
    ndarray of shape (h, w, 3), uint8
        sRGB. The photo's longest side becomes ``SIDE`` pixels; the strip with reasons adds height.
    """
    height, width = pixels.shape[:2]
    grow = min(SIDE / max(width, height), MOST_ENLARGED)
    size = round(width * grow), round(height * grow)
    how = cv2.INTER_AREA if grow < 1 else cv2.INTER_CUBIC
    canvas = np.asarray(cv2.resize(pixels, size, interpolation=how), np.uint8)
    scale = size[0] / screening.photo.width

    def placed(outline: NDArray[np.float64]) -> NDArray[np.float64]:
        # Whole numbers are pixel centres in the record and here.
        drawn: NDArray[np.float64] = (outline + 0.5) * scale - 0.5
        return drawn

    fasteners = [placed(_fastener_outline(f)) for f in screening.fasteners]

    drawn = sorted((c for c in screening.candidates if c.score >= WEAK_SCORE), key=lambda c: -c.score)
    candidates = [(c, placed(_candidate_outline(c))) for c in drawn]
    for outline in fasteners:
        _stroke(canvas, outline, FASTENER_COLOUR, (), _FASTENER_LINE)
    for candidate, outline in candidates[::-1]:
        style = SIGN_STYLE[candidate.cue]
        _stroke(canvas, outline, style.colour, style.dash, _LINE)

    picture = Image.fromarray(canvas)
    _label(picture, candidates, [_bounds(outline) for outline in fasteners])
    strip = _reasons(screening, drawn, size[0])
    whole = Image.new("RGB", (size[0], size[1] + strip.height))
    whole.paste(picture, (0, 0))
    whole.paste(strip, (0, size[1]))
    return np.array(whole)


def write_overlay(path: Path, pixels: Pixels, screening: Screening) -> None:
    """Write ``draw_overlay`` as a JPEG file without any metadata of the camera.

    Raises
    ------
    OSError
        The file cannot be written.
    """
    data = io.BytesIO()
    Image.fromarray(draw_overlay(pixels, screening)).save(data, "JPEG", quality=88)
    write_atomically(path, data.getvalue())


def _fastener_outline(fastener: Fastener) -> NDArray[np.float64]:
    """Give the hexagon where its angle is known, else the circle, as seen at the fastener's tilt."""
    if fastener.angle is None:
        bearings, reach = np.radians(np.arange(0, 360, 6)), 1.0
    else:
        bearings, reach = np.radians(fastener.angle + np.arange(0, 360, 60)), 2 / math.sqrt(3)
    circle = reach * np.column_stack([np.cos(bearings), np.sin(bearings)])
    outline: NDArray[np.float64] = circle @ plane_to_image(fastener).T + (fastener.cx, fastener.cy)
    return outline


def _candidate_outline(candidate: Candidate) -> NDArray[np.float64]:
    if len(candidate.outline) >= 3:
        return np.array(candidate.outline)
    x, y, w, h = candidate.box
    return np.array([(x, y), (x + w, y), (x + w, y + h), (x, y + h)])


def _stroke(
    canvas: Pixels, outline: NDArray[np.float64], colour: str, dash: Sequence[int], line: int
) -> None:
    """Draw a closed outline: an unbroken dark under-stroke, then the coloured dashes."""
    closed = np.vstack([outline, outline[:1]])
    _polyline(canvas, closed, UNDER_STROKE, line + 4 if line > 1 else 3)
    # The line's round ends lengthen every dash by the line's width.
    lengths = [(d + 1 if i % 2 else d - 1) * line for i, d in enumerate(dash)]
    for piece in _dashes(closed, lengths) if dash else [closed]:
        _polyline(canvas, piece, colour, line)


def _polyline(canvas: Pixels, points: NDArray[np.float64], colour: str, line: int) -> None:
    # Fixed point with four fractional bits, so that outlines do not jump by whole pixels.
    cv2.polylines(canvas, [np.round(points * 16).astype(np.int32)], False, _rgb(colour), line, cv2.LINE_AA, 4)


def _dashes(line: NDArray[np.float64], lengths: Sequence[float]) -> Iterator[NDArray[np.float64]]:
    """Cut a polyline into the drawn pieces of a dash pattern (drawn, left out, drawn, ...)."""
    steps = np.hypot(*np.diff(line, axis=0).T)
    along = np.concatenate([[0.0], np.cumsum(steps)])
    at, i = 0.0, 0
    while at < along[-1]:
        end = min(at + lengths[i % len(lengths)], along[-1])
        if i % 2 == 0:
            where = np.concatenate([[at], along[(along > at) & (along < end)], [end]])
            yield np.column_stack([np.interp(where, along, line[:, k]) for k in (0, 1)])
        at, i = end, i + 1


def _label(
    picture: Image.Image,
    drawn: Sequence[tuple[Candidate, NDArray[np.float64]]],
    keep_clear: Sequence[Rectangle],
) -> None:
    """Write number, cue and score beside each candidate's outline, with a leader to it."""
    pen, font = ImageDraw.Draw(picture), lettering(_TEXT)
    outlines = [_bounds(outline) for _, outline in drawn]
    placed: list[Rectangle] = []
    for (candidate, outline), bounds in zip(drawn, outlines, strict=True):
        style = SIGN_STYLE[candidate.cue]
        text = f"{candidate.id}  {style.label}  {candidate.score:.2f}"
        left, top, right, bottom = font.getbbox(text)
        size = (right - left + 2 * _MARGIN, bottom - top + _MARGIN)
        x0, y0, x1, y1 = place = _place(size, picture.size, bounds, placed, [*outlines, *keep_clear])
        placed.append(place)

        nearest = np.clip(outline, (x0, y0), (x1, y1))
        i = int(np.argmin(np.hypot(*(outline - nearest).T)))
        leader = [tuple(nearest[i]), tuple(outline[i])]
        pen.line(leader, UNDER_STROKE, _LINE + 4)
        pen.line(leader, style.colour, _LINE)
        pen.rectangle(place, _PANEL, style.colour, 2)
        pen.rectangle((x0, y0, x0 + 7, y1), style.colour)
        pen.text((x0 + _MARGIN + 3 - left, y0 + _MARGIN / 2 - top), text, _INK, font)


def _place(
    size: tuple[float, float],
    picture: tuple[int, int],
    own: Rectangle,
    taken: Sequence[Rectangle],
    better_clear: Sequence[Rectangle],
) -> Rectangle:
    """Choose a label's place on a grid: near its own outline, on no other label, covering little else."""
    width, height = size
    xs = np.arange(2.0, max(3.0, picture[0] - width - 2), 8)
    ys = np.arange(2.0, max(3.0, picture[1] - height - 2), 8)
    x, y = np.meshgrid(xs, ys)

    def covered(other: Rectangle, gap: float) -> NDArray[np.float64]:
        across = np.minimum(x + width, other[2] + gap) - np.maximum(x, other[0] - gap)
        down = np.minimum(y + height, other[3] + gap) - np.maximum(y, other[1] - gap)
        area: NDArray[np.float64] = np.clip(across, 0, None) * np.clip(down, 0, None)
        return area

    aside = np.maximum(np.maximum(own[0] - (x + width), x - own[2]), 0)
    above = np.maximum(np.maximum(own[1] - (y + height), y - own[3]), 0)
    cost = np.hypot(aside, above) / height
    cost += covered(own, 4) > 0
    for other in better_clear:
        cost += 4 * covered(other, 4) / (width * height)
    for other in taken:
        cost += 1e3 * (covered(other, 6) > 0)
    row, column = np.unravel_index(np.argmin(cost), cost.shape)
    left, top = float(xs[column]), float(ys[row])
    return left, top, left + width, top + height


def _reasons(screening: Screening, drawn: Sequence[Candidate], width: int) -> Image.Image:
    """Write the strip under the photo: every drawn candidate's reason by number, and what stayed silent."""
    font = lettering(_TEXT)
    lines: list[tuple[str, str, str]] = []  # a candidate's colour or nothing, text, ink
    for candidate in drawn:
        style = SIGN_STYLE[candidate.cue]
        text = f"{candidate.id}  {style.label}  {candidate.score:.2f}:  {candidate.reason}"
        first, *rest = wrap(text, font, width - 60)
        lines += [(style.colour, first, _INK), *(("", line, _INK) for line in rest)]
    for note in _notes(screening, len(screening.candidates) - len(drawn)):
        lines += [("", line, _FAINT_INK) for line in wrap(note, font, width - 60)]

    step = 30
    strip = Image.new("RGB", (width, step * len(lines) + 2 * _MARGIN), _PANEL)
    pen = ImageDraw.Draw(strip)
    for i, (colour, line, ink) in enumerate(lines):
        y = _MARGIN + i * step
        if colour:
            pen.rectangle((_MARGIN, y + 4, _MARGIN + 14, y + 22), colour)
        pen.text((_MARGIN + 28, y), line, ink, font)
    return strip


def _notes(screening: Screening, weak: int) -> list[str]:
    """Say what the photo as a whole calls for; ``weak`` candidates are not drawn."""
    judged = screening.quality.usable
    notes = ["Nothing flagged on this photo."] if judged and not screening.candidates else []
    notes += [problem.say for problem in screening.quality.problems]
    if weak:
        notes.append(f"Weaker candidates (score under {WEAK_SCORE}) not drawn: {weak}.")
    silent: dict[str, list[str]] = {}
    for n in screening.not_judged:
        silent.setdefault(n.why, []).append(SIGN_STYLE[n.cue].label.lower())
    notes += [f"Not judged: {', '.join(labels)} ({why})." for why, labels in silent.items()]
    return [*notes, f"{screening.photo.name}.  {CAUTION}"]


def _bounds(outline: NDArray[np.float64]) -> Rectangle:
    (x0, y0), (x1, y1) = outline.min(axis=0), outline.max(axis=0)
    return float(x0), float(y0), float(x1), float(y1)


def _rgb(colour: str) -> tuple[int, int, int]:
    red, green, blue = bytes.fromhex(colour.removeprefix("#"))
    return red, green, blue
