"""Fine powder fanning out below a fastener.

Parts that fret give off fine powder: pale where paint and road dust are ground, dark or red-brown where
steel is. It falls, so it lies below the fastener and thins out, while even road dust and dried water marks
lie above and beside it as well. Powder is grain by grain: small spots that belong to no line, which sets it
apart from a washer's rim, a plate's edge and a scratch; pale powder has no more colour than the surface
has, which sets it apart from the bare patches between rust.
"""

from __future__ import annotations

from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray

from visual_aid.colour import srgb_to_linear
from visual_aid.evidence.frame import BEARING, PIXELS_PER_RADIUS, Frame
from visual_aid.evidence.runs import Run, strongest_run
from visual_aid.evidence.scene import Measured, Measurement, Scene
from visual_aid.evidence.surroundings import Map, Surroundings, fan_fit, soft_step
from visual_aid.model import NOT_IN_PLACE, NotJudged

# CIELAB differences to the surface at which half of the pixels count as covered, and their softness.
PALE_HALF, DARK_HALF, RED_HALF, SOFT = 5.0, 6.0, 4.0, 1.6

# A grain is shorter than this in every direction, in r; a line is longer in one of them.
GRAIN = 0.35
# A grain or a surface that is paler than this, in L*, is paint or a highlight and counts no more than this.
MOST_GRAIN, MOST_PALE = 8.0, 15.0

# Where powder lies thickest: within this distance of the body, in r, and this angle of straight below.
NEAR, NEAR_ANGLE = 0.6, 60.0
# The surface that it is compared with ends here.
FAR = 2.5
LEAST_PIXELS = 80
# Deviation, in CIELAB units, that noise and texture cause on any surface.
NOISE = 0.3


def measure(scene: Scene) -> Measured:
    """Measure powder below every fastener of the scene."""
    measurements = tuple(
        _at(frame, around)
        for frame, around in zip(scene.seats, scene.surroundings, strict=True)
        if frame.fastener.kind not in NOT_IN_PLACE
    )
    if measurements:
        return Measured(measurements)
    return Measured(not_judged=(NotJudged("dust_trail", "no fastener was found to start from"),))


def pale_grains(light: Map) -> Map:
    """Tell by how much L* exceeds that of any line of length ``GRAIN`` through the pixel.

    The largest of the openings with lines in all directions keeps edges and lines (Soille, Morphological
    Image Analysis, 2003, on unions of linear openings), so that the rest is spots alone.
    """
    kept = np.full_like(light, -np.inf)
    for line in _lines(round(GRAIN * PIXELS_PER_RADIUS) | 1):
        kept = np.maximum(kept, cv2.morphologyEx(light, cv2.MORPH_OPEN, line))
    out: Map = light - kept
    return out


@cache
def _lines(size: int) -> tuple[NDArray[np.uint8], ...]:
    """Draw straight lines through the middle of a square, 22.5 degrees apart."""
    half = size // 2
    lines = []
    for angle in np.radians(np.arange(0, 180, 22.5)):
        across, down = np.cos(angle), np.sin(angle)
        x, y = (round(float(half * part / max(abs(across), abs(down)))) for part in (across, down))
        line = np.zeros((size, size), np.uint8)
        cv2.line(line, (half - x, half - y), (half + x, half + y), 1)
        lines.append(line)
    return tuple(lines)


def _powder_maps(frame: Frame, around: Surroundings, clean: Map) -> dict[str, Map]:
    light, red, yellow = (np.ascontiguousarray(frame.lab[..., k]) for k in range(3))
    chroma = np.hypot(red, yellow)
    paint_chroma = float(np.hypot(around.paint[1], around.paint[2]))
    grains = pale_grains(light)
    linear = srgb_to_linear(cv2.GaussianBlur(frame.rgb, (0, 0), 0.06 * PIXELS_PER_RADIUS).astype(np.uint8))
    return {
        "grains": grains * clean * soft_step(light - around.paint[0], 0, 3),
        "plain_grains": np.minimum(grains, MOST_GRAIN) * soft_step(-chroma, -paint_chroma - 2, 2),
        "lighter": around.lighter,
        "redder": around.redder,
        "yellower": around.yellower,
        "red_ratio": 10 * np.log((linear[..., 0] + 0.012) / (linear[..., 1] + 0.012)),
    }


def _at(frame: Frame, around: Surroundings) -> Measurement:
    clean = soft_step(-around.rust, -0.3, 0.1)
    maps = _powder_maps(frame, around, clean)
    fit = fan_fit(around, maps)
    close = around.seen & (around.away < NEAR)
    below, above = (close & (np.abs(BEARING - side) < NEAR_ANGLE) for side in (90, -90))
    far = around.seen & (around.away >= NEAR) & (around.away < FAR)
    paler = np.clip(around.lighter, 0, MOST_PALE) * clean
    features = {
        "grains_below_t": max(fit["grains_below_t"], 0.0),
        "grains_below_only": max(_grains_below_only(fit), 0.0),
        "plain_grains_below_t": max(fit["plain_grains_below_t"], 0.0),
        "plain_grains_near": max(_near(maps["plain_grains"], below, far), 0.0),
        "paler_near": max(_near(paler, below, far), 0.0),
        "redder_below_t": max(fit["redder_below_t"], 0.0),
        "red_ratio_below_t": max(fit["red_ratio_below_t"], 0.0),
        "darker_below_t": max(-fit["lighter_below_t"], 0.0),
    }
    tone, covered = _covered(fit, around)
    down = strongest_run(covered, around.seen)
    return Measurement(
        frame.fastener,
        features,
        {
            "length_r": down.length_r,
            "width_r": down.width_r,
            "covered_share": _mean(covered, below),
            "covered_above_share": _mean(covered, above),
            "difference_de": _difference(fit),
        },
        frame.outline(down.polygon()),
        _reason(fit, tone, down),
    )


def _grains_below_only(fit: dict[str, float]) -> float:
    """By how much the fan of grains below exceeds the strongest of those above and beside the fastener."""
    return fit["grains_below"] - max(fit[f"grains_{side}"] for side in ("above", "left", "right"))


def _near(surface: Map, below: NDArray[np.bool_], far: NDArray[np.bool_]) -> float:
    """Mean of a map close below the body less the usual value farther away, over its deviation."""
    if below.sum() < LEAST_PIXELS or far.sum() < LEAST_PIXELS:
        return float("nan")
    there: NDArray[np.float32] = surface[far]
    return float((surface[below].mean() - np.median(there)) / (there.std() + NOISE))


def _mean(surface: Map, where: NDArray[np.bool_]) -> float:
    return float(surface[where].mean()) if where.any() else float("nan")


def _covered(fit: dict[str, float], around: Surroundings) -> tuple[str, Map]:
    """Name the powder's tone and map how much it covers, 0..1."""
    heights = {
        "pale": fit["lighter_below"] / PALE_HALF,
        "dark": -fit["lighter_below"] / DARK_HALF,
        "red-brown": fit["redder_below"] / RED_HALF,
    }
    tone = max(heights, key=lambda t: np.nan_to_num(heights[t], nan=-np.inf))
    match tone:
        case "pale":
            return tone, soft_step(around.lighter, PALE_HALF, SOFT)
        case "dark":
            return tone, soft_step(-around.lighter, DARK_HALF, SOFT)
        case _:
            return tone, soft_step(around.redder, RED_HALF, SOFT)


def _difference(fit: dict[str, float]) -> float:
    """Colour difference (CIE76) of the fan below the fastener to the surface above it."""
    return float(np.linalg.norm([fit[f"{m}_below_less_above"] for m in ("lighter", "redder", "yellower")]))


def _reason(fit: dict[str, float], tone: str, down: Run) -> str:
    return (
        f"{tone} powder below the fastener, {down.extent}; "
        f"the surface there differs by {_difference(fit):.0f} colour units from that above the fastener"
    )
