"""One made case of wear: its pictures, what is boxed on them, and the truth."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from visual_aid.evaluation.made.camera import Camera, Development, Layer
from visual_aid.evaluation.made.surfaces import Canvas, Colour, Rng, card, painted, rubber
from visual_aid.measure.scale import Floats
from visual_aid.measure.scale_card import SMALL, Board
from visual_aid.model import Box, Wear

WIDTH, HEIGHT = 1024, 768
"""Pixels of a made picture."""


@dataclass(frozen=True, eq=False)
class Case:
    """A case.

    Attributes
    ----------
    wear : str
        Kind of wear; ``scale_card`` for lengths beside the card.
    photos : tuple of bytes
        JPEG files.
    boxes : tuple of Box
        What a person would box, in each photo or all in one.
    truth : dict
        What is true, by the names of the figures; lengths in millimetres.
    """

    wear: Wear | str
    photos: tuple[bytes, ...]
    boxes: tuple[Box, ...]
    truth: dict[str, float | str | list[list[float]]] = field(default_factory=dict)


def aimed(rng: Rng, mm_per_px: float, most_tilt: float, roll: float = 12.0, zoom: float = 2.0) -> Camera:
    """Set up a phone before the scene: anywhere up to a tilt, at a distance that gives the scale."""
    focal = zoom * WIDTH * rng.uniform(0.70, 0.85)
    return Camera(
        WIDTH,
        HEIGHT,
        focal,
        focal * mm_per_px,
        tilt=most_tilt * math.sqrt(rng.uniform(0, 1)),
        tilt_axis=rng.uniform(0, 360),
        roll=rng.uniform(-roll, roll),
        curve=rng.uniform(-0.02, 0.02),
        aim=(rng.uniform(-40, 40), rng.uniform(-30, 30)),
    )


def lit(rng: Rng, *, most_motion: float = 2.0) -> Development:
    """Choose light, lens and phone."""
    return Development(
        light=rng.uniform(0, 0.6),
        light_from=rng.uniform(0, 360),
        shadow=float(rng.choice([0.0, 0.0, 0.35, 0.6])),
        blur=rng.uniform(0.5, 1.1),
        moved=float(rng.choice([0.0, 0.0, rng.uniform(0.5, most_motion)])),
        moved_to=rng.uniform(0, 180),
        noise=rng.uniform(1.0, 4.5),
        exposure=rng.uniform(0.75, 1.3),
        warmth=rng.uniform(0.85, 1.2),
        quality=int(rng.integers(78, 95)),
        grain=int(rng.integers(1 << 30)),
    )


def backdrop(
    rng: Rng, camera: Camera, height: float = 0.0, grime: float = 0.4, coat: Colour | None = None
) -> Layer:
    """Give a painted surface that fills the picture."""
    texel = camera.mm_per_px
    canvas = Canvas(1.3 * WIDTH * texel, 1.3 * HEIGHT * texel, texel)
    return canvas.layer(painted(rng, canvas, grime, coat), height=height)


def beside(
    rng: Rng, camera: Camera, clear: float, board: Board = SMALL, height: float = 0.0
) -> tuple[Camera, Layer]:
    """Lay a scale card beside a part that reaches ``clear`` mm from the middle, and aim between the two."""
    left_or_right = rng.choice([0.0, 180.0])
    bearing = math.radians(left_or_right + rng.uniform(-35, 35) + camera.roll)
    away = clear + rng.uniform(0.52, 0.62) * board.size[0]
    where = away * np.array([math.cos(bearing), math.sin(bearing)])
    laid = card(rng, board, at=(float(where[0]), float(where[1])), turn=rng.uniform(-40, 40), height=height)
    aim = -0.45 * where / camera.mm_per_px
    return dataclasses.replace(
        camera, aim=(camera.aim[0] + float(aim[0]), camera.aim[1] + float(aim[1]))
    ), laid


def blotch(rng: Rng, at: tuple[float, float], reach: float, height: float = 0.0) -> Layer:
    """Give something dark that lies over what is behind: a hose, a rag, a hand's shadow."""
    canvas = Canvas(2.6 * reach, 2.6 * reach, max(reach / 150, 0.3))
    x, y = canvas.grid()
    distance = np.hypot(x / 1.3, y) - 0.8 * reach + 0.1 * reach * canvas.noise(rng, 0.4 * reach)
    return canvas.layer(
        rubber(rng, canvas), canvas.edge(distance), at=at, turn=rng.uniform(0, 180), height=height
    )


def boxed(
    camera: Camera, mm: Floats, rng: Rng | None = None, jitter: float = 0.03, height: float = 0.0
) -> Box:
    """Give the box that a person would draw about points of the scene: tight, give or take ``jitter``."""
    pixels = camera.project(mm, height)
    (left, top), (right, bottom) = pixels.min(axis=0), pixels.max(axis=0)
    if rng is not None:
        by = jitter * np.array([right - left, bottom - top, right - left, bottom - top])
        left, top, right, bottom = np.array([left, top, right, bottom]) + rng.uniform(-1, 1, 4) * by
    left, top = max(0.0, left), max(0.0, top)
    return float(left), float(top), float(min(WIDTH, right) - left), float(min(HEIGHT, bottom) - top)


def circle(at: Sequence[float], radius: float, n: int = 72) -> Floats:
    """Give points on a circle."""
    bearing = np.linspace(0, 2 * math.pi, n, endpoint=False)
    return np.column_stack([at[0] + radius * np.cos(bearing), at[1] + radius * np.sin(bearing)])
