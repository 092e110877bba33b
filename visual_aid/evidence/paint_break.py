"""Paint break: paint that bridged nut and surface is cracked along an arc around the nut.

Bare metal, rust or a dark hairline follows the nut's foot and the paint beyond is whole. Everything is
told against this photo's own paint: the ring of surface around the same nut, bearing by bearing, so that
a shadow that lies over both is no crack. Scratches and chipped plate edges do not follow the foot; general
rust is as frequent further out; a shadow line changes lightness alone.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from visual_aid.evidence.frame import LEFT, PIXELS_PER_RADIUS, RADIUS, TOP, Frame
from visual_aid.evidence.scene import Measured, Measurement, Scene
from visual_aid.evidence.stance import HEIGHT_OF_NUT, Stance
from visual_aid.evidence.surroundings import RUST_HUE
from visual_aid.model import Outline

# Polar grid around the centre of the nut's foot: bearings by radii.
_BEARINGS = np.radians(np.arange(0, 360, 4.0))
_RADII = np.arange(0.8, 2.6, 0.05)
_COS, _SIN = np.cos(_BEARINGS)[:, None], np.sin(_BEARINGS)[:, None]
BANDS = {"foot": (1.0, 1.2), "rim": (1.2, 1.4), "near": (1.4, 1.65), "far": (1.75, 2.55)}
"""Rings around the foot in r. A hexagon's corners reach 1.155 r: the crack runs from 1 to 1.4 r."""
_IN_BAND = {name: (low <= _RADII) & (high > _RADII) for name, (low, high) in BANDS.items()}
_CRACK = (_RADII >= 1.04) & (_RADII < 1.4)
# The nut's body as seen covers a capsule from top to foot; the stud one the other way (radius 0.67 r).
_BODY, _STUD, _STUD_LENGTH = 1.06, 0.72, 1.2
_TOP_FACE = (RADIUS >= 0.72) & (RADIUS < 0.93)
_RUST_A, _RUST_B = math.cos(math.radians(RUST_HUE)), math.sin(math.radians(RUST_HUE))
# Colour difference that a person sees at a glance on rough paint; common practice, no source.
LEAST_DIFFERENCE = 6.0

Grid = NDArray[np.float32]
Mask = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class _Foot:
    """What is seen around a nut's foot, on the polar grid, against the paint beyond it.

    ``lighter`` is the difference in L* to the same bearing's paint, ``rusty`` the difference along the
    direction in (a*, b*) of rust, ``different`` the whole colour difference with lightness halved.
    ``rough``, ``fleck`` (lighter), ``pit`` (darker) and ``rust_fleck`` are what changes along the ring within
    28 degrees: a crack is ragged, whereas a washer's rim and a flange change across the ring alone.
    ``skirt`` is the lower part of the flats that face the viewer.
    """

    seen: Mask
    lighter: Grid
    rusty: Grid
    different: Grid
    rough: Grid
    fleck: Grid
    rust_fleck: Grid
    pit: Grid
    skirt: Mask
    paint: Grid


def measure(scene: Scene) -> Measured:
    """Measure how much of the ring around each fastener's foot differs from the paint beyond it."""
    return Measured(
        tuple(
            _measurement(frame, stance) for frame, stance in zip(scene.in_place, scene.stances, strict=True)
        )
    )


def _sample(image: NDArray[np.uint8] | Grid, stance: Stance, nearest: bool = False) -> Grid:
    centre = stance.likely(HEIGHT_OF_NUT)
    x = (centre[0] + _COS * _RADII - LEFT) * PIXELS_PER_RADIUS - 0.5
    y = (centre[1] + _SIN * _RADII - TOP) * PIXELS_PER_RADIUS - 0.5
    how = cv2.INTER_NEAREST if nearest else cv2.INTER_LINEAR
    out = cv2.remap(image, x.astype(np.float32), y.astype(np.float32), how, borderMode=cv2.BORDER_CONSTANT)
    return out.astype(np.float32)


def _from_segment(u: Grid, v: Grid, end: tuple[float, float]) -> Grid:
    """Distance of points to the straight line from the origin to ``end``."""
    along = (u * end[0] + v * end[1]) / max(end[0] ** 2 + end[1] ** 2, 1e-9)
    along = np.clip(along, 0, 1)
    out: Grid = np.hypot(u - along * end[0], v - along * end[1])
    return out


def _look(frame: Frame, stance: Stance) -> _Foot:
    centre = stance.likely(HEIGHT_OF_NUT)
    u, v = centre[0] + _COS * _RADII, centre[1] + _SIN * _RADII
    lab = _sample(frame.lab, stance)
    seen = _sample(frame.valid.astype(np.uint8), stance, nearest=True) > 0
    seen &= _from_segment(u, v, centre) > _BODY
    seen &= _from_segment(u, v, stance.likely(-_STUD_LENGTH)) > _STUD
    far = seen & _IN_BAND["far"]
    paint = np.median(lab[far], axis=0) if far.sum() > 30 else np.median(lab.reshape(-1, 3), axis=0)
    # The same bearing's own lightness beyond the crack: a shadow over both is none of the crack's.
    outside = np.where(far, lab[..., 0], np.nan)[:, _IN_BAND["far"]]
    enough = np.isfinite(outside).sum(axis=1) > 4
    beyond = np.full(len(_BEARINGS), paint[0], np.float32)
    beyond[enough] = np.nanmedian(outside[enough], axis=1)
    lighter = lab[..., 0] - beyond[:, None]
    redder, yellower = lab[..., 1] - paint[1], lab[..., 2] - paint[2]
    rusty = redder * _RUST_A + yellower * _RUST_B
    kernel = np.ones((7, 1), np.uint8)
    light, rust = lab[..., 0], rusty.astype(np.float32)
    way = np.array(stance.toward)
    skirt = (_RADII < 0.98) & (_COS * way[0] + _SIN * way[1] > 0.4) & (stance.slope > 0.35)
    return _Foot(
        seen,
        lighter,
        rusty,
        np.sqrt(redder**2 + yellower**2 + (0.5 * lighter) ** 2),
        np.abs(light - cv2.blur(light, (1, 5))),
        cv2.morphologyEx(light, cv2.MORPH_TOPHAT, kernel).astype(np.float32),
        cv2.morphologyEx(rust, cv2.MORPH_TOPHAT, kernel).astype(np.float32),
        cv2.morphologyEx(light, cv2.MORPH_BLACKHAT, kernel).astype(np.float32),
        skirt,
        paint.astype(np.float32),
    )


def _band_means(foot: _Foot) -> dict[str, float]:
    """Mean of every map over what is seen of every ring, NaN where that is little."""
    names = ("lighter", "rusty", "different", "rough", "fleck", "rust_fleck", "pit")
    maps = np.stack([getattr(foot, name).ravel() for name in names])
    seen = np.stack([(foot.seen & columns).ravel() for columns in _IN_BAND.values()])
    count = seen.sum(axis=1)
    means = np.where(count > 12, maps @ seen.T.astype(np.float32) / np.maximum(count, 1), math.nan)
    return {f"{n}_{band}": float(means[i, j]) for i, n in enumerate(names) for j, band in enumerate(BANDS)}


def _mean(values: Grid, where: Mask) -> float:
    return float(values[where].mean()) if where.sum() > 12 else math.nan


def _longest_run(broken: NDArray[np.bool_]) -> tuple[int, int]:
    """First index and length of the longest run of a ring of flags."""
    if broken.all():
        return 0, len(broken)
    best = (0, 0)
    start = int(np.argmin(broken))
    length = 0
    for k in range(1, len(broken) + 1):
        if broken[(start + k) % len(broken)]:
            length += 1
            if length > best[1]:
                best = ((start + k - length + 1) % len(broken), length)
        else:
            length = 0
    return best


def _measurement(frame: Frame, stance: Stance) -> Measurement:
    foot = _look(frame, stance)
    far = foot.seen & _IN_BAND["far"]
    crack = foot.seen & _CRACK
    spread = float(np.percentile(foot.different[far], 80)) if far.sum() > 30 else math.nan
    features = {
        "tilt": frame.fastener.tilt or 0.0,
        "certainty": min(stance.certainty, 8.0),
        "sharpness": min(frame.sharpness, 60.0),
        "paint_light": float(foot.paint[0]),
        "paint_chroma": float(np.hypot(*foot.paint[1:])),
        "paint_rustlike": float(foot.paint[1] * _RUST_A + foot.paint[2] * _RUST_B),
        "paint_spread": spread,
        "seen_share": float(crack.sum() / (len(_BEARINGS) * _CRACK.sum())),
    }
    features |= _band_means(foot)
    features["rusty_skirt"] = _mean(foot.rusty, foot.skirt)
    features["different_skirt"] = _mean(foot.different, foot.skirt)
    features["rough_skirt"] = _mean(foot.rough, foot.skirt)
    for name in ("rough", "fleck", "rust_fleck", "pit"):
        features[f"{name}_foot_ratio"] = math.log(
            (features[f"{name}_foot"] + 1) / (features[f"{name}_far"] + 1)
        )
        features[f"{name}_ratio"] = math.log((features[f"{name}_rim"] + 1) / (features[f"{name}_far"] + 1))
    # Bearing by bearing: does anything in the crack's ring stand out of this paint's own variation?
    limit = max(LEAST_DIFFERENCE, spread if math.isfinite(spread) else 0.0)
    visible = crack.sum(axis=1) >= 2
    count = max(int(visible.sum()), 1)
    peak = np.where(crack, foot.different, 0).max(axis=1)
    broken = visible & (peak > limit)
    rusted = visible & (np.where(crack, foot.rusty, -99).max(axis=1) > limit)
    bare = visible & (np.where(crack, foot.lighter, -99).max(axis=1) > 1.5 * limit)
    dark = visible & (np.where(crack, foot.lighter, 99).min(axis=1) < -1.5 * limit)
    flecked = visible & (np.where(crack, foot.fleck, 0).max(axis=1) > limit)
    rust_flecked = visible & (np.where(crack, foot.rust_fleck, 0).max(axis=1) > 0.7 * limit)
    # Flecks lie apart: up to three bearings (12 degrees) between two belong to one arc.
    cracked = flecked | rust_flecked
    arc = np.any([np.roll(cracked, k) for k in (-1, 0, 1)], axis=0)
    first, length = _longest_run(arc)
    nut = _nut_colour(frame)
    tint = nut - foot.paint
    features |= {
        "broken_share": float(broken.sum() / count),
        "rusted_share": float(rusted.sum() / count),
        "bare_share": float(bare.sum() / count),
        "dark_share": float(dark.sum() / count),
        "fleck_share": float(flecked.sum() / count),
        "rust_fleck_share": float(rust_flecked.sum() / count),
        "either_share": float(cracked.sum() / count),
        "run_deg": length * 360 / len(_BEARINGS),
        "peak": float(np.median(peak[visible])) if visible.any() else math.nan,
        "peak_high": float(np.percentile(peak[visible], 85)) if visible.any() else math.nan,
        "falls_off": features["different_foot"] - features["different_near"],
        "stands_out": features["different_rim"] - features["different_far"],
        "rust_falls_off": features["rusty_foot"] - features["rusty_near"],
        "rust_stands_out": features["rusty_rim"] - features["rusty_far"],
        "nut_tint": float(np.hypot(tint[1], tint[2])),
        "nut_lighter": float(tint[0]),
        "nut_rusty": float(tint[1] * _RUST_A + tint[2] * _RUST_B),
    }
    measures = {
        "arc_deg": length * 360 / len(_BEARINGS),
        "share": features["either_share"],
        "colour_de": features["peak"],
        "paint_de": spread,
    }
    reason = (
        f"bare or rusty flecks along {features['either_share']:.0%} of what is seen of the nut's foot, "
        f"longest arc {length * 360 // len(_BEARINGS)}°; the ring differs by {features['peak']:.0f} ΔE from "
        f"the paint beyond, which itself varies by {spread:.0f}"
    )
    return Measurement(frame.fastener, features, measures, _outline(frame, stance, first, length), reason)


def _nut_colour(frame: Frame) -> Grid:
    """Median CIELAB of the nut's top between stud and edge."""
    out: Grid = np.median(frame.lab[_TOP_FACE], axis=0)
    return out


def _outline(frame: Frame, stance: Stance, first: int, length: int) -> Outline:
    """Outline the arc in which the ring differs, or the whole ring where no bearing does."""
    steps = np.arange(first, first + (length if length > 1 else len(_BEARINGS)))
    bearings = _BEARINGS[steps % len(_BEARINGS)]
    ring = np.column_stack([np.cos(bearings), np.sin(bearings)])
    closed = len(steps) == len(_BEARINGS)
    points = 1.4 * ring if closed else np.concatenate([1.4 * ring, 0.95 * ring[::-1]])
    return frame.outline(points + stance.likely(HEIGHT_OF_NUT))
