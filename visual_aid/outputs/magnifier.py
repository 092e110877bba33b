"""A fastener seen head on, gravity down, with what was measured at it drawn in."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from visual_aid.evidence.frame import BOTTOM, LEFT, RIGHT, TOP, Frame, build_frames
from visual_aid.fasteners.lean import add_lean
from visual_aid.model import Candidate, Fastener, Sign
from visual_aid.outputs.lettering import lettering
from visual_aid.outputs.palette import FASTENER_COLOUR, SIGN_STYLE, UNDER_STROKE
from visual_aid.photo import Photo

PIXELS_PER_RADIUS = 64
"""Of the drawn picture; a nut of a phone's photo has about as many."""
AROUND = 1.0
"""What is shown around a mark without a fastener, in lengths of its longer side."""
SIDE = 448

Pixels = NDArray[np.uint8]
Point = tuple[float, float]
Figures = Mapping[str, float]


def magnify(photo: Photo, fasteners: Sequence[Fastener], candidate: Candidate) -> Pixels:
    """Draw the rectified surroundings of a candidate's fastener, its outline and its main measure.

    A candidate without a fastener of its own is shown as it lies in the photo, enlarged.

    Parameters
    ----------
    photo : Photo
        The photo of the record.
    fasteners : sequence of Fastener
        All of the photo's; their lean is read off the pixels again, since a record does not keep it.
    candidate : Candidate
        What to show.

    Returns
    -------
    ndarray of shape (H, W, 3), uint8
        sRGB.
    """
    leaning = add_lean(photo, fasteners)
    own = [f for f in leaning if f.id == candidate.fastener]
    if not own:
        return _enlarged(photo, candidate)
    (frame,) = build_frames(photo, own)
    drawing = _Drawing(_rectified(photo, frame), candidate, (LEFT, TOP), PIXELS_PER_RADIUS)
    drawing.circle((0.0, 0.0), 1.0)
    outline = [frame.from_photo(x, y) for x, y in candidate.outline]
    drawing.outline(outline)
    name, gauge = _GAUGES.get(candidate.cue, ("", None))
    if gauge is not None and outline and name in candidate.measures:
        seat = frame.from_photo(*(own[0].seat or frame.origin))
        gauge(drawing, np.array(outline), candidate.measures, seat)
    return drawing.pixels()


class _Drawing:
    """Lines on a picture whose coordinates start at ``origin`` and count ``scale`` pixels each."""

    def __init__(self, pixels: Pixels, candidate: Candidate, origin: Point, scale: float) -> None:
        self._origin, self._scale = origin, scale
        self._picture = Image.fromarray(pixels)
        self._pen = ImageDraw.Draw(self._picture)
        self._colour = SIGN_STYLE[candidate.cue].colour

    def pixels(self) -> Pixels:
        return np.asarray(self._picture)

    def circle(self, centre: Point, radius: float) -> None:
        around = np.radians(np.arange(0, 361, 6))
        self._line(np.column_stack([np.cos(around), np.sin(around)]) * radius + centre, FASTENER_COLOUR, 2)

    def outline(self, points: Sequence[Point]) -> None:
        if len(points) > 2:
            self._line(np.array([*points, points[0]]), self._colour, 3)

    def gauge(self, points: NDArray[np.float64], text: str) -> None:
        """Draw a measured length or arc with bars across its ends and its figure beside it."""
        self._line(points, FASTENER_COLOUR, 3)
        for end, before in ((points[0], points[1]), (points[-1], points[-2])):
            way = (end - before) / max(float(np.hypot(*(end - before))), 1e-9)
            bar = 0.18 * np.array([-way[1], way[0]])
            self._line(np.array([end - bar, end + bar]), FASTENER_COLOUR, 3)
        if text:
            self.text(points[len(points) // 2], text)

    def ray(self, centre: Point, bearing: float, reach: tuple[float, float], colour: str) -> None:
        way = np.array([math.cos(math.radians(bearing)), math.sin(math.radians(bearing))])
        self._line(np.array([np.array(centre) + r * way for r in reach]), colour, 4)

    def text(self, at: NDArray[np.float64], text: str) -> None:
        font = lettering(26)
        x, y = self._pixel(at)
        left, top, right, bottom = font.getbbox(text)
        wide, high = right - left + 14, bottom - top + 12
        x = min(max(4.0, x + 14), self._picture.width - wide - 4)
        y = min(max(4.0, y - high / 2), self._picture.height - high - 4)
        self._pen.rectangle((x, y, x + wide, y + high), "#111518", self._colour, 2)
        self._pen.text((x + 7 - left, y + 6 - top), text, "#ffffff", font)

    def _line(self, points: NDArray[np.float64], colour: str, width: int) -> None:
        path = [self._pixel(p) for p in points]
        for ink, line in ((UNDER_STROKE, width + 3), (colour, width)):
            self._pen.line(path, ink, line, joint="curve")

    def _pixel(self, point: Sequence[float] | NDArray[np.float64]) -> Point:
        left, top = self._origin
        return (point[0] - left) * self._scale - 0.5, (point[1] - top) * self._scale - 0.5


def _run(drawing: _Drawing, outline: NDArray[np.float64], measures: Figures, _: Point) -> None:
    """Draw a run's length: along the middle of its outline, from its start to its end.

    A run too faint to follow has a length of 0 and keeps its outline alone.
    """
    if measures["length_r"] == 0:
        return
    top, bottom = outline[:, 1].min(), outline[:, 1].max()
    slice_ = 0.2 * (bottom - top)
    ends = [outline[outline[:, 1] <= top + slice_], outline[outline[:, 1] >= bottom - slice_]]
    middles = [((e[:, 0].min() + e[:, 0].max()) / 2, y) for e, y in zip(ends, (top, bottom), strict=True)]
    drawing.gauge(np.array(middles), f"{measures['length_r']:.1f} r")


def _arc(drawing: _Drawing, outline: NDArray[np.float64], measures: Figures, seat: Point) -> None:
    """Draw the arc around the seat, beside the outline of the cracked paint."""
    away = outline - seat
    bearings = np.sort(np.degrees(np.arctan2(away[:, 1], away[:, 0])))
    gaps = np.diff([*bearings, bearings[0] + 360])
    start = bearings[(int(np.argmax(gaps)) + 1) % len(bearings)]
    reach = float(np.hypot(*away.T).max()) + 0.25
    along = np.radians(np.linspace(start, start + measures["arc_deg"], 60))
    points = np.column_stack([np.cos(along), np.sin(along)]) * reach + seat
    drawing.gauge(points, f"{measures['arc_deg']:.0f}°")


def _angle(drawing: _Drawing, outline: NDArray[np.float64], measures: Figures, seat: Point) -> None:
    """Draw the stripe's direction on the surface, and where its part on the nut stands."""
    surface, offset = measures["surface_deg"], measures["offset_deg"]
    drawing.ray(seat, surface, (0.0, 2.6), FASTENER_COLOUR)
    drawing.ray(seat, surface + offset, (0.0, 1.5), SIGN_STYLE["stripe_offset"].colour)
    along = np.radians(np.linspace(surface, surface + offset, 30))
    arc = np.column_stack([np.cos(along), np.sin(along)])
    drawing.gauge(1.4 * arc + seat, "")
    drawing.text(2.2 * arc[len(arc) // 2] + seat, f"{abs(offset):.0f}°")


def _height(drawing: _Drawing, outline: NDArray[np.float64], measures: Figures, _: Point) -> None:
    """Draw a gap's height, at the middle of its band."""
    # The outline runs along the upper edge and back along the lower.
    at = len(outline) // 4
    drawing.gauge(outline[[at, len(outline) - 1 - at]], f"{measures['width_r']:.2f} r")


_Gauge = Callable[[_Drawing, NDArray[np.float64], Figures, Point], None]
_GAUGES: Mapping[Sign, tuple[str, _Gauge]] = {
    "rust_trail": ("length_r", _run),
    "dust_trail": ("length_r", _run),
    "paint_break": ("arc_deg", _arc),
    "stripe_offset": ("surface_deg", _angle),
    "gap": ("width_r", _height),
}
"""What is drawn of each cue, where the record holds that measure."""


def _rectified(photo: Photo, frame: Frame) -> Pixels:
    """Sample the full photo in a frame, smoothed where it is finer than the picture."""
    size = round((RIGHT - LEFT) * PIXELS_PER_RADIUS), round((BOTTOM - TOP) * PIXELS_PER_RADIUS)
    corners = frame.to_photo([(LEFT, TOP), (RIGHT, TOP), (RIGHT, BOTTOM), (LEFT, BOTTOM)])
    (x0, y0), (x1, y1) = np.floor(corners.min(axis=0)) - 8, np.ceil(corners.max(axis=0)) + 8
    height, width = photo.full.shape[:2]
    x0, y0 = int(np.clip(x0, 0, width - 1)), int(np.clip(y0, 0, height - 1))
    x1, y1 = int(np.clip(x1, x0 + 1, width)), int(np.clip(y1, y0 + 1, height))
    cut = photo.full[y0:y1, x0:x1]
    shrink = frame.fastener.radius / PIXELS_PER_RADIUS
    if shrink > 1:
        cut = np.asarray(cv2.GaussianBlur(cut, (0, 0), 0.5 * shrink), np.uint8)
    step = frame.matrix / PIXELS_PER_RADIUS
    half = 0.5 / PIXELS_PER_RADIUS
    start = frame.to_photo([(LEFT + half, TOP + half)])[0] - (x0, y0)
    warp = np.column_stack([step, start])
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    return np.asarray(cv2.warpAffine(cut, warp, size, flags=flags, borderMode=cv2.BORDER_CONSTANT), np.uint8)


def _enlarged(photo: Photo, candidate: Candidate) -> Pixels:
    x, y, w, h = candidate.box
    margin = AROUND * max(w, h)
    cut = photo.crop(x - margin, y - margin, w + 2 * margin, h + 2 * margin)
    scale = SIDE / max(cut.shape[:2])
    size = max(1, round(cut.shape[1] * scale)), max(1, round(cut.shape[0] * scale))
    how = cv2.INTER_AREA if scale < 1 else cv2.INTER_CUBIC
    enlarged = np.asarray(cv2.resize(cut, size, interpolation=how), np.uint8)
    # Whole numbers are pixel centres, so the cut begins half a pixel before its first.
    corner = max(0, math.floor(x - margin)) - 0.5, max(0, math.floor(y - margin)) - 0.5
    drawing = _Drawing(enlarged, candidate, corner, scale)
    drawing.outline(candidate.outline)
    return drawing.pixels()
