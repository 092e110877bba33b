"""The surface around a fastener, told by sector and ring and against its own colour.

Absolute colours say little in a badly lit photo of an unknown paint. Everything here is a difference:
between a pixel and the surface that the same frame shows beside and above the fastener.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from visual_aid.colour import srgb_to_linear
from visual_aid.evidence.frame import BEARING, HEIGHT, PIXELS_PER_RADIUS, RADIUS, TOP, WIDTH, Frame, U, V

Map = NDArray[np.float32]

# Direction in (a*, b*) in which a surface moves when it rusts: iron oxides in daylight have hue angles of
# 38 to 85 degrees (Munsell chips of Schwertmann 1993, converted; see tests), darker rust the lower ones.
RUST_HUE = 52.0
_RUST_A, _RUST_B = float(np.cos(np.radians(RUST_HUE))), float(np.sin(np.radians(RUST_HUE)))
# Colour difference along that direction at which half of the pixels count as rust, and its softness.
RUST_HALF, RUST_SOFT = 9.0, 2.5

_STEP = 2  # sectors are statistics of large areas: every second pixel is plenty
_BELOW = np.abs(BEARING - 90)
_SIDE = np.minimum(np.abs(BEARING), np.abs(np.abs(BEARING) - 180))
_ABOVE = np.abs(BEARING + 90)

RINGS = {"rim": (1.15, 1.6), "near": (1.6, 2.4), "far": (2.4, 3.4)}
SECTORS = {"below": _BELOW < 40, "flank": (_BELOW >= 40) & (_BELOW < 75), "side": _SIDE < 25, "above": _ABOVE < 60}
REGIONS: dict[str, NDArray[np.bool_]] = {
    f"{ring}_{sector}": (RADIUS >= lo) & (RADIUS < hi) & where
    for ring, (lo, hi) in RINGS.items()
    for sector, where in SECTORS.items()
}
REGIONS["tail_below"] = (V >= 3.4) & (V < 5.8) & (np.abs(U) < 1.6)
REGIONS["tail_beside"] = (V >= 2.4) & (V < 5.8) & (np.abs(U) > 2.2)
REGIONS["face"] = RADIUS < 0.85
REGIONS["all"] = RADIUS >= 1.6
_WEIGHTS = np.stack([m[::_STEP, ::_STEP].ravel() for m in REGIONS.values()]).astype(np.float32)
_BASE = (RADIUS >= 1.5) & (RADIUS < 3.2) & (_BELOW > 60)


@dataclass(frozen=True, slots=True)
class Surroundings:
    """A frame's surface maps, each of shape (HEIGHT, WIDTH), and the colour they are relative to.

    Attributes
    ----------
    paint : ndarray of shape (3,)
        CIELAB D65 of the surface beside and above the fastener (median).
    spread : float
        Median distance (CIE76) of that surface from its own median: how uneven it is.
    rust : ndarray
        0..1, how much a pixel moved from the surface's colour towards rust.
    lighter, redder, yellower : ndarray
        Differences of L*, a*, b* to ``paint``.
    warmer : ndarray
        Difference of the log ratio of linear red to linear blue: does not change with brightness.
    texture : ndarray
        Local standard deviation of L* in a window of 0.25 r.
    """

    paint: Map
    spread: float
    rust: Map
    lighter: Map
    redder: Map
    yellower: Map
    warmer: Map
    texture: Map


def look_around(frame: Frame) -> Surroundings:
    """Measure the surface maps of a frame."""
    lab = cv2.GaussianBlur(frame.lab, (0, 0), 0.06 * PIXELS_PER_RADIUS)
    base = _BASE & frame.valid
    pixels = lab[base] if base.sum() > 50 else lab[_BASE]
    paint = np.median(pixels, axis=0).astype(np.float32)
    spread = float(np.median(np.linalg.norm(pixels - paint, axis=1)))
    lighter, redder, yellower = (lab[..., k] - paint[k] for k in range(3))
    along = redder * _RUST_A + yellower * _RUST_B
    chroma = np.hypot(lab[..., 1], lab[..., 2])
    hue = np.degrees(np.arctan2(lab[..., 2], lab[..., 1]))
    # Orange to brown only, and coloured at all; soft ends, so that a little paint tint does not switch it.
    orange = soft_step(hue, 18, 6) * soft_step(-hue, -92, 6) * soft_step(chroma, 9, 2)
    rust = soft_step(along, RUST_HALF, RUST_SOFT) * orange
    linear = srgb_to_linear(frame.rgb)
    ratio = np.log((linear[..., 0] + 0.004) / (linear[..., 2] + 0.004))
    warmer = ratio - np.median(ratio[base] if base.sum() > 50 else ratio[_BASE])
    size = round(0.25 * PIXELS_PER_RADIUS) | 1
    light = frame.lab[..., 0]
    mean = cv2.blur(light, (size, size))
    texture = np.sqrt(np.maximum(cv2.blur(light * light, (size, size)) - mean * mean, 0))
    return Surroundings(
        paint, spread, rust, lighter, redder, yellower, warmer.astype(np.float32), texture
    )


def soft_step(value: Map, half: float, width: float) -> Map:
    """Rise from 0 to 1, one half at ``half``, over a few ``width`` (logistic)."""
    out: Map = 1 / (1 + np.exp(np.clip((half - value) / width, -30, 30)))
    return out


def region_means(frame: Frame, maps: dict[str, Map]) -> dict[str, float]:
    """Average every map over every region of ``REGIONS``; NaN where under a fifth of a region is valid.

    Returns
    -------
    dict of str to float
        Keys ``map_region``.
    """
    valid = frame.valid[::_STEP, ::_STEP].ravel().astype(np.float32)
    count = _WEIGHTS @ valid
    share = count / _WEIGHTS.sum(axis=1)
    stack = np.stack([m[::_STEP, ::_STEP].ravel() for m in maps.values()], axis=1) * valid[:, None]
    means = (_WEIGHTS @ stack) / np.maximum(count, 1)[:, None]
    means[share < 0.2] = np.nan
    return {
        f"{name}_{region}": float(means[i, j])
        for i, region in enumerate(REGIONS)
        for j, name in enumerate(maps)
    }


def rows_between(top: float, bottom: float) -> slice:
    """Rows of a frame from ``top`` to ``bottom`` (in r along gravity from the centre)."""
    return slice(
        max(round((top - TOP) * PIXELS_PER_RADIUS), 0),
        min(round((bottom - TOP) * PIXELS_PER_RADIUS), HEIGHT),
    )


def columns_within(reach: float) -> slice:
    """Columns of a frame within ``reach`` (in r) of its middle line."""
    half = min(round(reach * PIXELS_PER_RADIUS), WIDTH // 2)
    return slice(WIDTH // 2 - half, WIDTH // 2 + half)
