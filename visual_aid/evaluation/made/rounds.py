"""Made cases of round parts: a bushing in its eye, and a bolt hole."""

from __future__ import annotations

import math

import numpy as np

from visual_aid.evaluation.made.case import Case, aimed, backdrop, beside, blotch, boxed, circle, lit
from visual_aid.evaluation.made.surfaces import Canvas, Rng, blend, flat, painted, rubber, rust, steel


def bushing_offset(rng: Rng) -> Case:
    """Make an eye with rubber and sleeve, the sleeve off its centre; two of three with the card beside it."""
    eye = rng.uniform(26, 48)
    sleeve = eye * rng.uniform(0.36, 0.6)
    thick = eye - sleeve
    share = rng.uniform(0, 0.9) if rng.random() < 0.8 else 0.0
    bearing = rng.uniform(0, 2 * math.pi)
    off = share * thick * np.array([math.cos(bearing), math.sin(bearing)])
    with_card = rng.random() < 0.67
    camera = aimed(rng, rng.uniform(0.22, 0.34), 40.0 if with_card else 20.0)
    canvas = Canvas(3.4 * eye, 3.4 * eye, 0.22)
    x, y = canvas.grid()
    far = np.hypot(x, y)
    inner = np.hypot(x - off[0], y - off[1])
    wall = eye * rng.uniform(1.18, 1.4)
    surface = painted(rng, canvas, grime=0.5, coat=tuple(rng.uniform(0.34, 0.6) * np.array([1, 1, 1.02])))
    rusty = canvas.cloud(rng, 9)
    surface = blend(
        surface,
        rust(rng, canvas),
        canvas.edge(np.asarray((np.quantile(rusty, 0.85) - rusty) * 3, np.float32)),
    )
    # The eye throws a soft shadow on the rubber; the rubber stands a little proud, or a little back.
    shade = 1 - 0.35 * np.exp(-np.abs(far - eye) / 3) * (1 + np.cos(np.arctan2(y, x) - rng.uniform(0, 6)))
    surface = blend(
        surface,
        np.asarray(rubber(rng, canvas, 0.5) * shade[..., None], np.float32),
        canvas.edge((far - eye).astype(np.float32)),
    )
    surface = blend(
        surface, steel(rng, canvas, rng.uniform(0, 0.4)), canvas.edge((inner - sleeve).astype(np.float32))
    )
    bore = sleeve * rng.uniform(0.45, 0.7)
    surface = blend(surface, flat(canvas, (0.07, 0.07, 0.07)), canvas.edge((inner - bore).astype(np.float32)))
    layers = [
        backdrop(rng, camera, grime=0.6),
        canvas.layer(surface, canvas.edge((far - wall).astype(np.float32))),
    ]
    if with_card:
        camera, laid = beside(rng, camera, wall)
        layers.append(laid)
    if rng.random() < 0.3:
        at = eye * rng.uniform(0.9, 1.1) * np.array([math.cos(bearing + 2), math.sin(bearing + 2)])
        layers.append(blotch(rng, (float(at[0]), float(at[1])), eye * 0.2))
    photo = lit(rng).develop(camera.render(layers))
    return Case(
        "bushing_offset",
        (photo,),
        (boxed(camera, circle((0, 0), eye), rng),),
        {
            "offset_percent": 100 * share,
            "offset_mm": share * thick,
            "tilt_deg": camera.tilt,
            "card": float(with_card),
        },
    )


def hole_elongation(rng: Rng) -> Case:
    """Make a hole in a plate, round, oval or a slot, rust or bare metal on one side, with the card."""
    radius = rng.uniform(6, 14)
    ratio = 1.0 if rng.random() < 0.3 else rng.uniform(1.0, 1.35)
    camera = aimed(rng, rng.uniform(0.12, 0.22), 40.0)
    canvas = Canvas(7 * radius, 7 * radius, 0.08)
    x, y = canvas.grid()
    turn = rng.uniform(0, math.pi)
    u, v = x * math.cos(turn) + y * math.sin(turn), -x * math.sin(turn) + y * math.cos(turn)
    slot = rng.random() < 0.5
    if slot:
        half = radius * (ratio - 1)
        distance = np.hypot(np.maximum(np.abs(u) - half, 0), v) - radius
    else:
        reach = np.hypot(u / ratio, v)
        distance = (reach - radius) * reach / np.maximum(np.hypot(u / ratio**2, v), 1e-6)
    distance = np.asarray(distance, np.float32)
    surface = painted(rng, canvas, grime=0.5, coat=tuple(rng.uniform(0.3, 0.62) * np.array([1, 1, 1.02])))
    worn = (
        np.exp(-np.maximum(distance, 0) / (0.25 * radius))
        * (np.cos(np.arctan2(v, u)) > 0.3)
        * rng.uniform(0, 0.9)
    )
    worn = np.asarray(worn * (0.7 + 0.3 * np.tanh(canvas.cloud(rng, 3))), np.float32).clip(0, 1)
    surface = blend(surface, steel(rng, canvas, 0.1) if rng.random() < 0.5 else rust(rng, canvas), worn)
    depth = np.asarray(0.04 + 0.05 * (1 + np.tanh(canvas.noise(rng, radius))), np.float32)
    surface = blend(surface, depth[..., None] * np.ones(3, np.float32), canvas.edge(distance))
    cover = canvas.edge((np.hypot(x, y) - 3.3 * radius).astype(np.float32), 0.4 * radius)
    camera, laid = beside(rng, camera, 1.6 * radius)
    layers = [backdrop(rng, camera, grime=0.5), canvas.layer(surface, cover), laid]
    photo = lit(rng).develop(camera.render(layers))
    reach = np.column_stack([x[np.abs(distance) < 0.15], y[np.abs(distance) < 0.15]]).astype(float)
    return Case(
        "hole_elongation",
        (photo,),
        (boxed(camera, reach, rng, 0.06),),
        {
            "axis_ratio": ratio,
            "direction_deg": math.degrees(turn),
            "longest_mm": 2 * radius * ratio,
            "tilt_deg": camera.tilt,
            "slot": float(slot),
        },
    )
