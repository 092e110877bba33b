"""What the finder looks at: edge and lightness cells over a pyramid, and patches around single places.

Aggregated channels after Dollar et al., "Fast feature pyramids for object detection" (2014): cells of one
third of the radius sought, so that one small template finds every size.
"""

from __future__ import annotations

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

CELLS_PER_RADIUS = 3.0
REACH = 5
"""A window is 2 * REACH + 1 cells wide."""

CHANNELS = 4


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


def _cells(lightness: Floats) -> Floats:
    """Cells of a lightness image of even size (2H, 2W)."""
    gx = cv2.Sobel(lightness, cv2.CV_32F, 1, 0, ksize=3, scale=0.125)
    gy = cv2.Sobel(lightness, cv2.CV_32F, 0, 1, ksize=3, scale=0.125)
    strength = cv2.magnitude(gx, gy)
    xx, yy = gx * gx, gy * gy
    safe = strength + 1e-3
    size = (lightness.shape[1] // 2, lightness.shape[0] // 2)
    parts = [
        cv2.resize(part, size, interpolation=cv2.INTER_AREA)
        for part in (strength, (xx - yy) / safe, 2.0 * gx * gy / safe, lightness)
    ]
    window = (2 * REACH + 3, 2 * REACH + 3)
    around = cv2.boxFilter(parts[0], -1, window) + 1.0
    mean = cv2.boxFilter(parts[3], -1, window)
    spread = cv2.sqrt(np.maximum(cv2.boxFilter(parts[3] * parts[3], -1, window) - mean * mean, 0)) + 4.0
    return np.stack([parts[0] / around, parts[1] / around, parts[2] / around, (parts[3] - mean) / spread])


def pyramid(lightness: Image) -> list[Level]:
    """Build the cells for every radius sought.

    Parameters
    ----------
    lightness : ndarray of uint8, shape (H, W)
        CIELAB lightness of the working image, 0 to 255.
    """
    height, width = lightness.shape
    octaves = _octaves(lightness)
    levels = []
    radius = SMALLEST
    while radius <= LARGEST:
        scale = CELLS_PER_RADIUS / radius
        h, w = round(height * scale), round(width * scale)
        if min(h, w) < 2 * REACH:
            break
        octave = max(0, min(len(octaves) - 1, int(np.floor(-np.log2(2 * scale) + 1e-6))))
        sized = cv2.resize(octaves[octave], (2 * w, 2 * h), interpolation=cv2.INTER_AREA)
        levels.append(Level(radius, _cells(sized.astype(np.float32)), (width / w, height / h)))
        radius *= STEP
    return levels


def windows(level: Level, rows: NDArray[np.intp], columns: NDArray[np.intp]) -> Floats:
    """Cut the windows around cells out of a level: shape (N, CHANNELS * (2 * REACH + 1) ** 2)."""
    padded = np.pad(level.cells, ((0, 0), (REACH, REACH), (REACH, REACH)), mode="reflect")
    views = np.lib.stride_tricks.sliding_window_view(padded, (2 * REACH + 1, 2 * REACH + 1), axis=(1, 2))
    size = CHANNELS * (2 * REACH + 1) ** 2
    return np.ascontiguousarray(views[:, rows, columns].swapaxes(0, 1).reshape(len(rows), size))
