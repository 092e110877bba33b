"""Fine powder fanning out below a fastener.

Parts that fret give off fine powder: pale where paint and road dust are ground, dark or red-brown where
steel is. It falls, so it lies below the fastener and thins out, while even road dust and dried water marks
lie above and beside it as well. Powder is grain by grain: small spots that belong to no line, which sets it
apart from a washer's rim, a plate's edge and a scratch; pale powder has no more colour than the surface
has, which sets it apart from the bare patches between rust.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from visual_aid.colour import srgb_to_linear
from visual_aid.evidence.frame import Frame
from visual_aid.evidence.powder import Powder
from visual_aid.evidence.runs import Columns, Run, strongest_run
from visual_aid.evidence.scene import Measured, Measurement, Scene
from visual_aid.evidence.surroundings import Map, Surroundings, fan_fit, soft_step
from visual_aid.evidence.zones import Zones
from visual_aid.model import NOT_IN_PLACE, NotJudged

# CIELAB differences to the surface at which half of the pixels count as covered, and their softness.
PALE_HALF, DARK_HALF, RED_HALF, SOFT = 5.0, 6.0, 4.0, 1.6

# A surface that is paler than this, in L*, is paint or a highlight and counts no more than this.
MOST_PALE = 15.0


def measure(scene: Scene) -> Measured:
    """Measure powder below every fastener of the scene."""
    measurements = tuple(
        _at(*about)
        for about in zip(
            scene.seats, scene.surroundings, scene.powder, scene.columns, scene.zones, strict=True
        )
        if about[0].fastener.kind not in NOT_IN_PLACE
    )
    if measurements:
        return Measured(measurements)
    return Measured(not_judged=(NotJudged("dust_trail", "no fastener was found to start from"),))


def _powder_maps(frame: Frame, around: Surroundings, powder: Powder) -> dict[str, Map]:
    linear = srgb_to_linear(frame.smooth)
    return {
        "grains": powder.grains,
        "plain_grains": powder.plain_grains,
        "lighter": around.lighter,
        "redder": around.redder,
        "yellower": around.yellower,
        "red_ratio": 10 * np.log((linear[..., 0] + 0.012) / (linear[..., 1] + 0.012)),
    }


def _at(
    frame: Frame, around: Surroundings, powder: Powder, columns: Sequence[Columns], zones: Zones
) -> Measurement:
    fit = fan_fit(around, _powder_maps(frame, around, powder))
    paler = np.clip(around.lighter, 0, MOST_PALE) * powder.clean
    features = {
        "grains_below_t": max(fit["grains_below_t"], 0.0),
        "grains_below_only": max(_grains_below_only(fit), 0.0),
        "plain_grains_below_t": max(fit["plain_grains_below_t"], 0.0),
        "plain_grains_near": powder.plain_grains_near,
        "paler_near": max(powder.near(paler), 0.0),
        "redder_below_t": max(fit["redder_below_t"], 0.0),
        "red_ratio_below_t": max(fit["red_ratio_below_t"], 0.0),
        "darker_below_t": max(-fit["lighter_below_t"], 0.0),
    }
    tone, covered = _covered(fit, around)
    down = strongest_run(covered, around.seen, columns)
    return Measurement(
        frame.fastener,
        features,
        {
            "length_r": down.length_r,
            "width_r": down.width_r,
            "covered_share": _mean(covered, powder.below),
            "covered_above_share": _mean(covered, powder.above),
            "difference_de": _difference(fit),
        },
        frame.outline(down.polygon()),
        _reason(fit, tone, down),
        details=zones,
    )


def _grains_below_only(fit: dict[str, float]) -> float:
    """By how much the fan of grains below exceeds the strongest of those above and beside the fastener."""
    return fit["grains_below"] - max(fit[f"grains_{side}"] for side in ("above", "left", "right"))


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
