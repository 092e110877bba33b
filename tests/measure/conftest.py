"""Drawn joints seen by a pinhole camera: hexagons with marks on a spotted plate."""

import math
from dataclasses import dataclass

import cv2
import numpy as np
import pytest

SIZE = 640
DRAWN = 3
"""Enlargement at which the plate is drawn, so that its edges are smooth in the photo."""


def hexagon(x, y, radius, degrees):
    bearings = np.radians(degrees + 60 * np.arange(6))
    corners = np.column_stack([np.cos(bearings), np.sin(bearings)])
    return (x, y) + radius * 2 / math.sqrt(3) * corners


def plate(nuts, marks=True, seed=1, clear=1.6):
    """Draw a plate of SIZE with nuts (x, y, radius, degrees) at DRAWN times its size; grey levels.

    The surface is spotted but for ``clear`` nut radii around each nut.
    """
    rng = np.random.default_rng(seed)
    side = SIZE * DRAWN
    noise = cv2.resize(rng.normal(0, 1, (SIZE // 8, SIZE // 8)).astype(np.float32), (side, side))
    canvas = 105 + 4 * noise
    for x, y, size in rng.uniform((0, 0, 2), (SIZE, SIZE, 6), (400, 3)):
        if any(math.hypot(x - nx, y - ny) < clear * radius + size for nx, ny, radius, _ in nuts):
            continue
        cv2.circle(canvas, centre(x, y), round(size * DRAWN), rng.uniform(40, 90), -1, cv2.LINE_AA)
    for x, y, radius, degrees in nuts:
        outline = np.round(DRAWN * hexagon(x, y, radius, degrees) * 16).astype(np.int32)
        cv2.fillPoly(canvas, [outline], 175, cv2.LINE_AA, 4)
        if marks:
            for bearing, far in ((20, 0.8), (75, 0.72), (150, 0.75)):
                turn = math.radians(degrees + bearing)
                spot = centre(x + far * radius * math.cos(turn), y + far * radius * math.sin(turn))
                cv2.circle(canvas, spot, round(0.13 * radius * DRAWN), 90, -1, cv2.LINE_AA)
    return np.clip(canvas, 0, 255)


def centre(x, y):
    return round(x * DRAWN), round(y * DRAWN)


@dataclass(frozen=True)
class Camera:
    """A homography (plate to photo) of a camera looking at the plate's middle."""

    matrix: np.ndarray

    @classmethod
    def looking(cls, tilt, axis, roll=0.0, zoom=1.0):
        """Tilt about an in-plane axis, then roll; distances in plate widths, all angles in degrees."""
        tilt, axis, roll = (math.radians(v) for v in (tilt, axis, roll))
        across = np.array([math.cos(axis), math.sin(axis), 0.0])
        rotation = cv2.Rodrigues(across * tilt)[0]
        rotation = cv2.Rodrigues(np.array([0, 0, roll]))[0] @ rotation
        focal, distance = 1.4 * SIZE, 1.4 * SIZE / zoom
        lens = np.array([[focal, 0, SIZE / 2], [0, focal, SIZE / 2], [0, 0, 1]])
        pose = np.column_stack([rotation[:, 0], rotation[:, 1], (0, 0, distance)])
        return cls(lens @ pose @ np.array([[1, 0, -SIZE / 2], [0, 1, -SIZE / 2], [0, 0, 1]]))

    def photo(self, canvas, seed=0):
        """Grey photo of a drawn plate, blurred and noisy as by a lens and a sensor."""
        shrink = np.diag([1 / DRAWN, 1 / DRAWN, 1.0])
        smooth = cv2.GaussianBlur(canvas, (0, 0), DRAWN / 2)
        seen = cv2.warpPerspective(
            smooth, self.matrix @ shrink, (SIZE, SIZE), flags=cv2.INTER_LINEAR, borderValue=105
        )
        noise = np.random.default_rng(seed).normal(0, 1.5, seen.shape)
        return np.clip(seen + noise, 0, 255).astype(np.uint8)

    def see(self, x, y):
        """Give the place of a plate point in the photo, and the Jacobian there."""
        a, b, w = self.matrix @ (x, y, 1)
        place = np.array([a / w, b / w])
        return place, (self.matrix[:2, :2] - np.outer(place, self.matrix[2, :2])) / w


@pytest.fixture(scope="session")
def draw_plate():
    return plate


@pytest.fixture(scope="session")
def camera():
    return Camera.looking
