"""A boxed part cut out, turned square where its plane is known, at the size that suits a measurement."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from visual_aid.measure.measurement import CannotMeasure, View
from visual_aid.measure.scale import Floats, project
from visual_aid.model import Box, Outline

LEAST_SIDE = 24.0
"""Full pixels of a box's shorter side under which nothing on it can be measured."""
ONE_TONE = 0.98
"""Share of a box's pixels of one and the same tone from which it shows nothing."""


@dataclass(frozen=True, eq=False, slots=True)
class Patch:
    """A part of a photo.

    Attributes
    ----------
    pixels : ndarray of shape (h, w, 3), uint8
        sRGB.
    to_full : ndarray of shape (3, 3)
        Homography from pixels of the patch to full pixels of the photo.
    mm : float or None
        Millimetres a pixel of the patch; None where the plane is not known.
    """

    pixels: NDArray[np.uint8]
    to_full: Floats
    mm: float | None

    def outline(self, points: Floats) -> Outline:
        """Map points (N, 2) of the patch to an outline in full pixels."""
        return tuple((float(x), float(y)) for x, y in project(self.to_full, np.asarray(points, float)))

    @property
    def finer(self) -> float:
        """Pixels of the patch for one full pixel at its middle: over 1 where it is enlarged."""
        h, w = self.pixels.shape[:2]
        ends = np.array(
            [(w / 2 - 0.5, h / 2), (w / 2 + 0.5, h / 2), (w / 2, h / 2 - 0.5), (w / 2, h / 2 + 0.5)]
        )
        a, b, c, d = project(self.to_full, ends)
        (ax, ay), (bx, by) = b - a, d - c
        return 1 / math.sqrt(max(abs(ax * by - ay * bx), 1e-12))


def cut(view: View, side: int, margin: float = 0.0, *, square: bool = True) -> Patch:
    """Cut a view's box out.

    Parameters
    ----------
    side : int
        Longest side of the patch in pixels; a small box is enlarged by at most 2.
    margin : float
        Share of the box's sides to add all around.
    square : bool
        Whether to undo the tilt where the plane is known.

    Raises
    ------
    CannotMeasure
        The box is too small, lies outside the photo, or shows nothing.
    """
    x, y, w, h = _large_enough(view)
    if _blank(view.photo.crop(x, y, w, h)):
        raise CannotMeasure(
            "what is boxed is one flat tone, without any detail (burnt out, black, or nothing): light it and "
            "take it again"
        )
    x, y, w, h = x - margin * w, y - margin * h, w * (1 + 2 * margin), h * (1 + 2 * margin)
    corners = np.array([(x, y), (x + w, y), (x + w, y + h), (x, y + h)])
    scale = view.scale
    if scale is None or not scale.rectified or not square:
        grow = min(side / max(w, h), 2.0)
        size = max(2, round(w * grow)), max(2, round(h * grow))
        to_full = np.array([[w / size[0], 0, x], [0, h / size[1], y], [0, 0, 1]])
        to_full = to_full @ _to_edges()
        mm = None if scale is None else scale.mm_per_px(view.middle) / grow
        return Patch(_resampled(view, to_full, size), to_full, mm)
    # Turned so that 'up' stays up as far as the tilt allows: along the box's own middle lines.
    mm_corners = scale.to_mm(corners)
    middle = scale.to_mm(np.array(view.middle))
    along = scale.jacobian(view.middle) @ (1.0, 0.0)
    angle = math.atan2(along[1], along[0])
    turned = np.array([[math.cos(angle), math.sin(angle)], [-math.sin(angle), math.cos(angle)]])
    flip = np.diag([1.0, np.sign(np.linalg.det(scale.jacobian(view.middle))) or 1.0])
    local = (mm_corners - middle) @ turned.T @ flip
    low, high = local.min(axis=0), local.max(axis=0)
    span = high - low
    full = scale.mm_per_px(view.middle)
    mm = max(float(span.max()) / side, full / 2.0)
    size = max(2, round(float(span[0]) / mm)), max(2, round(float(span[1]) / mm))
    to_local = np.array([[mm, 0, low[0]], [0, mm, low[1]], [0, 0, 1]]) @ _to_edges()
    back = np.eye(3)
    back[:2, :2] = turned.T @ flip
    back[:2, 2] = middle
    to_full = scale.to_px @ back @ to_local
    return Patch(_resampled(view, to_full, size), to_full, mm)


def _blank(pixels: NDArray[np.uint8]) -> bool:
    """Tell whether nearly all pixels are of one tone: a camera's noise alone makes more of any surface."""
    tones = np.bincount(cv2.cvtColor(np.ascontiguousarray(pixels), cv2.COLOR_RGB2GRAY).ravel())
    return bool(tones.max() > ONE_TONE * tones.sum())


def inside(view: View) -> Box:
    """Give what of a view's box lies on the photo.

    Raises
    ------
    CannotMeasure
        More than half of it does not.
    """
    x, y, w, h = view.box
    info = view.photo.info
    left, top, right, bottom = max(0.0, x), max(0.0, y), min(info.width, x + w), min(info.height, y + h)
    if right - left < 0.5 * w or bottom - top < 0.5 * h:
        raise CannotMeasure("the box lies outside the photo: draw it on the part")
    return left, top, right - left, bottom - top


def _large_enough(view: View) -> Box:
    x, y, w, h = inside(view)
    if min(w, h) < LEAST_SIDE:
        size = f"{max(min(w, h), 1):.0f}"
        raise CannotMeasure(
            f"the part is only {size} pixel{'' if size == '1' else 's'} wide: go nearer and take it again"
        )
    return x, y, w, h


def _to_edges() -> Floats:
    """Matrix from pixel centres at whole numbers to lengths from the upper left edge."""
    return np.array([[1, 0, 0.5], [0, 1, 0.5], [0, 0, 1.0]])


def _resampled(view: View, to_full: Floats, size: tuple[int, int]) -> NDArray[np.uint8]:
    """Draw the patch; what is shrunk is averaged first, so that nothing fine turns into noise."""
    full = view.photo.full
    whole = _crop_of(to_full, size, full.shape[1], full.shape[0])
    if whole is None:
        raise CannotMeasure("the box lies outside the photo: draw it on the part")
    left, top, right, bottom = whole
    source: NDArray[Any] = full[top:bottom, left:right]
    to_source = np.array([[1, 0, -left], [0, 1, -top], [0, 0, 1.0]]) @ to_full
    area = abs(float(np.linalg.det(to_source[:2, :2]))) / max(abs(float(to_source[2, 2])), 1e-9) ** 2
    shrink = math.sqrt(area)
    if shrink > 1.5:
        source = cv2.GaussianBlur(source, (0, 0), 0.4 * shrink)
    warped = cv2.warpPerspective(
        source, to_source, size, flags=cv2.INTER_CUBIC | cv2.WARP_INVERSE_MAP, borderMode=cv2.BORDER_REPLICATE
    )
    return np.asarray(warped, np.uint8)


def _crop_of(
    to_full: Floats, size: tuple[int, int], width: int, height: int
) -> tuple[int, int, int, int] | None:
    w, h = size
    corners = project(to_full, np.array([(0.0, 0), (w, 0), (w, h), (0, h)]))
    left, top = np.floor(corners.min(axis=0)).astype(int) - 3
    right, bottom = np.ceil(corners.max(axis=0)).astype(int) + 4
    left, top, right, bottom = max(0, left), max(0, top), min(width, right), min(height, bottom)
    return (int(left), int(top), int(right), int(bottom)) if right - left > 1 and bottom - top > 1 else None
