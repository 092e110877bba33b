"""What the finder looks at: edge and lightness cells over a pyramid, and patches around single places.

Aggregated channels after Dollar et al., "Fast feature pyramids for object detection" (2014): cells of one
third of the radius sought, so that one small template finds every size.
"""

from __future__ import annotations

import itertools
import operator
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float32]
Image = NDArray[np.uint8]

SMALLEST = 9.0
"""Smallest radius sought, in pixels of the working image."""

LARGEST = 210.0
STEP = 1.26
"""Ratio of the radii of neighbouring levels."""
Radii = tuple[float, float]
"""Smallest and largest radius sought, in pixels of the working image."""
ANY_SIZE: Radii = (SMALLEST, LARGEST)

CELLS_PER_RADIUS = 3.0
REACH = 5
"""A window is 2 * REACH + 1 cells wide."""

CHANNELS = 4

STRIP = 64
"""Rows of pixels whose gradients are worked on at a time."""


@dataclass(frozen=True, slots=True)
class Level:
    """One level of the pyramid: the fasteners sought here are ``radius`` working pixels.

    ``cells`` has shape (CHANNELS, H, W): edge strength, the cosine and sine of twice the gradient's direction
    weighted by it, and lightness; all relative to the neighbourhood's own edge strength or contrast.
    ``pitch`` holds working pixels per cell in x and y.
    """

    radius: float
    cells: Floats
    pitch: tuple[float, float]


def _octaves(image: Image) -> list[Image]:
    octaves: list[Any] = [image]
    while min(octaves[-1].shape[:2]) >= 32:
        octaves.append(cv2.resize(octaves[-1], None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA))
    return octaves


def _edge_cells(gx: NDArray[Any], gy: NDArray[Any]) -> Floats:
    """Edge strength, and cosine and sine of twice the direction weighted by it, of 2 x 2 pixels each.

    From whole gradients, eightfold.
    """
    dx, dy = gx * np.float32(0.125), gy * np.float32(0.125)
    strength = cv2.magnitude(dx, dy)
    safe = strength + np.float32(1e-3)
    sine = dx * dy
    sine *= 2.0
    sine /= safe
    dx *= dx
    dy *= dy
    dx -= dy
    dx /= safe
    size = (gx.shape[1] // 2, gx.shape[0] // 2)
    return np.stack([cv2.resize(part, size, interpolation=cv2.INTER_AREA) for part in (strength, dx, sine)])


def _cells(lightness: NDArray[Any]) -> Floats:
    """Cells of a lightness image (uint8) of even size (2H, 2W)."""
    gx, gy = cv2.spatialGradient(lightness)
    # In strips that the processor's cache holds.
    strips = range(0, len(gx), STRIP)
    edges = np.concatenate([_edge_cells(gx[i : i + STRIP], gy[i : i + STRIP]) for i in strips], axis=1)
    size = (lightness.shape[1] // 2, lightness.shape[0] // 2)
    light = cv2.resize(lightness.astype(np.float32), size, interpolation=cv2.INTER_AREA)
    window = (2 * REACH + 3, 2 * REACH + 3)
    edges /= cv2.boxFilter(edges[0], -1, window) + 1.0
    mean = cv2.boxFilter(light, -1, window)
    spread = cv2.sqrt(np.maximum(cv2.boxFilter(light * light, -1, window) - mean * mean, 0)) + 4.0
    return np.concatenate([edges, ((light - mean) / spread)[None]])


def pyramid(lightness: Image, radii: Radii = ANY_SIZE) -> list[Level]:
    """Build the cells for every radius sought.

    Parameters
    ----------
    lightness : ndarray of uint8, shape (H, W)
        CIELAB lightness of the working image, 0 to 255.
    radii : (float, float)
        Smallest and largest radius sought, in pixels.
    """
    height, width = lightness.shape
    octaves = _octaves(lightness)
    levels = []
    for radius in itertools.accumulate(itertools.repeat(STEP), operator.mul, initial=SMALLEST):
        if radius > radii[1]:
            break
        if radius < radii[0]:
            continue
        scale = CELLS_PER_RADIUS / radius
        h, w = round(height * scale), round(width * scale)
        if min(h, w) < 2 * REACH:
            break
        octave = max(0, min(len(octaves) - 1, int(np.floor(-np.log2(2 * scale) + 1e-6))))
        sized = cv2.resize(octaves[octave], (2 * w, 2 * h), interpolation=cv2.INTER_AREA)
        levels.append(Level(radius, _cells(sized), (width / w, height / h)))
    return levels


def windows(level: Level, rows: NDArray[np.intp], columns: NDArray[np.intp]) -> Floats:
    """Cut the windows around cells out of a level: shape (N, CHANNELS * (2 * REACH + 1) ** 2)."""
    padded = np.pad(level.cells, ((0, 0), (REACH, REACH), (REACH, REACH)), mode="reflect")
    views = np.lib.stride_tricks.sliding_window_view(padded, (2 * REACH + 1, 2 * REACH + 1), axis=(1, 2))
    size = CHANNELS * (2 * REACH + 1) ** 2
    return np.ascontiguousarray(views[:, rows, columns].swapaxes(0, 1).reshape(len(rows), size))
