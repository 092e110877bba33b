"""What a place looks like: features of the polar patch and of the square patch around a rough circle.

The polar patch makes a fastener's rings and sixfold edges plain whatever way it is turned (Fourier
components over the angle); the square patch keeps what depends on direction: tilt, stud and shadow.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from visual_aid.photo import Photo

Floats = NDArray[np.float32]
Image = NDArray[np.uint8]

RINGS = 21
ANGLES = 36
RING_STEP = 0.1
FIRST_RING = 0.15
SIDE = 28
REACH_R = 2.1
CELLS = 7
BINS = 6

_RADII = FIRST_RING + RING_STEP * np.arange(RINGS, dtype=np.float32)
_TURNS = (2 * np.pi / ANGLES) * np.arange(ANGLES, dtype=np.float32)
_POLAR_X = (_RADII[:, None] * np.cos(_TURNS)).astype(np.float32)
_POLAR_Y = (_RADII[:, None] * np.sin(_TURNS)).astype(np.float32)
_SIDE = ((np.arange(SIDE, dtype=np.float32) + 0.5) / SIDE * 2 - 1) * REACH_R
_SQUARE_X, _SQUARE_Y = (a.astype(np.float32) for a in np.meshgrid(_SIDE, _SIDE))
_HARMONICS = (1, 2, 3, 4, 6)


@dataclass(frozen=True)
class Octaves:
    """An image halved again and again, so that any radius can be sampled without aliasing.

    Attributes
    ----------
    lab : tuple of ndarray of shape (H, W, 3), uint8
        CIELAB, largest first.
    """

    lab: tuple[Image, ...]

    @cached_property
    def light(self) -> tuple[Image, ...]:
        """Lightness alone, each of shape (H, W): to sample it costs half as much."""
        return tuple(np.ascontiguousarray(image[..., 0]) for image in self.lab)


def lab_octaves(lab: NDArray[Any]) -> Octaves:
    """Halve a CIELAB image (uint8) until a side is under 48 pixels."""
    octaves: list[Any] = [lab]
    while min(octaves[-1].shape[:2]) >= 48:
        octaves.append(cv2.resize(octaves[-1], None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA))
    return Octaves(tuple(octaves))


def working_octaves(photo: Photo) -> Octaves:
    """CIELAB octaves of a photo's working image, from ``lab_octaves``."""
    return lab_octaves(cv2.cvtColor(photo.working, cv2.COLOR_RGB2Lab))


def plane(tilt: float | None, tilt_axis: float | None) -> NDArray[np.float64]:
    """Give the 2 x 2 matrix from the part's plane to the picture, both in seen radii."""
    squeeze = math.cos(math.radians(tilt or 0.0))
    axis = math.radians(tilt_axis or 0.0)
    turn = np.array([[math.cos(axis), -math.sin(axis)], [math.sin(axis), math.cos(axis)]])
    matrix: NDArray[np.float64] = turn @ np.diag([1 / math.sqrt(squeeze), math.sqrt(squeeze)]) @ turn.T
    return matrix


def octave_of(step: NDArray[np.floating], images: Sequence[Image]) -> NDArray[np.intp]:
    """Give the octave to sample from so that grain is averaged away, by the step in pixels of the first."""
    level: NDArray[np.intp] = np.floor(np.log2(np.maximum(step, 1.0)) + 0.25).astype(np.intp)
    return np.asarray(np.minimum(level, len(images) - 1))


def sample(
    images: Sequence[Image], circles: Floats, x: Floats, y: Floats, pixels_per_radius: float
) -> Floats:
    """Sample the same pattern around every circle.

    Parameters
    ----------
    images : sequence of ndarray
        ``Octaves.lab`` or ``Octaves.light``.
    circles : ndarray of float32, shape (N, 3)
        Centre x, y and radius in pixels of the first image.
    x, y : ndarray of float32, shape (H, W)
        Pattern in radii.
    pixels_per_radius : float
        Sampling density of the pattern.

    Returns
    -------
    ndarray of float32, shape (N, H, W) and channels, if the images have any
    """
    out = np.empty((len(circles), *x.shape, *images[0].shape[2:]), np.float32)
    level = octave_of(circles[:, 2] / pixels_per_radius, images)
    for k in np.unique(level):
        chosen = level == k
        scale = 0.5**k
        cx, cy, r = (circles[chosen, i, None, None] for i in range(3))
        map_x = ((cx + r * x + 0.5) * scale - 0.5).reshape(-1, x.shape[1])
        map_y = ((cy + r * y + 0.5) * scale - 0.5).reshape(-1, x.shape[1])
        step = max(1, 32000 // x.shape[0]) * x.shape[0]
        parts = [
            cv2.remap(
                images[k],
                map_x[i : i + step].astype(np.float32),
                map_y[i : i + step].astype(np.float32),
                cv2.INTER_LINEAR,
                borderMode=cv2.BORDER_REPLICATE,
            )
            for i in range(0, len(map_x), step)
        ]
        out[chosen] = np.concatenate(parts).reshape(-1, *out.shape[1:])
    return out


def features(octaves: Octaves, circles: Floats) -> Floats:
    """Describe every circle's surroundings by numbers that do not depend on size or exposure.

    Parameters
    ----------
    octaves : Octaves
    circles : ndarray of float32, shape (N, 3)
        Centre x, y and radius in working pixels.

    Returns
    -------
    ndarray of float32, shape (N, FEATURES)
    """
    if not len(circles):
        return np.zeros((0, FEATURES), np.float32)
    return np.concatenate([polar_features(octaves, circles), _square_features(octaves, circles)], axis=1)


def polar_features(octaves: Octaves, circles: Floats) -> Floats:
    """Give the part of ``features`` that is read off rings and around them, shape (N, POLAR_FEATURES)."""
    n = len(circles)
    if not n:
        return np.zeros((0, POLAR_FEATURES), np.float32)
    seen = sample(octaves.lab, circles, _POLAR_X, _POLAR_Y, 1 / RING_STEP)
    lab = np.ascontiguousarray(np.moveaxis(seen, 3, 0))
    light = lab[0]
    spread = light.std(axis=(1, 2)) + 3.0
    unit = (light - light.mean(axis=(1, 2), keepdims=True)) / spread[:, None, None]
    rings = unit.mean(axis=2)
    colour = lab[1:].mean(axis=3)
    colour = (colour - colour.mean(axis=2, keepdims=True)).swapaxes(0, 1).reshape(n, -1)
    outward = np.abs(unit[:, 2:] - unit[:, :-2])
    signed = rings[:, 2:] - rings[:, :-2]
    around = np.abs(np.roll(unit, -1, axis=2) - np.roll(unit, 1, axis=2))
    out_mean, around_mean = outward.mean(axis=2), around.mean(axis=2)
    coherence = out_mean / (out_mean + around_mean[:, 1:-1] + 0.05)
    wave = np.fft.rfft(unit, axis=2) / ANGLES
    edge = np.fft.rfft(outward[:, 4:17], axis=2) / ANGLES
    waves = np.abs(wave[:, :, _HARMONICS]).reshape(n, -1)
    edges = (np.abs(edge[:, :, _HARMONICS]) / (out_mean[:, 4:17, None] + 0.05)).reshape(n, -1)
    lean = np.concatenate([wave[:, :, 1].real, wave[:, :, 1].imag], axis=1)
    edge_lean = np.concatenate(
        [part for k in (1, 2) for part in (edge[:, :, k].real, edge[:, :, k].imag)], axis=1
    )
    best = [np.sort(outward[:, a:b].max(axis=1), axis=1)[:, 3::6] for a, b in ((2, 6), (6, 11), (9, 15))]
    body = unit[:, 4:11]
    turned = [(body * np.roll(body, k, axis=2)).mean(axis=(1, 2)) for k in (6, 9, 12, 18)]
    alike = np.stack(turned, axis=1) / (body.var(axis=(1, 2))[:, None] + 0.02)
    inner, outer = lab[:, :, :8].mean(axis=(2, 3)), lab[:, :, 12:].mean(axis=(2, 3))
    whole = np.stack(
        [
            np.log(circles[:, 2]),
            spread,
            light.mean(axis=(1, 2)),
            np.hypot(*(lab[1:, :, :8].mean(axis=(2, 3)) - 128)),
        ],
        axis=1,
    )
    parts = [
        whole, (inner - outer).T, rings, colour, unit.std(axis=2), signed, out_mean, around_mean, coherence,
        waves, edges, lean, edge_lean, *best, alike,
    ]  # fmt: skip
    return np.concatenate(parts, axis=1).astype(np.float32)


def gradients(patches: Floats) -> tuple[Floats, Floats]:
    """Differences of neighbours in x and y, over two pixels, 0 at the rim: each of the shape (N, H, W)."""
    dx, dy = np.zeros_like(patches), np.zeros_like(patches)
    np.subtract(patches[:, :, 2:], patches[:, :, :-2], out=dx[:, :, 1:-1])
    np.subtract(patches[:, 2:], patches[:, :-2], out=dy[:, 1:-1])
    return dx, dy


def lengths_and_bins(dx: Floats, dy: Floats, bins: int) -> tuple[Floats, Floats]:
    """Lengths of gradients, and their unsigned directions as places from 0 to ``bins``, both (N, H, W).

    OpenCV's arc tangent is right to 0.0002, and with one step of Newton's to what float32 holds, in a
    fraction of the time that NumPy's takes.
    """
    flat = dx.reshape(len(dx), -1), dy.reshape(len(dy), -1)
    length = np.asarray(cv2.magnitude(*flat), np.float32).reshape(dx.shape)
    angle = np.asarray(cv2.phase(*flat), np.float32).reshape(dx.shape)
    angle += (dy * np.cos(angle) - dx * np.sin(angle)) / np.maximum(length, np.float32(1e-6))
    position = angle * np.float32(bins / np.pi)
    return length, np.where(
        position >= bins, position - bins, np.where(position < 0, position + bins, position)
    )


def cell_means(patches: Floats, cells: int) -> Floats:
    """Mean over each of cells x cells squares of a patch (N, S, S): shape (N, cells * cells)."""
    n, side, _ = patches.shape
    tall = cv2.resize(patches.reshape(n * side, side), (cells, n * cells), interpolation=cv2.INTER_AREA)
    return np.asarray(tall, np.float32).reshape(n, cells * cells)


def _square_features(octaves: Octaves, circles: Floats) -> Floats:
    light = sample(octaves.light, circles, _SQUARE_X, _SQUARE_Y, SIDE / (2 * REACH_R))
    spread = light.std(axis=(1, 2), keepdims=True) + 3.0
    unit = (light - light.mean(axis=(1, 2), keepdims=True)) / spread
    strength, position = lengths_and_bins(*gradients(unit), BINS)
    bins = []
    for k in range(BINS):
        away = np.abs(position - k)
        weight = np.maximum(1 - np.minimum(away, BINS - away), 0) * strength
        bins.append(cell_means(weight, CELLS))
    bins.append(cell_means(unit, CELLS))
    return np.concatenate(bins, axis=1)


_COUNTS = {
    "whole": 4 + 3,
    "rings": 4 * RINGS + (RINGS - 2),
    "edges": 2 * (RINGS - 2) + RINGS,
    "waves": len(_HARMONICS) * (RINGS + 13),
    "lean": 2 * RINGS + 4 * 13,
    "outline": 3 * 6 + 4,
    "square": (BINS + 1) * CELLS**2,
}
FEATURES = sum(_COUNTS.values())
"""Number of features of a place."""
POLAR_FEATURES = FEATURES - _COUNTS["square"]

_VIEWS = ((0.0, 0.0), *((35.0, float(axis)) for axis in range(0, 180, 30)))
"""Tilts and tilt axes under which a hexagon is looked for, degrees."""
_HEX_INNER, _HEX_OUTER = 0.7, 1.25
_HEX_SIDE = 40
_HEX_LINE = ((np.arange(_HEX_SIDE, dtype=np.float32) + 0.5) / _HEX_SIDE * 2 - 1) * 1.6
_HEX_X, _HEX_Y = (a.astype(np.float32) for a in np.meshgrid(_HEX_LINE, _HEX_LINE))
HEX_FEATURES = 3 * len(_VIEWS) + 4


@dataclass(frozen=True, slots=True)
class _View:
    """A tilt's matrix from plane to picture, and the samples of the rim: where they are, in the plane too."""

    matrix: Floats
    rim: NDArray[np.intp]
    u: Floats
    v: Floats
    radius: Floats

    @classmethod
    def of(cls, tilt: float, axis: float) -> _View:
        matrix = plane(tilt, axis).astype(np.float32)
        back = np.linalg.inv(matrix)
        u, v = back[0, 0] * _HEX_X + back[0, 1] * _HEX_Y, back[1, 0] * _HEX_X + back[1, 1] * _HEX_Y
        radius = np.hypot(u, v)
        rim = np.flatnonzero((radius > _HEX_INNER) & (radius < _HEX_OUTER))
        return cls(matrix, rim, u.ravel()[rim], v.ravel()[rim], radius.ravel()[rim])


_HEX_VIEWS = tuple(_View.of(tilt, axis) for tilt, axis in _VIEWS)


def hexagon_features(octaves: Octaves, circles: Floats) -> Floats:
    """Tell how far the edges around every circle follow a hexagon, seen head on or at a tilt.

    The gradients are taken back into the part's plane for a few tilts; the sixth harmonic of their directions
    around the rim, against the fourth and against the edges as a whole, is large for a hexagon alone.

    Returns
    -------
    ndarray of float32, shape (N, HEX_FEATURES)
    """
    if not len(circles):
        return np.zeros((0, HEX_FEATURES), np.float32)
    light = sample(octaves.light, circles, _HEX_X, _HEX_Y, _HEX_SIDE / 3.2)
    gx, gy = (part.reshape(len(circles), -1) for part in gradients(light))
    shares = []
    for view in _HEX_VIEWS:
        x, y, matrix = gx.take(view.rim, axis=1), gy.take(view.rim, axis=1), view.matrix
        x, y = matrix[0, 0] * x + matrix[1, 0] * y, matrix[0, 1] * x + matrix[1, 1] * y
        strength = np.sqrt(x * x + y * y) + np.float32(1e-3)
        inward = np.abs(x * view.u + y * view.v) > 0.8 * strength * view.radius
        bounded = np.minimum(strength, 2 * strength.mean(axis=1, keepdims=True))
        x /= strength
        y /= strength
        cos2, sin2 = x * x - y * y, 2 * x * y
        cos4, sin4 = cos2 * cos2 - sin2 * sin2, 2 * cos2 * sin2
        kept = bounded * inward
        all_kept, everything = kept.sum(axis=1) + 1e-3, bounded.sum(axis=1) + 1e-3
        fourth = np.hypot((kept * cos4).sum(axis=1), (kept * sin4).sum(axis=1))
        sixth = np.hypot(
            (kept * (cos4 * cos2 - sin4 * sin2)).sum(axis=1), (kept * (sin4 * cos2 + cos4 * sin2)).sum(axis=1)
        )
        shares.append((sixth / all_kept, sixth / everything, fourth / all_kept))
    table = np.array(shares).transpose(2, 1, 0)
    best = table[:, 1].argmax(axis=1)
    rows = np.arange(len(best))
    return np.concatenate(
        [
            table.reshape(len(table), -1),
            np.stack([*(table[rows, k, best] for k in range(3)), best > 0], axis=1),
        ],
        axis=1,
    ).astype(np.float32)
