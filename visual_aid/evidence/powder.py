"""Powder on the surface around a fastener: small spots, and how thick they lie close below it."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray

from visual_aid.evidence.frame import BEARING, PIXELS_PER_RADIUS, Frame
from visual_aid.evidence.surroundings import Map, Surroundings, soft_step
from visual_aid.quantiles import median

# A grain is shorter than this in every direction, in r; a line is longer in one of them.
GRAIN = 0.35
# A grain that is paler than this, in L*, is paint or a highlight and counts no more than this.
MOST_GRAIN = 8.0

# Where powder lies thickest: within this distance of the body, in r, and this angle of straight below.
NEAR, NEAR_ANGLE = 0.6, 60.0
# The surface that it is compared with ends here.
FAR = 2.5
LEAST_PIXELS = 80
# Deviation, in CIELAB units, that noise and texture cause on any surface.
NOISE = 0.3

Mask = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Powder:
    """What may be powder around one fastener, on its seat frame.

    Attributes
    ----------
    clean : ndarray of shape (HEIGHT, WIDTH), float32
        0..1, how little a pixel looks like rust.
    grains, plain_grains : ndarray of the same shape, float32
        L* by which small spots stand out of what is around them, where they are clean and no darker than the
        surface, and where they have no more colour than it.
    below, above, far : ndarray of bool, same shape
        The surface close below the body, close above it, and farther away.
    """

    clean: Map
    grains: Map
    plain_grains: Map
    below: Mask
    above: Mask
    far: Mask

    def near(self, surface: Map) -> float:
        """Mean of a map close below the body less the usual value farther away, over its deviation."""
        if self.below.sum() < LEAST_PIXELS or self.far.sum() < LEAST_PIXELS:
            return float("nan")
        there: NDArray[np.float32] = surface[self.far]
        return float((surface[self.below].mean() - median(there)) / (there.std() + NOISE))

    @property
    def plain_grains_near(self) -> float:
        """By how much plain grains are thicker close below, as ``near`` tells it; 0 where they are not."""
        return max(self.near(self.plain_grains), 0.0)


def look_for_powder(frame: Frame, around: Surroundings) -> Powder:
    """Look for powder in a seat frame (``Scene.powder`` holds that of a photo)."""
    light, red, yellow = (np.ascontiguousarray(frame.lab[..., k]) for k in range(3))
    chroma = np.hypot(red, yellow)
    paint_chroma = float(np.hypot(around.paint[1], around.paint[2]))
    clean = soft_step(-around.rust, -0.3, 0.1)
    grains = pale_grains(light)
    close = around.seen & (around.away < NEAR)
    below, above = (close & (np.abs(BEARING - side) < NEAR_ANGLE) for side in (90, -90))
    return Powder(
        clean,
        grains * clean * soft_step(light - around.paint[0], 0, 3),
        np.minimum(grains, MOST_GRAIN) * soft_step(-chroma, -paint_chroma - 2, 2),
        below,
        above,
        around.seen & (around.away >= NEAR) & (around.away < FAR),
    )


def pale_grains(light: Map) -> Map:
    """Tell by how much L* exceeds that of any line of length ``GRAIN`` through the pixel.

    The largest of the openings with lines in all directions keeps edges and lines (Soille, Morphological
    Image Analysis, 2003, on unions of linear openings), so that the rest is spots alone.
    """
    kept = np.full_like(light, -np.inf)
    for line in _lines(round(GRAIN * PIXELS_PER_RADIUS) | 1):
        kept = np.maximum(kept, cv2.morphologyEx(light, cv2.MORPH_OPEN, line))
    out: Map = light - kept
    return out


@cache
def _lines(size: int) -> tuple[NDArray[np.uint8], ...]:
    """Draw straight lines through the middle of a square, 22.5 degrees apart."""
    half = size // 2
    lines = []
    for angle in np.radians(np.arange(0, 180, 22.5)):
        across, down = np.cos(angle), np.sin(angle)
        x, y = (round(float(half * part / max(abs(across), abs(down)))) for part in (across, down))
        line = np.zeros((size, size), np.uint8)
        cv2.line(line, (half - x, half - y), (half + x, half + y), 1)
        lines.append(line)
    return tuple(lines)
