"""Surfaces as they are under a truck: paint, rubber, bare and rusty steel, dust, grime and scratches."""

from __future__ import annotations

import dataclasses
import math
from dataclasses import dataclass

import cv2
import numpy as np

from visual_aid.evaluation.made.camera import Layer, Texture
from visual_aid.measure.scale import Floats
from visual_aid.measure.scale_card import LARGE, Board, black_parts

Rng = np.random.Generator
Colour = tuple[float, float, float]

OXIDES = (
    np.array([(115, 53, 41), (154, 72, 50), (113, 56, 32), (137, 83, 46), (174, 105, 49), (155, 114, 54)])
    / 255
)
"""sRGB of iron oxides, from the dark to the yellow ones: Munsell chips inside the minerals' hue ranges
(Schwertmann 1993, SSSA Spec. Publ. 31)."""
COATS = (
    (0.13, 0.13, 0.14),
    (0.20, 0.20, 0.21),
    (0.34, 0.35, 0.36),
    (0.52, 0.53, 0.53),
    (0.16, 0.22, 0.33),
    (0.60, 0.58, 0.52),
    (0.22, 0.31, 0.26),
)
"""sRGB of chassis paints: blacks, greys, blue, bone, green."""
CARD_RIM = 0.4
"""Width of the paper around the pattern, in squares. What the engine takes it for is its own affair: pictures
that moved with that would not show it wrong."""


@dataclass(frozen=True, eq=False)
class Canvas:
    """A grid of millimetres to paint on; its middle is (0, 0)."""

    width: float
    height: float
    texel: float

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        return math.ceil(self.height / self.texel), math.ceil(self.width / self.texel)

    def grid(self) -> tuple[Texture, Texture]:
        """Give x and y in millimetres of every texel."""
        rows, columns = self.shape
        x = (np.arange(columns, dtype=np.float32) - (columns - 1) / 2) * self.texel
        y = (np.arange(rows, dtype=np.float32) - (rows - 1) / 2) * self.texel
        return tuple(np.meshgrid(x, y))

    def noise(self, rng: Rng, size: float, stretch: float = 1.0) -> Texture:
        """Give smooth noise, mean 0, deviation 1, in blotches of ``size`` mm, stretched along x."""
        rows, columns = self.shape
        step_y, step_x = max(size / self.texel, 1.0), max(size * stretch / self.texel, 1.0)
        few = math.ceil(rows / step_y) + 3, math.ceil(columns / step_x) + 3
        coarse = rng.standard_normal(few, np.float32)
        big = cv2.resize(coarse, None, fx=step_x, fy=step_y, interpolation=cv2.INTER_CUBIC)
        top, left = int(rng.integers(0, max(1, int(step_y)))), int(rng.integers(0, max(1, int(step_x))))
        cut = big[top : top + rows, left : left + columns]
        return np.asarray(cut / max(float(cut[::3, ::3].std()), 1e-6), np.float32)

    def cloud(self, rng: Rng, size: float, octaves: int = 4, stretch: float = 1.0) -> Texture:
        """Give noise of several sizes, from ``size`` mm down by halves."""
        finest = size / 2 ** (octaves - 1) / self.texel
        if finest > 4:  # smooth enough to be drawn small and enlarged
            small = dataclasses.replace(self, texel=self.texel * finest / 2).cloud(
                rng, size, octaves, stretch
            )
            return cv2.resize(small, self.shape[::-1], interpolation=cv2.INTER_LINEAR)
        total = np.zeros(self.shape, np.float32)
        for octave in range(octaves):
            total += 0.6**octave * self.noise(rng, size / 2**octave, stretch)
        return np.asarray(total / max(float(total[::3, ::3].std()), 1e-6), np.float32)

    def edge(self, distance: Texture, soft: float = 0.0) -> Texture:
        """Give 1 where a signed distance in mm is negative, 0 where positive, with the edge at half."""
        return np.clip(0.5 - distance / max(self.texel, soft), 0, 1).astype(np.float32)

    def layer(
        self, texture: Texture, cover: Texture | None = None, **place: float | tuple[float, float]
    ) -> Layer:
        """Make a layer of a painted canvas."""
        whole = np.ones(self.shape, np.float32) if cover is None else cover
        return Layer(texture.clip(0, 1).astype(np.float32), whole, self.texel, **place)  # type: ignore[arg-type]


def blend(below: Texture, above: Texture, share: Texture) -> Texture:
    """Lay one texture over another by a share for each texel."""
    return np.asarray(below + (above - below) * share[..., None], np.float32)


def flat(canvas: Canvas, colour: Colour | Floats) -> Texture:
    """Give a canvas of one colour."""
    return np.broadcast_to(np.asarray(colour, np.float32), (*canvas.shape, 3))


def rust(rng: Rng, canvas: Canvas, size: float = 8.0) -> Texture:
    """Give rust: oxides from dark to yellow, mottled."""
    which = (canvas.cloud(rng, size) * 0.9 + rng.uniform(1.0, 3.0)).clip(0, len(OXIDES) - 1.001)
    low = which.astype(int)
    part = (which - low)[..., None]
    colour = OXIDES[low] * (1 - part) + OXIDES[low + 1] * part
    return np.asarray(colour * (1 + 0.10 * canvas.noise(rng, 0.8)[..., None]), np.float32)


def painted(rng: Rng, canvas: Canvas, grime: float = 0.4, coat: Colour | None = None) -> Texture:
    """Give a painted surface with grime, dust and scratches; no rust."""
    colour = np.array(coat or COATS[rng.integers(len(COATS))])
    surface = flat(canvas, colour) * (
        1 + 0.05 * canvas.cloud(rng, 60)[..., None] + 0.05 * canvas.noise(rng, 1.2)[..., None]
    )
    dust = 1 / (1 + np.exp(-2.0 * (canvas.cloud(rng, rng.uniform(15, 60)) - rng.uniform(0.0, 1.5))))
    surface = blend(
        np.asarray(surface, np.float32),
        flat(canvas, (0.42, 0.38, 0.33)),
        np.asarray(grime * dust, np.float32),
    )
    return scratched(rng, canvas, surface, int(rng.integers(0, 12)))


def scratched(rng: Rng, canvas: Canvas, surface: Texture, count: int) -> Texture:
    """Draw fine, light scratches."""
    lines = np.zeros(canvas.shape, np.float32)
    rows, columns = canvas.shape
    for _ in range(count):
        start = rng.uniform((0, 0), (columns, rows))
        reach = rng.uniform(10, 60) / canvas.texel
        bearing = rng.uniform(0, 2 * math.pi)
        end = start + reach * np.array([math.cos(bearing), math.sin(bearing)])
        points = np.linspace(start, end, 8) + rng.normal(0, 0.02 * reach, (8, 2))
        fine: Texture = np.round(points * 16).astype(np.int32)
        cv2.polylines(lines, [fine], False, float(rng.uniform(0.2, 0.8)), 1, cv2.LINE_AA, 4)
    return blend(surface, np.asarray(surface * 1.6 + 0.08, np.float32), lines)


def rubber(rng: Rng, canvas: Canvas, dust: float = 0.3) -> Texture:
    """Give old rubber: dark, finely grained, dusty in places."""
    shade = rng.uniform(0.13, 0.24)
    colour = shade * np.array([1.0, 1.0, 1.0 + rng.uniform(-0.04, 0.06)])
    surface = flat(canvas, colour) * (
        1 + 0.06 * canvas.cloud(rng, 30)[..., None] + 0.10 * canvas.noise(rng, 0.5)[..., None]
    )
    film = 1 / (1 + np.exp(-2.0 * (canvas.cloud(rng, rng.uniform(10, 40)) - rng.uniform(0.5, 2.0))))
    return blend(
        np.asarray(surface, np.float32), flat(canvas, (0.45, 0.41, 0.36)), np.asarray(dust * film, np.float32)
    )


def steel(rng: Rng, canvas: Canvas, rusty: float = 0.3) -> Texture:
    """Give bare steel, brushed along x, rusty to a share of its area."""
    shade = rng.uniform(0.42, 0.62)
    surface = flat(canvas, (shade, shade, shade * 1.02)) * (
        1 + 0.06 * canvas.noise(rng, 0.5, 20)[..., None] + 0.06 * canvas.cloud(rng, 25)[..., None]
    )
    surface = np.asarray(surface, np.float32)
    if rusty <= 0:
        return surface
    field = canvas.cloud(rng, rng.uniform(6, 20))
    over = 1 / (1 + np.exp(-4 * (field - np.quantile(field, 1 - rusty))))
    return blend(surface, rust(rng, canvas), np.asarray(0.85 * over, np.float32))


def card(
    rng: Rng,
    board: Board = LARGE,
    *,
    at: tuple[float, float] = (0.0, 0.0),
    turn: float = 0.0,
    height: float = 0.0,
) -> Layer:
    """Give a scale card as a layer, on paper that is neither quite white nor clean."""
    texel = board.square / 100
    wide, tall = board.size
    rim = CARD_RIM * board.square
    canvas = Canvas(wide + 2 * rim, tall + 2 * rim, texel)
    ink = np.zeros(canvas.shape, np.float32)
    for left, top, across, down in black_parts(board):
        x0, y0, x1, y1 = (round((v + rim) / texel) for v in (left, top, left + across, top + down))
        ink[y0:y1, x0:x1] = 1
    paper = flat(canvas, (0.86, 0.86, 0.84)) * (1 + 0.01 * canvas.cloud(rng, 40)[..., None])
    grime = np.asarray(rng.uniform(0, 0.25) / (1 + np.exp(-2.0 * (canvas.cloud(rng, 25) - 1.2))), np.float32)
    sheet = blend(np.asarray(paper, np.float32), flat(canvas, (0.10, 0.10, 0.11)), ink)
    return canvas.layer(
        blend(sheet, flat(canvas, (0.35, 0.30, 0.24)), grime), at=at, turn=turn, height=height
    )
