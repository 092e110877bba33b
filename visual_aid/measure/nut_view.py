"""How a photo shows a nut: rectified to the part's plane, the ring that turns, and the edges' directions."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray

from visual_aid.photo import Photo

Floats = NDArray[np.floating]
Field = NDArray[np.float32]
Image = NDArray[np.uint8]

INNER, OUTER = 0.5, 1.25
"""The ring that turns with the nut, in nut radii: from about the stud's edge to beyond the corners."""
CIRCLE = 2
"""Width in samples of the circles around a nut's middle that edges are averaged on."""
FAINT = 4.0
"""Gradient in grey levels a sample under which an edge is noise."""

REACH = OUTER + 0.1
"""Half the side of the patch that holds the ring, in nut radii."""
RIM = 1.04
"""How far the hexagon's ring reaches beyond its flats, in nut radii."""


@dataclass(frozen=True, slots=True)
class NutView:
    """How one photo sees a nut.

    Attributes
    ----------
    octaves : sequence of ndarray
        Grey working image and its halves.
    centre : ndarray of shape (2,)
        Of the nut's top, in working pixels.
    matrix : ndarray of shape (2, 2)
        From nut radii in the part's plane to working pixels.
    lean : ndarray of shape (2,)
        From the nut's seat to its top as seen, in nut radii in the part's plane.
    stud : bool
        Whether a stud stands in the middle, which does not turn with the nut; a bolt head has none.
    flat : float or None
        Direction of a flat's normal in the plane, degrees modulo 60, once it is known: what lies beyond the
        flats is then left out.
    away : ndarray of shape (2,)
        By what share things are seen smaller a nut radius further in the plane: its far side in perspective.
    """

    octaves: Sequence[Image]
    centre: Floats
    matrix: Floats
    lean: Floats
    stud: bool = True
    flat: float | None = None
    away: Floats = field(default_factory=lambda: np.zeros(2))


def octaves(grey: Image) -> list[Image]:
    """Halve a grey image again and again, so that any nut can be sampled without aliasing."""
    out = [grey]
    while min(out[-1].shape) >= 64 and len(out) < 5:
        out.append(np.asarray(cv2.pyrDown(out[-1]), np.uint8))
    return out


def grey_octaves(photo: Photo) -> list[Image]:
    """Give ``octaves`` of a photo's working image, in grey."""
    return octaves(np.asarray(cv2.cvtColor(photo.working, cv2.COLOR_RGB2GRAY), np.uint8))


def edge_directions(grey: Field) -> Field:
    """Give edges by direction, whichever side is the brighter one, less what they are all around the middle.

    Circles - a stud's end, a chamfer, a washer - look alike however they are turned, and would agree
    whatever the turn.

    Parameters
    ----------
    grey : ndarray of float32, shape (S, S)

    Returns
    -------
    ndarray of float32, shape (S, S, 2)
        Cosine and sine of twice the gradient's direction, times the root of the gradient's length, less
        their mean at that distance from the middle, taken against the direction from there.
    """
    smooth = cv2.GaussianBlur(grey, (0, 0), 1.0)
    dx, dy = (cv2.Sobel(smooth, cv2.CV_32F, *order, ksize=3) for order in ((1, 0), (0, 1)))
    length = cv2.magnitude(dx, dy)
    weight = 1 / (length * cv2.sqrt(length) + np.float32(FAINT**1.5))
    edges = np.asarray(cv2.merge([(dx - dy) * (dx + dy) * weight, 2 * dx * dy * weight]), np.float32)
    circle, bearing, count = _circles(len(grey))
    around = edges.view(np.complex64)[..., 0] * bearing.conj()
    real, imaginary = (
        np.bincount(circle.ravel(), part.ravel()) / count for part in (around.real, around.imag)
    )
    around -= (real + 1j * imaginary).astype(np.complex64)[circle]
    return (around * bearing).view(np.float32).reshape(edges.shape)


@cache
def _circles(side: int) -> tuple[NDArray[np.intp], NDArray[np.complex64], NDArray[np.intp]]:
    """Give every sample's circle about the middle, twice its bearing, and how many samples a circle has."""
    line = np.arange(side) - (side - 1) / 2
    radius = np.hypot(line[:, None], line)
    circle = np.round(radius / CIRCLE).astype(np.intp)
    bearing = ((line + 1j * line[:, None]) / radius.clip(0.5)) ** 2
    return circle, bearing.astype(np.complex64), np.bincount(circle.ravel())


def samples(reach: float, density: int) -> Floats:
    """Give the places of samples along one axis of a patch, in nut radii from its middle."""
    return (np.arange(round(2 * reach * density)) + 0.5) / density - reach


@cache
def _grid(reach: float, density: int) -> tuple[Field, Field, Field]:
    """Give u, v and the distance from the middle of every sample."""
    u, v = (part.astype(np.float32) for part in np.meshgrid(*2 * [samples(reach, density)]))
    return u, v, np.asarray(cv2.magnitude(u, v), np.float32)


def rectify(view: NutView, degrees: float, reach: float, density: int) -> Field:
    """Sample the part's plane around a nut, turned clockwise by ``degrees``."""
    turned = rotation(degrees) / density
    (a, b), (c, d) = matrix = view.matrix @ turned
    level = min(max(int(math.log2(math.sqrt(abs(a * d - b * c))) + 0.25), 0), len(view.octaves) - 1)
    side = round(2 * reach * density)
    plane = np.eye(3)
    plane[:2, :2], plane[2, :2] = matrix * 0.5**level, view.away @ turned
    middle = (view.centre + 0.5) * 0.5**level - 0.5
    seen = _shift(*middle) @ plane @ _shift(*2 * [0.5 - reach * density])
    return np.asarray(cv2.warpPerspective(
        view.octaves[level], seen, (side, side),
        flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP, borderMode=cv2.BORDER_REPLICATE,
    ), np.float32)  # fmt: skip


def _shift(x: float, y: float) -> Floats:
    return np.array([[1.0, 0.0, x], [0.0, 1.0, y], [0.0, 0.0, 1.0]])


def ring(view: NutView, turn: float, reach: float, density: int, outer: float) -> Field:
    """Weigh the plane around a nut: 1 on what turns with it, 0 elsewhere, off the photo, or behind a stud."""
    u, v, radius = _grid(reach, density)
    free = outer - radius
    if view.flat is not None and math.isfinite(outer):
        facing = np.radians(view.flat - turn + np.array([0, 60, 120]))
        ways = zip(np.cos(facing).tolist(), np.sin(facing).tolist(), strict=True)
        free = RIM - np.max([np.abs(x * u + y * v) for x, y in ways], axis=0)
    if view.stud:
        x, y = map(float, rotation(-turn) @ view.lean)
        along = np.clip((u * x + v * y) / max(x * x + y * y, 1e-9), 0, 1)
        free = np.minimum(free, cv2.magnitude(u - along * x, v - along * y) - INNER)
    weight = np.asarray(np.clip(free * density / 2 + 0.5, 0, 1), np.float32)
    return weight if (seen := in_photo(view, turn, reach, density)) is None else weight * seen


def in_photo(view: NutView, degrees: float, reach: float, density: int) -> Field | None:
    """Tell where the patch that ``rectify`` samples lies in the photo: 1, else 0; None where it all does."""
    matrix = view.matrix @ rotation(degrees)
    height, width = view.octaves[0].shape
    half = reach * np.abs(matrix).sum(axis=1)
    if (half <= view.centre).all() and (view.centre + half <= (width - 1, height - 1)).all():
        return None
    u, v, _ = _grid(reach, density)
    x, y = (view.centre[k] + matrix[k, 0] * u + matrix[k, 1] * v for k in (0, 1))
    return np.asarray((x >= 0) & (x <= width - 1) & (y >= 0) & (y <= height - 1), np.float32)


def rotation(degrees: float) -> Floats:
    """Give the matrix that turns clockwise as seen."""
    c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
    return np.array([[c, -s], [s, c]])
