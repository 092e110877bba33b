"""A phone's camera before flat parts: where a point falls in the picture, and the picture itself."""

from __future__ import annotations

import functools
import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from visual_aid.measure.scale import Floats

Texture = NDArray[Any]
"""float32 throughout; what OpenCV gives back is not typed as such."""


@dataclass(frozen=True, eq=False)
class Layer:
    """A flat, painted thing.

    Attributes
    ----------
    texture : ndarray of shape (h, w, 3), float32
        sRGB, 0 to 1.
    cover : ndarray of shape (h, w), float32
        How much it hides of what is behind, 0 to 1.
    texel : float
        Millimetres a pixel of the texture.
    at : (float, float)
        Where the texture's middle lies, in millimetres.
    turn : float
        Degrees by which it is turned in its plane, clockwise as seen from the front.
    height : float
        Millimetres by which its plane stands before the plane of the scene.
    """

    texture: Texture
    cover: Texture
    texel: float
    at: tuple[float, float] = (0.0, 0.0)
    turn: float = 0.0
    height: float = 0.0


@dataclass(frozen=True)
class Camera:
    """A pinhole camera with a slightly curved lens that looks at the scene's origin.

    Attributes
    ----------
    width, height : int
        Pixels.
    focal : float
        Focal length in pixels.
    distance : float
        Millimetres to the scene's origin.
    tilt, tilt_axis, roll : float
        Degrees: off the plane's normal, about which direction in the plane, and about the line of sight.
    curve : float
        Radial distortion, the share by which a point at one focal length off the middle is moved outwards.
    aim : (float, float)
        Pixels by which the origin falls beside the picture's middle.
    """

    width: int
    height: int
    focal: float
    distance: float
    tilt: float = 0.0
    tilt_axis: float = 0.0
    roll: float = 0.0
    curve: float = 0.0
    aim: tuple[float, float] = (0.0, 0.0)

    @property
    def mm_per_px(self) -> float:
        """Millimetres a pixel at the scene's origin, head on."""
        return self.distance / self.focal

    @functools.cached_property
    def _turned(self) -> Floats:
        axis = math.radians(self.tilt_axis)
        tilted, _ = cv2.Rodrigues(math.radians(self.tilt) * np.array([math.cos(axis), math.sin(axis), 0.0]))
        rolled, _ = cv2.Rodrigues(np.array([0.0, 0.0, math.radians(self.roll)]))
        return np.asarray(rolled @ tilted, float)

    def plane(self, height: float = 0.0) -> Floats:
        """Give the homography of a plane of the scene to undistorted pixels, shape (3, 3)."""
        inner = np.array(
            [
                [self.focal, 0, (self.width - 1) / 2 + self.aim[0]],
                [0, self.focal, (self.height - 1) / 2 + self.aim[1]],
                [0, 0, 1],
            ]
        )
        lifted = self._turned @ (0.0, 0.0, -height) + (0.0, 0.0, self.distance)
        return np.asarray(inner @ np.column_stack([self._turned[:, 0], self._turned[:, 1], lifted]), float)

    def project(self, mm: Floats, height: float = 0.0) -> Floats:
        """Map millimetres of the scene (..., 2) to the picture's pixels."""
        flat = np.column_stack([mm.reshape(-1, 2), np.ones(mm.size // 2)]) @ self.plane(height).T
        straight = flat[:, :2] / flat[:, 2:]
        bent = straight.copy()
        for _ in range(12):  # the lens is written as the way back, which renders without gaps
            bent += straight - self._straight(bent)
        placed: Floats = bent.reshape(mm.shape)
        return placed

    def _straight(self, pixels: Floats) -> Floats:
        middle = np.array([(self.width - 1) / 2, (self.height - 1) / 2], pixels.dtype)
        off = pixels - middle
        # Far outside the picture the lens is left as it is at its rim.
        square = (off[..., :1] ** 2 + off[..., 1:] ** 2).clip(None, self.focal**2)
        straight: Floats = middle + off * (1 - square * (self.curve / self.focal**2))
        return straight

    def render(self, layers: Sequence[Layer]) -> Texture:
        """Draw the layers as light: float32 (height, width, 3), linear, 0 to 1.

        The farthest comes first; it has no holes and goes on without end.
        """
        ys, xs = np.mgrid[0 : self.height, 0 : self.width].astype(np.float32)
        lit = [(layer, to_light(layer.texture), self._to_texels(layer)) for layer in layers]
        total: Texture = np.zeros((self.height, self.width, 3), np.float32)
        parts = ((-0.25, 0.25), (0.25, -0.25))
        for dx, dy in parts:
            straight = self._straight(np.stack([xs + np.float32(dx), ys + np.float32(dy)], -1))
            seen: Texture = np.zeros_like(total)
            for layer, texture, to_texels in lit:
                u, v = cv2.split(cv2.perspectiveTransform(straight, to_texels))
                colour = cv2.remap(texture, u, v, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT)
                if layer is layers[0]:
                    seen = colour
                    continue
                cover = cv2.remap(layer.cover, u, v, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT)
                seen += (colour - seen) * cover[..., None]
            total += seen / len(parts)
        return total

    def _to_texels(self, layer: Layer) -> Floats:
        """Give the homography from undistorted pixels to texels of a layer."""
        angle = math.radians(layer.turn)
        rows, columns = layer.cover.shape
        turned = (
            np.array([[math.cos(angle), math.sin(angle)], [-math.sin(angle), math.cos(angle)]]) / layer.texel
        )
        shift = np.array([(columns - 1) / 2, (rows - 1) / 2]) - turned @ layer.at
        return np.vstack([np.column_stack([turned, shift]), (0, 0, 1)]) @ np.linalg.inv(
            self.plane(layer.height)
        )


@dataclass(frozen=True)
class Development:
    """What light, lens and phone make of the scene.

    Attributes
    ----------
    light : float
        Share by which one side is lit more than the other; ``light_from`` in degrees.
    shadow : float
        Share of the light that a cast shadow takes; 0 for none.
    blur, moved : float
        Pixels: sigma of the lens's blur, and length of the motion (its direction in ``moved_to``, degrees).
    noise : float
        Standard deviation of the sensor's noise at mid grey, as encoded values of 255.
    exposure, warmth : float
        Factors on all light, and on red against blue.
    quality : int
        Of the JPEG file.
    """

    light: float = 0.2
    light_from: float = 0.0
    shadow: float = 0.0
    blur: float = 0.7
    moved: float = 0.0
    moved_to: float = 0.0
    noise: float = 2.0
    exposure: float = 1.0
    warmth: float = 1.0
    quality: int = 90
    grain: int = field(default=0)

    def develop(self, light: Texture) -> bytes:
        """Give the JPEG file of a rendered scene."""
        rng = np.random.default_rng(self.grain)
        height, width = light.shape[:2]
        y, x = np.mgrid[0:height, 0:width].astype(np.float32)
        y, x = (y - height / 2) / width, (x - width / 2) / width
        along = x * math.cos(math.radians(self.light_from)) + y * math.sin(math.radians(self.light_from))
        shade = (1 + 2 * self.light * along) * (1 - 0.5 * (x**2 + y**2))
        if self.shadow:
            across = -x * math.sin(math.radians(self.light_from)) + y * math.cos(
                math.radians(self.light_from)
            )
            edge = rng.uniform(-0.25, 0.25) + 0.06 * np.sin(9 * along + rng.uniform(0, 6))
            shade *= 1 - self.shadow / (
                1 + np.exp(((across - edge) / rng.uniform(0.004, 0.02)).clip(-50, 50))
            )
        seen = light * shade[..., None] * self.exposure
        seen = seen * np.array([math.sqrt(self.warmth), 1, 1 / math.sqrt(self.warmth)], np.float32)
        seen = cv2.GaussianBlur(seen, (0, 0), self.blur)
        if self.moved > 0:
            seen = cv2.filter2D(seen, -1, motion(self.moved, self.moved_to))
        encoded = 255 * to_srgb(seen.clip(0, None))
        grain = rng.standard_normal(encoded.shape, np.float32)
        encoded += self.noise * (0.6 + 0.8 * np.sqrt(encoded.clip(0, 255) / 255)) * grain
        pixels = encoded.clip(0, 255).round().astype(np.uint8)
        done, data = cv2.imencode(".jpg", pixels[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, self.quality])
        assert done
        return data.tobytes()


def motion(length: float, bearing: float) -> Texture:
    """Give the kernel of a straight motion of some pixels."""
    size = 2 * math.ceil(length / 2) + 3
    fine = np.zeros((8 * size, 8 * size), np.float32)
    middle = (8 * size - 1) / 2
    step = 4 * length * np.array([math.cos(math.radians(bearing)), math.sin(math.radians(bearing))])
    ends = [tuple(round(float(16 * (middle + s * v))) for v in step) for s in (-1, 1)]
    cv2.line(fine, ends[0], ends[1], 1.0, 8, cv2.LINE_AA, 4)
    kernel = cv2.resize(fine, (size, size), interpolation=cv2.INTER_AREA)
    return np.asarray(kernel / kernel.sum(), np.float32)


def to_light(encoded: Texture) -> Texture:
    """Undo a gamma of 2.2: near enough to sRGB for made pictures, and fast."""
    return np.asarray(cv2.pow(np.maximum(encoded, 0), 2.2), np.float32)


def to_srgb(light: Texture) -> Texture:
    """Apply a gamma of 2.2, with a soft shoulder near white as phones have it."""
    bent = np.where(light > 0.8, 0.8 + 0.2 * np.tanh((light - 0.8) / 0.2), light)
    return np.asarray(cv2.pow(bent.astype(np.float32), 1 / 2.2), np.float32)
