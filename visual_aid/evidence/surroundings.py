"""The surface around a fastener, told by sector and ring and against its own colour.

Absolute colours say little in a badly lit photo of an unknown paint. Everything here is a difference:
between a pixel and the surface that the same frame shows beside and above the fastener.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import cv2
import numpy as np
from numpy.typing import NDArray

from visual_aid.colour import srgb_to_linear
from visual_aid.evidence.frame import BEARING, PIXELS_PER_RADIUS, RADIUS, SMOOTH, Frame, U, V
from visual_aid.quantiles import median, percentile

Map = NDArray[np.float32]

# Direction in (a*, b*) in which a surface moves when it rusts: iron oxides in daylight have hue angles of
# 38 to 85 degrees (Munsell chips of Schwertmann 1993, converted; see tests), darker rust the lower ones.
RUST_HUE = 52.0
_RUST_A, _RUST_B = float(np.cos(np.radians(RUST_HUE))), float(np.sin(np.radians(RUST_HUE)))
# Colour difference along that direction at which half of the pixels count as rust, and its softness.
RUST_HALF, RUST_SOFT = 9.0, 2.5

# Added to linear light (0..1) before logarithms, so that noise in the dark does not make colour.
DARK = 0.01

_STEP = 2  # sectors are statistics of large areas: every second pixel is plenty
_SMALL = (slice(None, None, _STEP), slice(None, None, _STEP))
_BELOW = np.abs(BEARING - 90)
_ABOVE = np.abs(BEARING + 90)
_BASE = (RADIUS >= 1.5) & (RADIUS < 3.2) & (_BELOW > 60)

# Distances from the fastener's body, in r, over which a fan of fallen matter and a ring of crept rust fade.
FAN_FADES, RING_FADES = 0.8, 0.25
_FANS = {
    "below": np.exp(-((_BELOW / 50) ** 2)),
    "above": np.exp(-((_ABOVE / 50) ** 2)),
    "left": np.exp(-(((180 - np.abs(BEARING)) / 40) ** 2)),
    "right": np.exp(-((np.abs(BEARING) / 40) ** 2)),
}
TERMS = ("level", "across", "down", "ring", *_FANS)
"""What a map of the surface is explained by: a plane, a ring of crept rust, fans of fallen matter."""


@dataclass(frozen=True)
class Surroundings:
    """A frame's surface maps, each of shape (HEIGHT, WIDTH), and the colour they are relative to.

    Attributes
    ----------
    paint : ndarray of shape (3,)
        CIELAB D65 of the surface beside and above the fastener (median).
    rust : ndarray
        0..1, how much a pixel moved from the surface's colour towards rust.
    lighter, redder, yellower : ndarray
        Differences of L*, a*, b* to ``paint``.
    red_to_green, green_to_blue : ndarray
        Differences of the logarithms of linear red over green and green over blue, which do not change with
        brightness.
    away : ndarray
        Distance from the fastener's body in r.
    seen : ndarray of bool
        The surface itself: neither body, nor other fastener, nor off the photo.
    """

    paint: Map
    rust: Map
    lighter: Map
    redder: Map
    yellower: Map
    red_to_green: Map
    green_to_blue: Map
    away: Map
    seen: NDArray[np.bool_]

    @cached_property
    def fans(self) -> Fans | None:
        """What maps of the surface are explained by; None where too little of it is seen."""
        small = (self.seen & (self.away < 2.5))[_SMALL]
        return None if small.sum() < 150 else Fans.over(small, self.away[_SMALL][small])


@dataclass(frozen=True, slots=True)
class Fans:
    """A plane, a ring around the body and fans below, above and beside it, on N pixels of the surface.

    Attributes
    ----------
    where : ndarray of bool
        The pixels, of every second one of the frame.
    design : ndarray of shape (N, TERMS)
        The terms there.
    inverse : ndarray of shape (TERMS, TERMS)
        Of their products' sums.
    """

    where: NDArray[np.bool_]
    design: NDArray[np.floating]
    inverse: NDArray[np.floating]

    @classmethod
    def over(cls, where: NDArray[np.bool_], away: Map) -> Fans:
        """Lay the terms over pixels that are ``away`` from the body."""
        fade = np.exp(-away / FAN_FADES)
        plane = (np.ones(fade.shape, np.float32), U[_SMALL][where], V[_SMALL][where])
        fans = [fade * fan[_SMALL][where] for fan in _FANS.values()]
        design = np.stack([*plane, np.exp(-away / RING_FADES), *fans], axis=1).astype(np.float64)
        # A faint ridge keeps terms apart that the visible part of the surface cannot tell from one another.
        return cls(where, design, np.linalg.inv(design.T @ design + 2.0 * np.eye(len(TERMS))))


def look_around(frame: Frame) -> Surroundings:
    """Measure the surface maps of a seat frame (``Scene.surroundings`` holds those of a photo)."""
    seen = frame.valid & ~frame.body
    lab = cv2.GaussianBlur(frame.lab, (0, 0), SMOOTH * PIXELS_PER_RADIUS)
    base = _BASE & seen
    pixels = lab[base] if base.sum() > 50 else lab[_BASE]
    paint = median(np.asarray(pixels, np.float32), axis=0)
    lighter, redder, yellower = (lab[..., k] - paint[k] for k in range(3))
    along = towards_rust(redder, yellower)
    _, a, b = cv2.split(lab)
    polar = cv2.cartToPolar(a, b, angleInDegrees=True)
    chroma, hue = (np.asarray(part, np.float32) for part in polar)
    hue = np.where(hue > 180, hue - 360, hue)
    # Orange to brown only, and coloured at all; soft ends, so that a little paint tint does not switch it.
    orange = soft_step(hue, 18, 6) * soft_step(-hue, -92, 6) * soft_step(chroma, 9, 2)
    rust = soft_step(along, RUST_HALF, RUST_SOFT) * orange
    linear = srgb_to_linear(frame.smooth) + DARK
    red, green, blue = (np.log(linear[..., k]) for k in range(3))
    ground = base if base.sum() > 50 else _BASE

    def against_surface(value: Map) -> Map:
        out: Map = (value - median(value[ground])).astype(np.float32)
        return out

    return Surroundings(
        paint=paint,
        rust=rust,
        lighter=lighter,
        redder=redder,
        yellower=yellower,
        red_to_green=against_surface(red - green),
        green_to_blue=against_surface(green - blue),
        away=frame.away,
        seen=seen,
    )


def towards_rust(redder: Map, yellower: Map) -> Map:
    """How far a surface moved in the direction in which it rusts, from its differences of a* and b*."""
    return redder * _RUST_A + yellower * _RUST_B


def soft_step(value: Map, half: float, width: float) -> Map:
    """Rise from 0 to 1, one half at ``half``, over a few ``width`` (logistic)."""
    out: Map = 1 / (1 + np.exp(np.clip((half - value) / width, -30, 30)))
    return out


def fan_fit(around: Surroundings, maps: Mapping[str, Map]) -> dict[str, float]:
    """Explain every map by a plane, a ring around the body and fans below, above and beside it.

    A least-squares fit tells what lies below the fastener from what lies all around it and from a
    gradient across the part, which plain sector means mix up.

    Returns
    -------
    dict of str to float
        ``map_term``: height of each term at the body's edge, in the map's unit, and ``map_below_t``: that
        of the fan below over its standard error. NaN where too little of the surface is seen.
    """
    fans = around.fans
    if fans is None:
        names = [f"{m}_{t}" for m in maps for t in (*TERMS, "below_t", "below_less_above")]
        return dict.fromkeys(names, float("nan"))
    values = np.stack([m[_SMALL][fans.where] for m in maps.values()], axis=1).astype(np.float64)
    heights = fans.inverse @ (fans.design.T @ values)
    rest = values - fans.design @ heights
    noise = np.sqrt((rest**2).mean(axis=0))
    out: dict[str, float] = {}
    below, above = TERMS.index("below"), TERMS.index("above")
    for k, name in enumerate(maps):
        out |= {f"{name}_{term}": float(heights[t, k]) for t, term in enumerate(TERMS)}
        out[f"{name}_below_t"] = float(
            heights[below, k] / (noise[k] + 0.02 * np.abs(values[:, k]).max() + 1e-6)
        )
        out[f"{name}_below_less_above"] = float(heights[below, k] - heights[above, k])
    return out


def below_against_elsewhere(around: Surroundings, maps: Mapping[str, Map]) -> dict[str, float]:
    """Compare what much of the surface below the body has with what much of the rest around it has.

    Returns
    -------
    dict of str to float
        For every map the difference of the two 80th percentiles. NaN where too little is seen.
    """
    seen, away = around.seen[_SMALL], around.away[_SMALL]
    below = seen & (np.abs(U[_SMALL]) < 1.5) & (V[_SMALL] > 0) & (away < 1.5)
    elsewhere = seen & ~below & (away < 2.5)
    if min(below.sum(), elsewhere.sum()) < 15:
        return dict.fromkeys(maps, float("nan"))
    return {
        name: percentile(surface[_SMALL][below], 80) - percentile(surface[_SMALL][elsewhere], 80)
        for name, surface in maps.items()
    }
