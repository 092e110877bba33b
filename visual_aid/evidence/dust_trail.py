"""Fine powder fanning out below a fastener.

Parts that fret give off fine powder: pale where paint and road dust are ground, dark or red-brown where
steel is. It falls, so it lies below the fastener and thins out, while even road dust and dried water
marks lie above it as well. Powder is smooth: it hides the texture of the surface that it lies on.
"""

from __future__ import annotations

import numpy as np

from visual_aid.evidence.frame import Frame
from visual_aid.evidence.runs import Run, strongest_run
from visual_aid.evidence.scene import NOT_IN_PLACE, Measured, Measurement, Scene
from visual_aid.evidence.surroundings import Map, fan_fit, look_around, soft_step
from visual_aid.model import NotJudged

# CIELAB differences to the surface at which half of the pixels count as covered, and their softness.
PALE_HALF, DARK_HALF, RED_HALF, SOFT = 5.0, 6.0, 4.0, 1.6


def measure(scene: Scene) -> Measured:
    """Measure powder below every fastener of the scene."""
    measurements = tuple(_at(frame) for frame in scene.seats if frame.fastener.kind not in NOT_IN_PLACE)
    if measurements:
        return Measured(measurements)
    return Measured(not_judged=(NotJudged("dust_trail", "no fastener was found to start from"),))


def _at(frame: Frame) -> Measurement:
    around = look_around(frame)
    maps: dict[str, Map] = {
        "lighter": around.lighter,
        "redder": around.redder,
        "yellower": around.yellower,
        "warmer": around.warmer,
        "texture": around.texture,
        "pale_specks": around.pale_specks,
        "dark_specks": around.dark_specks,
    }
    fit = fan_fit(around, maps)
    tones = {
        "pale": soft_step(around.lighter, PALE_HALF, SOFT),
        "dark": soft_step(-around.lighter, DARK_HALF, SOFT),
        "red-brown": soft_step(around.redder, RED_HALF, SOFT),
    }
    down = {tone: strongest_run(m, around.seen) for tone, m in tones.items()}
    up = {tone: strongest_run(m, around.seen, upward=True) for tone, m in tones.items()}
    features = dict(fit)
    for tone in tones:
        features |= {
            f"{tone}_strength": down[tone].strength,
            f"{tone}_length_r": down[tone].length_r,
            f"{tone}_width_r": down[tone].width_r,
            f"{tone}_less_up": down[tone].strength - up[tone].strength,
        }
    features |= {
        "paint_l": float(around.paint[0]),
        "paint_a": float(around.paint[1]),
        "paint_b": float(around.paint[2]),
        "spread_de": around.spread,
    }
    tone = max(tones, key=lambda t: down[t].strength - up[t].strength)
    return Measurement(
        frame.fastener,
        features,
        _measures(fit, down[tone], up[tone]),
        frame.outline(down[tone].polygon()),
        _reason(fit, tone, down[tone]),
    )


def _difference(fit: dict[str, float]) -> float:
    """Colour difference (CIE76) of the fan below the fastener to the surface above it."""
    return float(np.linalg.norm([fit[f"{m}_below_less_above"] for m in ("lighter", "redder", "yellower")]))


def _measures(fit: dict[str, float], down: Run, up: Run) -> dict[str, float]:
    return {
        "length_r": down.length_r,
        "width_r": down.width_r,
        "covered_share": down.strength,
        "covered_above_share": up.strength,
        "difference_de": _difference(fit),
    }


def _reason(fit: dict[str, float], tone: str, down: Run) -> str:
    return (
        f"{tone} powder below the fastener, {down.length_r:.1f} nut radii long and {down.width_r:.1f} wide; "
        f"the surface there differs by {_difference(fit):.0f} colour units from that above the fastener"
    )
