"""Made cases of leaf packs: a leaf out of line, a broken leaf."""

from __future__ import annotations

import numpy as np

from visual_aid.evaluation.made.camera import Texture
from visual_aid.evaluation.made.case import Case, aimed, backdrop, beside, boxed, lit
from visual_aid.evaluation.made.surfaces import Canvas, Rng, blend, flat, painted, rust, scratched, steel


def leaf_shift(rng: Rng) -> Case:
    """Make a pack seen along its leaves: bands of one width, in two of three cases one of them shifted."""
    count, thick, wide = int(rng.integers(3, 8)), rng.uniform(9, 14), rng.uniform(70, 100)
    camera = aimed(rng, rng.uniform(0.2, 0.3), 30.0, roll=6.0)
    shift = float(rng.choice([0.0, rng.uniform(1.5, 12), rng.uniform(1.5, 12)])) * float(rng.choice([-1, 1]))
    which = int(rng.integers(0, count))
    gaps = rng.uniform(0.4, 1.2, count)
    if rng.random() < 0.3:
        gaps[rng.integers(0, count - 1)] = rng.uniform(2, 5)
    tall = count * thick + float(gaps[:-1].sum())
    canvas = Canvas(wide + 50, tall + 10, 0.2)
    x, y = canvas.grid()
    surface, cover, shadow = _pack(rng, canvas)
    top = -tall / 2
    for k in range(count):
        off = (shift if k == which else 0.0) + rng.normal(0, 0.25)
        middle = top + thick / 2
        edge = np.maximum(
            np.abs(x - off) - wide / 2 + 0.4 * canvas.noise(rng, 6), np.abs(y - middle) - thick / 2
        )
        inside = canvas.edge(edge.astype(np.float32))
        shade = 1.08 - 0.35 * np.clip((y - middle) / thick + 0.5, 0, 1) ** 2
        surface = blend(surface, np.asarray(_leaf(rng, canvas) * shade[..., None], np.float32), inside)
        cover = np.maximum(cover, inside)
        top += thick + float(gaps[k])
    between = canvas.edge(np.maximum(np.abs(x) - wide / 2 + 2, np.abs(y) - tall / 2).astype(np.float32))
    surface = blend(shadow, surface, cover)
    cover = np.maximum(cover, between)
    reach = np.array([(-wide / 2 - 12, -tall / 2 - 1), (wide / 2 + 12, tall / 2 + 1)])
    corners = np.array([reach[0], (reach[1, 0], reach[0, 1]), reach[1], (reach[0, 0], reach[1, 1])])
    layers = [backdrop(rng, camera, grime=0.6, coat=tuple(rng.uniform(0.4, 0.65) * np.ones(3)))]
    with_card = rng.random() < 0.6
    if with_card:
        camera, laid = beside(rng, camera, wide / 2 + 16)
        layers.append(laid)
    photo = lit(rng).develop(camera.render([*layers, canvas.layer(surface, cover)]))
    return Case(
        "leaf_shift",
        (photo,),
        (boxed(camera, corners, rng, 0.01),),
        {
            "shift_mm": abs(shift),
            "shift_share": abs(shift) / thick,
            "gap_mm": float(gaps[:-1].max()),
            "gap_share": float(gaps[:-1].max()) / thick,
            "tilt_deg": camera.tilt,
        },
    )


def broken_leaf(rng: Rng) -> Case:
    """Make a pack from its side, in half of the cases with a broken leaf; scratches, stains, a clip."""
    count, thick, long = int(rng.integers(3, 7)), rng.uniform(9, 15), rng.uniform(220, 300)
    camera = aimed(rng, rng.uniform(0.26, 0.38), 30.0, roll=6.0)
    gaps = rng.uniform(0.4, 1.2, count)
    tall = count * thick + float(gaps.sum())
    canvas = Canvas(long, tall, 0.25)
    x, y = canvas.grid()
    surface, cover, shadow = _pack(rng, canvas)
    broken = rng.random() < 0.5
    which = int(rng.integers(0, count))
    width = 0.0
    top = -tall / 2 + float(gaps[0]) / 2
    for k in range(count):
        middle = top + thick / 2
        inside = canvas.edge((np.abs(y - middle) - thick / 2).astype(np.float32))
        shade = 1.08 - 0.35 * np.clip((y - middle) / thick + 0.5, 0, 1) ** 2
        leaf = np.asarray(_leaf(rng, canvas) * shade[..., None], np.float32)
        if rng.random() < 0.35:  # a stain that runs over the leaf: wide and soft
            at, wide = rng.uniform(-0.4, 0.4) * long, rng.uniform(4, 14)
            stain = np.exp(-(((x - at) / wide) ** 2)) * rng.uniform(0.3, 0.7)
            leaf = blend(leaf, rust(rng, canvas), np.asarray(stain, np.float32))
        if broken and k == which:
            at, lean = rng.uniform(-0.36, 0.36) * long, rng.uniform(-0.5, 0.5)
            width = rng.uniform(0.5, 2.2)
            path = at + lean * (y - middle) + 0.7 * canvas.noise(rng, 3.0)[:, :1]
            off = np.abs(x - path)
            halo = np.exp(-off / rng.uniform(1.5, 5)) * rng.uniform(0.0, 0.8)
            leaf = blend(leaf, rust(rng, canvas), np.asarray(halo, np.float32))
            gap = canvas.edge(
                np.asarray(off - width / 2 * (1 + 0.3 * canvas.noise(rng, 4.0)[:, :1]), np.float32)
            )
            leaf = blend(
                leaf, flat(canvas, (0.05, 0.045, 0.04)), np.asarray(gap * rng.uniform(0.75, 1.0), np.float32)
            )
        surface = blend(surface, leaf, inside)
        cover = np.maximum(cover, inside)
        top += thick + float(gaps[k])
    surface = blend(shadow, surface, cover)
    if rng.random() < 0.4:  # a clip around the whole pack
        at, wide = rng.uniform(-0.4, 0.4) * long, rng.uniform(16, 30)
        clip = canvas.edge((np.abs(x - at) - wide / 2).astype(np.float32))
        edge = np.asarray(1 - 0.5 * np.exp(-np.abs(np.abs(x - at) - wide / 2) / 1.2), np.float32)
        surface = np.asarray(blend(surface, steel(rng, canvas, 0.4), clip) * edge[..., None], np.float32)
    surface = scratched(rng, canvas, surface, int(rng.integers(0, 10)))
    corners = (
        np.array([(-long / 2, -tall / 2), (long / 2, -tall / 2), (long / 2, tall / 2), (-long / 2, tall / 2)])
        * 0.98
    )
    photo = lit(rng).develop(camera.render([backdrop(rng, camera, grime=0.6), canvas.layer(surface)]))
    return Case(
        "broken_leaf",
        (photo,),
        (boxed(camera, corners, rng, 0.01),),
        {"breaks": float(broken), "width_mm": width, "tilt_deg": camera.tilt},
    )


def _pack(rng: Rng, canvas: Canvas) -> tuple[Texture, Texture, Texture]:
    """Give an empty surface, nothing covered, and the dark between leaves."""
    dark = flat(canvas, (0.06, 0.055, 0.05)) * (1 + 0.2 * canvas.noise(rng, 3)[..., None])
    return flat(canvas, (0.3, 0.3, 0.3)), np.zeros(canvas.shape, np.float32), np.asarray(dark, np.float32)


def _leaf(rng: Rng, canvas: Canvas) -> Texture:
    """Paint one leaf, rusty in places."""
    surface = painted(
        rng, canvas, grime=rng.uniform(0.2, 0.7), coat=tuple(rng.uniform(0.26, 0.45) * np.ones(3))
    )
    field = canvas.cloud(rng, 14)
    spots = canvas.edge(np.asarray((np.quantile(field, rng.uniform(0.6, 0.97)) - field) * 4, np.float32))
    return blend(surface, rust(rng, canvas), np.asarray(0.7 * spots, np.float32))
