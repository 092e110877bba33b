"""Made cases of lengths: the card itself, movement, heights."""

from __future__ import annotations

import dataclasses
import math

import numpy as np

from visual_aid.evaluation.made.camera import Camera, Layer
from visual_aid.evaluation.made.case import (
    HEIGHT,
    WIDTH,
    Case,
    aimed,
    backdrop,
    beside,
    blotch,
    boxed,
    circle,
    lit,
)
from visual_aid.evaluation.made.surfaces import Canvas, Rng, blend, card, painted, rubber, rust, steel
from visual_aid.measure.scale_card import BOARDS, LARGE


def scale_card(rng: Rng) -> Case:
    """Make the card on a rail at up to 45 degrees, one in four partly hidden, and lengths about it."""
    camera = aimed(rng, rng.uniform(0.25, 0.6), 45.0, roll=180.0, zoom=1.0)
    reach = np.array([WIDTH, HEIGHT]) * camera.mm_per_px
    laid = card(rng, at=tuple(rng.uniform(-0.15, 0.15, 2) * reach), turn=rng.uniform(0, 360))
    layers = [backdrop(rng, camera), laid]
    if rng.random() < 0.25:
        layers.append(
            blotch(rng, tuple(np.array(laid.at) + rng.uniform((-90, -60), (90, 60))), rng.uniform(20, 45))
        )
    ends: list[list[float]] = []
    lengths: list[float] = []
    for _ in range(200):
        a = np.array(laid.at) + rng.uniform(-150, 150, 2)
        length, bearing = rng.uniform(50, 250), rng.uniform(0, 2 * math.pi)
        b = a + length * np.array([math.cos(bearing), math.sin(bearing)])
        pixels = camera.project(np.array([a, b]))
        if (pixels > 0).all() and (pixels < (WIDTH, HEIGHT)).all():
            ends.append([float(v) for v in pixels.ravel()])
            lengths.append(length)
        if len(lengths) == 4:
            break
    photo = lit(rng, most_motion=3.0).develop(camera.render(layers))
    box = boxed(camera, circle(laid.at, LARGE.size[0] / 2))
    return Case("scale_card", (photo,), (box,), {"tilt_deg": camera.tilt, "ends": ends, "lengths": [lengths]})


def movement(rng: Rng) -> Case:
    """Make a rod end before a bracket, pushed and pulled: two photos by hand from nearly one place."""
    camera = aimed(rng, rng.uniform(0.3, 0.45), 30.0)
    back = backdrop(rng, camera, height=-rng.uniform(0, 30), grime=0.7)
    # Paint chips and rust specks on the bracket: what stands still has to be worth following.
    back = _specked(rng, back)
    part = _rod_end(rng, rng.uniform(28, 45))
    length = 0.0 if rng.random() < 0.2 else rng.uniform(0.3, 7.0)
    bearing = rng.uniform(0, 2 * math.pi)
    moved = length * np.array([math.cos(bearing), math.sin(bearing)])
    turn = rng.uniform(0, 360)
    clear = part.texel * part.cover.shape[0] / 2
    camera, laid = beside(rng, camera, clear, BOARDS[rng.integers(2)], rng.uniform(-3, 3))
    again = dataclasses.replace(
        camera,
        tilt=camera.tilt + rng.normal(0, 2.0),
        tilt_axis=camera.tilt_axis + rng.normal(0, 2.0),
        roll=camera.roll + rng.normal(0, 2.5),
        distance=camera.distance * rng.uniform(0.96, 1.04),
        aim=(camera.aim[0] + rng.uniform(-40, 40), camera.aim[1] + rng.uniform(-40, 40)),
    )
    light = lit(rng)
    other = dataclasses.replace(
        light,
        exposure=light.exposure * rng.uniform(0.85, 1.15),
        grain=light.grain + 1,
        blur=rng.uniform(0.5, 1.1),
    )
    first = camera.render([back, laid, dataclasses.replace(part, turn=turn)])
    second = again.render(
        [back, laid, dataclasses.replace(part, turn=turn, at=(float(moved[0]), float(moved[1])))]
    )
    reach = 0.8 * clear
    corners = np.array([(-reach, -reach), (reach, -reach), (reach, reach), (-reach, reach)])
    return Case(
        "movement",
        (light.develop(first), other.develop(second)),
        (boxed(camera, corners, rng),),
        {"movement_mm": length, "tilt_deg": camera.tilt, "mm_per_px": camera.mm_per_px},
    )


def _specked(rng: Rng, layer: Layer) -> Layer:
    rows, columns = layer.cover.shape
    canvas = Canvas(columns * layer.texel, rows * layer.texel, layer.texel)
    canvas = dataclasses.replace(
        canvas, width=(columns - 0.5) * layer.texel, height=(rows - 0.5) * layer.texel
    )
    field = canvas.cloud(rng, 7)
    specks = canvas.edge(np.asarray((np.quantile(field, 0.985) - field) * 4, np.float32))
    return dataclasses.replace(
        layer, texture=blend(layer.texture, rust(rng, canvas), np.asarray(0.8 * specks, np.float32))
    )


def _rod_end(rng: Rng, radius: float) -> Layer:
    """Draw a round rod end with a nut on it and the rod to one side."""
    canvas = Canvas(3.2 * radius, 3.2 * radius, 0.3)
    x, y = canvas.grid()
    far = np.hypot(x, y)
    shape = np.minimum(far - radius, np.maximum(np.abs(y) - 0.42 * radius, -x)).astype(np.float32)
    surface = painted(rng, canvas, grime=0.8)
    field = canvas.cloud(rng, 8)
    surface = blend(
        surface, rust(rng, canvas), canvas.edge(np.asarray((np.quantile(field, 0.9) - field) * 3, np.float32))
    )
    surface = surface * (1.15 - 0.5 * canvas.edge(np.abs(far - 0.75 * radius) - 0.8)[..., None])
    hexagon = (
        np.max([np.abs(x * math.cos(a) + y * math.sin(a)) for a in np.radians((10, 70, 130))], axis=0)
        - 0.45 * radius
    )
    surface = blend(
        np.asarray(surface, np.float32), steel(rng, canvas, 0.4), canvas.edge(hexagon.astype(np.float32))
    )
    return canvas.layer(surface, canvas.edge(shape))


def height_difference(rng: Rng) -> Case:
    """Make left and right air springs, photographed each for itself with the card beside it."""
    left = rng.uniform(170, 280)
    apart = rng.choice([rng.uniform(-3, 3), rng.uniform(-25, 25)])
    return _heights(rng, "height_difference", left, left + float(apart))


def ride_height_hold(rng: Rng) -> Case:
    """Make one air spring twice: set, and a quarter of an hour later."""
    before = rng.uniform(170, 280)
    sunk = rng.choice([0.0, rng.uniform(0, 20)])
    return _heights(rng, "ride_height_hold", before, before - float(sunk))


def _heights(rng: Rng, wear: str, first: float, second: float) -> Case:
    photos, boxes = [], []
    dark = rng.uniform(0.8, 1.2)
    for height in (first, second):
        camera = aimed(rng, rng.uniform(0.5, 0.7), 25.0, roll=4.0)
        photos.append(lit(rng).develop(camera.render(_air_spring(rng, camera, height, dark))))
        # The box's upper and lower edge lie on the plates, as far as a person hits them; a box stands upright
        # even where the photo leans, so its middle line is what counts.
        top, bottom = camera.project(np.array([(0.0, -height / 2), (0.0, height / 2)]))
        middle, half = (top[0] + bottom[0]) / 2, 90 / camera.mm_per_px
        y0, y1 = top[1] + rng.normal(0, 2.0), bottom[1] + rng.normal(0, 2.0)
        boxes.append((float(middle - half), float(y0), float(2 * half), float(y1 - y0)))
    return Case(
        wear,
        tuple(photos),
        tuple(boxes),
        {"before_mm": first, "after_mm": second, "difference_mm": second - first},
    )


def _air_spring(rng: Rng, camera: Camera, height: float, dark: float) -> list[Layer]:
    """Draw a bellows between two light plates, and the card on the frame beside it, in the same plane."""
    wide = 125.0
    canvas = Canvas(2 * wide + 60, height + 90, 0.5)
    x, y = canvas.grid()
    bulge = np.asarray(wide * (0.86 + 0.10 * np.cos(4 * math.pi * y / height)), np.float32)
    body = np.maximum(np.abs(x) - bulge, np.abs(y) - height / 2)
    shade = (1 - 0.55 * (np.abs(x) / wide) ** 3) * (0.85 + 0.25 * np.cos(4 * math.pi * y / height))
    surface = np.asarray(rubber(rng, canvas) * dark * shade[..., None], np.float32)
    plate = np.maximum(np.abs(x) - wide * 0.95, np.abs(np.abs(y) - height / 2 - 11) - 11).astype(np.float32)
    surface = blend(steel(rng, canvas, rng.uniform(0.1, 0.5)), surface, canvas.edge(body.astype(np.float32)))
    spring = canvas.layer(surface, canvas.edge(np.minimum(body, plate).astype(np.float32)))
    side = float(rng.choice([-1, 1]))
    laid = card(rng, at=(side * rng.uniform(210, 240), rng.uniform(-80, 80)), turn=rng.uniform(-20, 20) + 90)
    return [backdrop(rng, camera), spring, laid]
