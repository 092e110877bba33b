"""Made cases of surfaces: rust, chafed rubber, cracked rubber, a shock absorber's body."""

from __future__ import annotations

import dataclasses
import math

import cv2
import numpy as np

from visual_aid.evaluation.made.camera import Texture
from visual_aid.evaluation.made.case import HEIGHT, WIDTH, Case, aimed, backdrop, boxed, lit
from visual_aid.evaluation.made.surfaces import Canvas, Rng, blend, flat, painted, rubber, rust
from visual_aid.measure.scale import Floats
from visual_aid.model import Box

SHARES = (0.0, 0.0002, 0.0006, 0.002, 0.006, 0.02, 0.06, 0.13, 0.25, 0.42, 0.7)
"""Middles of the rusted shares of the grades of ASTM D610, 10 to 0."""


def rust_grade(rng: Rng) -> Case:
    """Make a painted plate with rust: spots, specks or a mix, of any share from none on."""
    camera = aimed(rng, rng.uniform(0.25, 0.6), 35.0)
    size = 0.8 * HEIGHT * camera.mm_per_px
    canvas = Canvas(1.3 * WIDTH * camera.mm_per_px, 1.3 * HEIGHT * camera.mm_per_px, camera.mm_per_px)
    share = SHARES[rng.integers(len(SHARES))] * rng.uniform(0.6, 1.5)
    surface = painted(rng, canvas, grime=rng.uniform(0.2, 0.9))
    spots = np.zeros(canvas.shape, np.float32)
    if share > 0:
        field = canvas.cloud(rng, rng.uniform(4, 30) if share > 0.004 else rng.uniform(3, 9), 4)
        cut = float(np.quantile(field, 1 - min(share, 0.97)))
        spots = canvas.edge(np.asarray((cut - field) * rng.uniform(3, 8), np.float32))
        surface = blend(surface, rust(rng, canvas), np.asarray(rng.uniform(0.75, 0.95) * spots, np.float32))
    layer = canvas.layer(surface)
    corners = 0.45 * size * np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)])
    box = boxed(camera, corners, rng)
    photo = lit(rng).develop(camera.render([layer]))
    seen = camera.render([dataclasses.replace(layer, texture=_mask(spots))])
    return Case(
        "rust_grade", (photo,), (box,), {"rusted_percent": 100 * _share(seen, box), "tilt_deg": camera.tilt}
    )


def chafe(rng: Rng) -> Case:
    """Make a dusty rubber wall, in three of four cases scuffed in a place: scratched one way."""
    camera = aimed(rng, rng.uniform(0.2, 0.4), 30.0)
    canvas = Canvas(1.3 * WIDTH * camera.mm_per_px, 1.3 * HEIGHT * camera.mm_per_px, camera.mm_per_px)
    x, y = canvas.grid()
    surface = rubber(rng, canvas, rng.uniform(0.1, 0.6))
    reach = 0.36 * HEIGHT * camera.mm_per_px
    spot = np.zeros(canvas.shape, np.float32)
    if rng.random() < 0.75:
        at = rng.uniform(-0.45, 0.45, 2) * reach
        long, short = reach * rng.uniform(0.2, 0.6), reach * rng.uniform(0.12, 0.35)
        turn = rng.uniform(0, math.pi)
        u = (x - at[0]) * math.cos(turn) + (y - at[1]) * math.sin(turn)
        v = -(x - at[0]) * math.sin(turn) + (y - at[1]) * math.cos(turn)
        far = np.hypot(u / long, v / short) - 1 + 0.18 * canvas.cloud(rng, 0.3 * reach)
        spot = np.asarray(1 / (1 + np.exp((far / 0.05).clip(-30, 30))), np.float32)
        strokes = canvas.noise(rng, 2.2 * camera.mm_per_px, rng.uniform(6, 20))
        rows, columns = canvas.shape
        turned = cv2.getRotationMatrix2D(
            (columns / 2, rows / 2), -math.degrees(turn) + rng.uniform(-10, 10), 1
        )
        strokes = cv2.warpAffine(strokes, turned, (columns, rows), borderMode=cv2.BORDER_REFLECT)
        worn = rng.uniform(0.26, 0.40) * (1 + rng.uniform(0.25, 0.5) * np.tanh(strokes))
        surface = blend(
            surface,
            np.asarray(worn[..., None] * np.ones(3), np.float32),
            spot * np.float32(rng.uniform(0.6, 0.95)),
        )
    layer = canvas.layer(surface)
    box = boxed(camera, reach * np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)]), rng)
    photo = lit(rng).develop(camera.render([layer]))
    seen = camera.render([dataclasses.replace(layer, texture=_mask(spot))])
    return Case(
        "chafe", (photo,), (box,), {"chafed_percent": 100 * _share(seen, box), "tilt_deg": camera.tilt}
    )


def rubber_crack(rng: Rng) -> Case:
    """Make the rubber of a bushing or a wall, with any number of cracks, radial, around or any way."""
    camera = aimed(rng, rng.uniform(0.10, 0.22), 30.0)
    texel = camera.mm_per_px
    canvas = Canvas(1.3 * WIDTH * texel, 1.3 * HEIGHT * texel, texel)
    surface = rubber(rng, canvas, rng.uniform(0.0, 0.6))
    reach = 0.36 * HEIGHT * texel
    way = str(rng.choice(["radial", "circumferential", "any"]))
    rows, columns = canvas.shape
    depth: Texture = np.zeros(canvas.shape, np.float32)
    length = longest = 0.0
    for _ in range(int(rng.choice([0, 1, 2, 4, 7, 11, 16]))):
        points, width = _crack(rng, reach, way)
        piece = float(np.hypot(*np.diff(points, axis=0).T).sum())
        length, longest = length + piece, max(longest, piece)
        pixels = points / texel + ((columns - 1) / 2, (rows - 1) / 2)
        line = np.zeros(canvas.shape, np.float32)
        for i in range(len(points) - 1):
            thick = width / texel * math.sin(math.pi * (i + 1) / len(points)) ** 0.6
            ends = [[round(float(v) * 16) for v in end] for end in pixels[i : i + 2]]
            cv2.line(line, ends[0], ends[1], 1.0, max(1, round(thick)), cv2.LINE_AA, 4)
        depth = np.maximum(depth, line * rng.uniform(0.6, 0.95))
    depth = cv2.GaussianBlur(depth, (0, 0), 0.5)
    surface = blend(surface, flat(canvas, (0.03, 0.03, 0.03)), depth)
    light = cv2.GaussianBlur(depth, (0, 0), 1.2)
    surface = np.asarray(
        surface * (1 + 0.25 * np.roll(light, 2, axis=0) * (1 - depth))[..., None], np.float32
    )
    layer = canvas.layer(surface)
    box = boxed(camera, reach * np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)]), rng, 0.01)
    photo = lit(rng).develop(camera.render([layer]))
    return Case(
        "rubber_crack",
        (photo,),
        (box,),
        {
            "density_ratio": length / (2 * reach),
            "longest_share": longest / (2 * reach),
            "way": way,
            "tilt_deg": camera.tilt,
        },
    )


def _crack(rng: Rng, reach: float, way: str) -> tuple[Floats, float]:
    """Walk a crack across the rubber: its points in mm (N, 2) and its width in mm."""
    length, step = reach * rng.uniform(0.25, 0.9), reach / 40
    radius, around = reach * rng.uniform(0.3, 0.7), rng.uniform(0, 2 * math.pi)
    at = radius * np.array([math.cos(around), math.sin(around)])
    bearing = rng.uniform(0, 2 * math.pi)
    points = []
    wander = 0.0
    for i in range(max(4, round(length / step))):
        outward = math.atan2(at[1], at[0])
        if way == "radial":
            bearing = outward if i else outward + 0.0
            if radius > 0.5 * reach:
                bearing += math.pi
        elif way == "circumferential":
            bearing = outward + math.pi / 2
        wander = 0.8 * wander + rng.normal(0, 0.25)
        points.append(at.copy())
        at = at + step * np.array([math.cos(bearing + wander), math.sin(bearing + wander)])
        if np.abs(at).max() > 0.97 * reach or (way == "radial" and np.hypot(*at) < 0.12 * reach):
            break
    return np.array(points), reach * rng.uniform(0.008, 0.03)


def fluid_run(rng: Rng) -> Case:
    """Make a shock absorber's body: dry, under a light film, or with fluid that has run down."""
    state = str(rng.choice(["dry", "light_film", "fluid_run", "light_film", "fluid_run"]))
    camera = aimed(rng, rng.uniform(0.28, 0.42), 25.0, roll=6.0)
    half, tall = rng.uniform(28, 42), rng.uniform(190, 240)
    canvas = Canvas(2 * half, tall, 0.3)
    x, y = canvas.grid()
    down = (y + tall / 2) / tall
    across = x / half
    surface = painted(rng, canvas, grime=rng.uniform(0.2, 0.9))
    wet = np.zeros(canvas.shape, np.float32)
    sheen = np.zeros(canvas.shape, np.float32)
    if state == "light_film" or (state == "fluid_run" and rng.random() < 0.5):
        reach = rng.uniform(0.15, 0.75)
        soft = rng.uniform(0.06, 0.2)
        edge = reach + 0.08 * canvas.cloud(rng, 30)
        film = 1 / (1 + np.exp(((down - edge) / soft).clip(-30, 30)))
        wet = np.asarray(
            rng.uniform(0.1, 0.42) * film * (0.75 + 0.25 * np.tanh(canvas.cloud(rng, 12))), np.float32
        )
    if state == "fluid_run":
        for _ in range(int(rng.integers(1, 5))):
            middle, wide = rng.uniform(-0.75, 0.75) * half, rng.uniform(2.5, 9)
            end = rng.uniform(0.35, 1.05)
            path = middle + 0.12 * half * np.cumsum(rng.normal(0, 0.08, canvas.shape[0])).astype(np.float32)
            taper = (
                wide
                * np.clip((end - down) / 0.12, 0, 1) ** 0.5
                * (0.75 + 0.25 * np.sin(9 * down + rng.uniform(0, 6)))
            )
            streak = canvas.edge(
                np.asarray(np.abs(x - path[:, None]) - taper, np.float32), rng.uniform(0.6, 2.5)
            )
            streak = streak * (down < end)
            wet = np.maximum(wet, np.asarray(rng.uniform(0.25, 0.65) * streak, np.float32))
            sheen = np.maximum(sheen, np.asarray(streak, np.float32))
    surface = np.asarray(surface * (1 - wet[..., None] * np.array([0.9, 0.95, 1.0], np.float32)), np.float32)
    if rng.random() < 0.4:  # an old water mark or a rust streak: runs down, and is no fluid
        middle = rng.uniform(-0.7, 0.7) * half
        mark = np.exp(-(((x - middle) / rng.uniform(2, 6)) ** 2)) * (down > rng.uniform(0, 0.5))
        colour = rust(rng, canvas) if rng.random() < 0.5 else flat(canvas, (0.6, 0.58, 0.55))
        surface = blend(surface, colour, np.asarray(rng.uniform(0.15, 0.4) * mark, np.float32))
    shade = np.sqrt(np.maximum(1 - across**2, 0.02))
    glint = np.exp(-(((across - rng.uniform(-0.4, 0.4)) / 0.10) ** 2))
    lit_up = (
        surface * (0.35 + 0.75 * shade)[..., None]
        + (glint * (0.05 + rng.uniform(0.15, 0.4) * sheen))[..., None]
    )
    body = canvas.layer(np.asarray(lit_up, np.float32), height=half)
    photo = lit(rng).develop(camera.render([backdrop(rng, camera, grime=0.5), body]))
    corners = np.array([(-half, -tall / 2), (half, -tall / 2), (half, tall / 2), (-half, tall / 2)]) * 0.97
    return Case(
        "fluid_run",
        (photo,),
        (boxed(camera, corners, rng, 0.02, height=half),),
        {"state": state, "tilt_deg": camera.tilt},
    )


def _share(seen: Texture, box: Box) -> float:
    """Give the share of a box that a rendered mask covers."""
    x, y, w, h = (round(v) for v in box)
    return float((seen[y : y + h, x : x + w, 0] > 0.5).mean())


def _mask(cover: Texture) -> Texture:
    return np.repeat((cover > 0.5).astype(np.float32)[..., None], 3, 2)
