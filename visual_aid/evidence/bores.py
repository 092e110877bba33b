"""Round edges of about a nut's size in the plane of a part: bores and the ends of bare studs show them.

Every edge pixel votes along its gradient, both ways, for the centres that it may go around (the fast radial
symmetry transform of Loy and Zelinsky 2003), on the photo with the tilt of its fasteners undone. A finder of
nuts looks for what nuts show and passes over many a bore that stands out by its roundness alone.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from visual_aid.evidence.frame import plane_to_image
from visual_aid.fasteners.beside import SURE
from visual_aid.fasteners.patches import Octaves, octave_of
from visual_aid.fasteners.propose import best_distinct
from visual_aid.model import NOT_IN_PLACE, Fastener
from visual_aid.photo import Photo
from visual_aid.quantiles import median

PIXELS_PER_RADIUS = 8
REACH = 9.0
"""How far around the fasteners is looked, in nut radii."""
MOST_PIXELS = 1200
"""Largest side of the rectified image; what lies beyond is not looked at."""
RADII = (0.42, 0.5, 0.6, 0.72, 0.86, 1.03, 1.23)
"""Of the round edges looked for, in nut radii: a bore has 0.73 and a stud 0.67 of its nut's (M16 of ISO 273
and 4032), a washer's mark 1.25; the nuts' own radii are not measured exactly."""
LEAST_EDGE = 0.35
"""Edges weigh their strength over itself and the usual one; what weighs less does not vote."""
LEAST_AROUND = 0.5
"""Strength of a round edge: grain and what lies beside an edge come to 0.2 to 0.4 on drawn plates."""
_SMOOTH = 0.8
_USUAL_L = 1.5
"""Lightness difference per pixel (L*) that counts as usual on a surface without any."""
APART = 0.8
"""Least distance of two round edges in nut radii."""

Map = NDArray[np.float32]
Floats = NDArray[np.float64]


@dataclass(frozen=True)
class RoundEdges:
    """How much goes around each point of the rectified part.

    Attributes
    ----------
    strength : ndarray of shape (H, W)
        How much of a circle around the point is edge along it, for the radius at which that is most: 1 for
        all of it, where the edge is one pixel wide, and up to 2 where it is blurred.
    matrix : ndarray of shape (2, 2)
        From the part's plane, in nut radii, to the full photo in pixels.
    corner : ndarray of shape (2,)
        Where the first pixel lies in the plane.
    """

    strength: Map
    matrix: Floats
    corner: Floats

    def strongest(self, most: int, but: Sequence[tuple[float, float, float]]) -> list[tuple[float, float]]:
        """Give the points that most goes around, strongest first, in full-photo pixels.

        What less than ``LEAST_AROUND`` goes around is no round edge.

        Parameters
        ----------
        most : int
            How many at most.
        but : sequence of (float, float, float)
            Points of the full photo, and how far around each, in nut radii, none is given.
        """
        peak = self.strength >= cv2.dilate(self.strength, np.ones((5, 5), np.uint8))
        rows, columns = np.nonzero(peak & (self.strength >= LEAST_AROUND))
        points = self.corner + np.column_stack([columns, rows]) / PIXELS_PER_RADIUS
        free = np.ones(len(points), bool)
        for x, y, reach in but:
            free &= np.hypot(*(points - np.linalg.solve(self.matrix, (x, y))).T) >= reach
        points, strength = points[free], self.strength[rows, columns][free]
        circles = np.column_stack([points, np.ones(len(points))])
        picked = points[best_distinct(circles, strength, most, APART, np.inf)]
        return [(float(x), float(y)) for x, y in picked @ self.matrix.T]


def round_edges(photo: Photo, octaves: Octaves, fasteners: Sequence[Fastener]) -> RoundEdges | None:
    """Look for round edges around the fasteners of a photo, in the plane that they share.

    Parameters
    ----------
    octaves : Octaves
        Of the working image.
    fasteners : sequence of Fastener
        In full-photo pixels, with lean.

    Returns
    -------
    RoundEdges or None
        None where there is no nut or bolt head to tell size and view.
    """
    nuts = [f for f in fasteners if f.kind not in NOT_IN_PLACE]
    nuts = [f for f in nuts if f.score >= SURE] or nuts
    if not nuts:
        return None
    radius = float(median(np.array([f.radius for f in nuts])))
    matrix = radius * median(np.array([plane_to_image(f) / f.radius for f in nuts]), axis=0)
    back = np.linalg.inv(matrix).T
    around = np.array([f.seat or (f.cx, f.cy) for f in nuts]) @ back
    width, height = photo.info.width, photo.info.height
    frame = np.array([(0, 0), (width, 0), (0, height), (width, height)]) @ back
    low = np.maximum(around.min(axis=0) - REACH, frame.min(axis=0))
    high = np.minimum(around.max(axis=0) + REACH, frame.max(axis=0))
    columns, rows = np.clip((high - low) * PIXELS_PER_RADIUS, 1, MOST_PIXELS).astype(int).tolist()
    step = np.array(radius / photo.scale / PIXELS_PER_RADIUS)
    level = int(octave_of(step, octaves.light))
    shrink = photo.scale * 2**level
    warp = np.column_stack([matrix / PIXELS_PER_RADIUS / shrink, (matrix @ low + 0.5) / shrink - 0.5])
    light = cv2.warpAffine(
        octaves.light[level],
        warp,
        (columns, rows),
        flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
        borderMode=cv2.BORDER_REPLICATE,
    )
    return RoundEdges(_votes(light.astype(np.float32) / 2.55), matrix, low)


def _votes(light: Map) -> Map:
    """Give the share of edge around every pixel of a lightness image (L*), for the best of the radii."""
    light = cv2.GaussianBlur(light, (0, 0), _SMOOTH).astype(np.float32, copy=False)
    gx = np.asarray(cv2.Sobel(light, cv2.CV_32F, 1, 0, scale=0.125), np.float32)
    gy = np.asarray(cv2.Sobel(light, cv2.CV_32F, 0, 1, scale=0.125), np.float32)
    steep = np.hypot(gx, gy)
    weight = steep / (steep + _USUAL_L + float(median(steep)))
    rows, columns = np.nonzero(weight > LEAST_EDGE)
    height, width = light.shape
    weights, slope = weight[rows, columns], steep[rows, columns]
    right, down = gx[rows, columns] / slope, gy[rows, columns] / slope
    best = np.zeros(light.shape, np.float32)
    for radius in RADII:
        total = np.zeros(height * width)
        for way in (-radius * PIXELS_PER_RADIUS, radius * PIXELS_PER_RADIUS):
            x = np.rint(columns + way * right).astype(np.int64)
            y = np.rint(rows + way * down).astype(np.int64)
            inside = (x >= 0) & (x < width) & (y >= 0) & (y < height)
            total += np.bincount(y[inside] * width + x[inside], weights[inside], height * width)
        spread = (0.1 + 0.06 * radius) * PIXELS_PER_RADIUS
        blurred = cv2.GaussianBlur(total.reshape(height, width).astype(np.float32), (0, 0), spread)
        # A full circle of edge one pixel wide, all of whose votes fall within the blur, gives 1.
        np.maximum(best, blurred * (spread**2 / (radius * PIXELS_PER_RADIUS)), out=best)
    return best
