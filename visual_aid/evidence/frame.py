"""The nut's own frame: a rectified patch around a fastener, gravity down, one nut radius long units.

Frame coordinates are (u, v): u to the right, v along gravity, one unit half the width across flats in the
plane of the part. The origin is the centre of the fastener's top in a face frame, and the point where its
axis meets the surface in a seat frame: cues on the nut look at the former, cues on the surface at the
latter. The tilt of the view is undone with the fastener's tilt ellipse (orthographic within the patch), so
a circle around the nut is a circle here.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import cv2
import numpy as np
from numpy.typing import NDArray

from visual_aid.colour import srgb_to_lab
from visual_aid.model import Box, Fastener, Outline
from visual_aid.photo import Photo

PIXELS_PER_RADIUS = 20
LEFT, TOP, RIGHT, BOTTOM = -3.5, -3.0, 3.5, 6.0
WIDTH = round((RIGHT - LEFT) * PIXELS_PER_RADIUS)
HEIGHT = round((BOTTOM - TOP) * PIXELS_PER_RADIUS)
# Standard deviation, in r, of the blur that takes grain off.
SMOOTH = 0.06
# Beyond this tilt the far side of a nut hides what lies behind it and the patch smears.
MOST_TILT = 60.0
# A nut's flange or washer reaches this far; other fasteners are masked out to here.
SKIRT = 1.5
# A hexagon's corners reach 1.155; with a little blur.
BODY = 1.2

Coordinates = NDArray[np.floating]

_U, _V = np.meshgrid(
    LEFT + (np.arange(WIDTH, dtype=np.float32) + 0.5) / PIXELS_PER_RADIUS,
    TOP + (np.arange(HEIGHT, dtype=np.float32) + 0.5) / PIXELS_PER_RADIUS,
)
RADIUS: NDArray[np.float32] = np.hypot(_U, _V)
# Clockwise as seen from u to the right: 0 right, 90 below (along gravity), -90 above.
BEARING: NDArray[np.float32] = np.degrees(np.arctan2(_V, _U)).astype(np.float32)
U, V = _U, _V
_ROWS, _COLUMNS = np.mgrid[0:HEIGHT, 0:WIDTH].astype(np.float32)
_CORNERS = np.array([[0, WIDTH - 1, 0, WIDTH - 1], [0, 0, HEIGHT - 1, HEIGHT - 1], [1, 1, 1, 1]], float)
# Pixels by which a frame lies within the photo where its corners alone settle it, whatever is rounded.
_MARGIN = 0.01


def plane_to_image(fastener: Fastener) -> NDArray[np.float64]:
    """Give the 2 x 2 matrix from the part's plane (nut radii) to the full photo (pixels).

    A circle of the plane with radius one becomes the fastener's tilt ellipse: semi-axes R along
    ``tilt_axis`` and R cos(tilt) across it, with R^2 cos(tilt) = radius^2 (equal area).
    """
    tilt = math.radians(min(fastener.tilt or 0.0, MOST_TILT))
    axis = math.radians(fastener.tilt_axis or 0.0)
    long = fastener.radius / math.sqrt(math.cos(tilt))
    turn = np.array([[math.cos(axis), -math.sin(axis)], [math.sin(axis), math.cos(axis)]])
    matrix: NDArray[np.float64] = turn @ np.diag([long, long * math.cos(tilt)]) @ turn.T
    return matrix


@dataclass(frozen=True)
class Frame:
    """One fastener's rectified patch.

    Attributes
    ----------
    rgb : ndarray of shape (HEIGHT, WIDTH, 3), uint8
        sRGB.
    valid : ndarray of shape (HEIGHT, WIDTH), bool
        Inside the photo and not on another fastener.
    matrix : ndarray of shape (2, 2)
        From frame coordinates to full-photo pixels, about the fastener's centre.
    origin : (float, float)
        Where (0, 0) lies in the full photo.
    """

    fastener: Fastener
    rgb: NDArray[np.uint8]
    valid: NDArray[np.bool_]
    matrix: NDArray[np.float64]
    origin: tuple[float, float]

    @cached_property
    def smooth(self) -> NDArray[np.uint8]:
        """The patch without the grain of single pixels, sRGB, of the shape of ``rgb``."""
        return smoothed(self.rgb)

    @cached_property
    def lab(self) -> NDArray[np.float32]:
        """CIELAB D65 of the patch, shape (HEIGHT, WIDTH, 3)."""
        return srgb_to_lab(self.rgb)

    def to_photo(self, points: NDArray[np.floating] | Sequence[tuple[float, float]]) -> NDArray[np.float64]:
        """Map frame coordinates (N, 2) to full-photo pixels (N, 2)."""
        out: NDArray[np.float64] = np.asarray(points, float) @ self.matrix.T + self.origin
        return out

    def from_photo(self, x: float, y: float) -> tuple[float, float]:
        """Map one full-photo pixel to frame coordinates."""
        u, v = np.linalg.solve(self.matrix, (x - self.origin[0], y - self.origin[1]))
        return float(u), float(v)

    @cached_property
    def body(self) -> NDArray[np.bool_]:
        """Where the fastener's own body hides the surface: from its seat to above its top."""
        u, v = self.from_photo(self.fastener.cx, self.fastener.cy)
        # A stud's end stands about as far above the top again as it takes to see it: half the lean.
        u, v = 1.5 * u, 1.5 * v
        along = np.clip((U * u + V * v) / max(u * u + v * v, 1e-9), 0, 1)
        hidden: NDArray[np.bool_] = np.hypot(U - along * u, V - along * v) < BODY
        return hidden

    @cached_property
    def away(self) -> NDArray[np.float32]:
        """Distance from the fastener's own body in r, shape (HEIGHT, WIDTH)."""
        distance = cv2.distanceTransform((~self.body).astype(np.uint8), cv2.DIST_L2, 3)
        return np.asarray(distance / PIXELS_PER_RADIUS, np.float32)

    def outline(self, points: NDArray[np.floating] | Sequence[tuple[float, float]]) -> Outline:
        """Give a polygon of frame coordinates as an outline in full-photo pixels."""
        return tuple((float(x), float(y)) for x, y in self.to_photo(points))


def pixel_of(u: Coordinates, v: Coordinates) -> tuple[Coordinates, Coordinates]:
    """Give column and row of frame coordinates, in pixels of a patch; the first pixel's centre is 0."""
    return (u - LEFT) * PIXELS_PER_RADIUS - 0.5, (v - TOP) * PIXELS_PER_RADIUS - 0.5


def smoothed(rgb: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Take the grain of single pixels off a rectified patch (sRGB, ``PIXELS_PER_RADIUS``)."""
    return cv2.GaussianBlur(rgb, (0, 0), SMOOTH * PIXELS_PER_RADIUS).astype(np.uint8, copy=False)


def box_of(outline: Outline) -> Box:
    """Give the upright box [x, y, width, height] around an outline."""
    points = np.asarray(outline)
    (x0, y0), (x1, y1) = points.min(axis=0), points.max(axis=0)
    return float(x0), float(y0), float(x1 - x0), float(y1 - y0)


def build_frames(
    photo: Photo,
    fasteners: Sequence[Fastener],
    gravity: tuple[float, float] = (0.0, 1.0),
    *,
    on_seat: bool = False,
    among: Sequence[Fastener] | None = None,
) -> tuple[Frame, ...]:
    """Rectify the surroundings of every fastener.

    Parameters
    ----------
    gravity : (float, float)
        Unit vector of gravity in the upright photo, y down.
    on_seat : bool
        Put the origin where the fastener meets its surface instead of on its top.
    among : sequence of Fastener, optional
        What hides the surface, where that is not these fasteners themselves.
    """
    others = fasteners if among is None else among
    return tuple(
        _frame(photo, fastener, others, gravity, _origin(fastener, on_seat)) for fastener in fasteners
    )


def _origin(fastener: Fastener, on_seat: bool) -> tuple[float, float]:
    if on_seat and fastener.seat is not None:
        return fastener.seat
    return fastener.cx, fastener.cy


def _frame(
    photo: Photo,
    fastener: Fastener,
    others: Sequence[Fastener],
    gravity: tuple[float, float],
    origin: tuple[float, float],
) -> Frame:
    tilted = plane_to_image(fastener)
    down = np.linalg.solve(tilted, np.asarray(gravity, float))
    down /= np.hypot(*down)
    # Columns: where u and v point in the plane. v is down; u lies a quarter turn anticlockwise from it.
    matrix = tilted @ np.array([[down[1], down[0]], [-down[0], down[1]]])
    held = fastener.radius / photo.scale  # working pixels per nut radius
    level = int(np.clip(math.log2(max(held / PIXELS_PER_RADIUS, 1.0)), 0, len(photo.halved) - 1))
    image = photo.halved[level]
    shrink = photo.scale * 2**level
    # Frame pixel -> frame coordinates -> full photo -> pyramid pixel, pixel centres at integers.
    step = matrix / PIXELS_PER_RADIUS / shrink
    corner = matrix @ (LEFT + 0.5 / PIXELS_PER_RADIUS, TOP + 0.5 / PIXELS_PER_RADIUS)
    start = (np.asarray(origin) + corner + 0.5) / shrink - 0.5
    warp = np.column_stack([step, start])
    rgb = cv2.warpAffine(
        image,
        warp,
        (WIDTH, HEIGHT),
        flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
        borderMode=cv2.BORDER_REPLICATE,
    )
    valid = _inside(warp, image.shape[1], image.shape[0])
    for other in others:
        if other.id == fastener.id:
            continue
        u, v = map(float, np.linalg.solve(matrix, (other.cx - origin[0], other.cy - origin[1])))
        reach = SKIRT * other.radius / fastener.radius
        if LEFT - reach < u < RIGHT + reach and TOP - reach < v < BOTTOM + reach:
            valid &= (U - u) ** 2 + (V - v) ** 2 > reach**2
    return Frame(fastener, rgb.astype(np.uint8, copy=False), valid, matrix, origin)


def _inside(warp: NDArray[np.float64], width: int, height: int) -> NDArray[np.bool_]:
    """Tell which pixels of a frame come from within an image, by the matrix (2, 3) from frame to image."""
    corners = warp @ _CORNERS
    if (corners >= _MARGIN).all() and (corners <= [[width - 1 - _MARGIN], [height - 1 - _MARGIN]]).all():
        return np.ones((HEIGHT, WIDTH), np.bool_)
    (xu, xv, x0), (yu, yv, y0) = warp.tolist()
    x = xu * _COLUMNS + xv * _ROWS + x0
    y = yu * _COLUMNS + yv * _ROWS + y0
    inside: NDArray[np.bool_] = (x >= 0) & (y >= 0) & (x <= width - 1) & (y <= height - 1)
    return inside
