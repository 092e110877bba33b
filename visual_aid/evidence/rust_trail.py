"""Rust-coloured run that starts at a fastener and follows gravity.

Water that enters a joint which works comes out rust-coloured below it. General rust has no direction,
runs from an edge, weld or hole do not start at the fastener, red paint does not thin out downwards and
mud is not orange: the features put the surface below the fastener against that beside and above it. What a
paint stripe colours below a nut is no run at all.
"""

from __future__ import annotations

from visual_aid.evidence.frame import Frame
from visual_aid.evidence.powder import Powder
from visual_aid.evidence.runs import RustRun
from visual_aid.evidence.scene import Measured, Measurement, Scene
from visual_aid.evidence.surroundings import Surroundings, below_against_elsewhere, fan_fit
from visual_aid.evidence.zones import Zones
from visual_aid.model import NotJudged

STRIPED = 0.45
"""Share of a run in the paint of plain stripes from which the run is the stripe."""


def measure(scene: Scene) -> Measured:
    """Measure rust around every fastener of the scene that has no paint stripe there."""
    if not scene.fasteners:
        return Measured(not_judged=(NotJudged("rust_trail", "no fastener was found to start from"),))
    measurements = (
        _at(*about)
        for about in zip(
            scene.seats, scene.surroundings, scene.powder, scene.rust_runs, scene.zones, strict=True
        )
    )
    return Measured(tuple(m for m in measurements if not _is_stripe(scene, m)))


def _is_stripe(scene: Scene, run: Measurement) -> bool:
    stripes = scene.stripes
    if stripes is None or stripes.paint.hue is None or not stripes.plain:
        return False
    return stripes.covers(run.fastener, run.outline) >= STRIPED


def _at(frame: Frame, around: Surroundings, powder: Powder, rust: RustRun, zones: Zones) -> Measurement:
    maps = {
        "rust": around.rust,
        "red_to_green": around.red_to_green,
        "green_to_blue": around.green_to_blue,
        "lighter": around.lighter,
    }
    fan = fan_fit(around, maps)
    spread = below_against_elsewhere(around, {"rust": around.rust, "red_to_green": around.red_to_green})
    down = rust.run
    # Few and telling: more features learn the pictures at hand by heart.
    features = {
        "rust_below_t": fan["rust_below_t"],
        "red_to_green_below_t": fan["red_to_green_below_t"],
        "green_to_blue_below_t": fan["green_to_blue_below_t"],
        "rust_q80": spread["rust"],
        "red_to_green_q80": spread["red_to_green"],
        "run_contrast": down.contrast,
        "streak_less_elsewhere": rust.streak,
        # What a run of water is not: powder, which lies in grains and darkens all that is below.
        "plain_grains_near": powder.plain_grains_near,
        "darker_below_t": max(-fan["lighter_below_t"], 0.0),
    }
    usual = down.strength - down.contrast
    reason = (
        f"rust-coloured run, {down.extent}, starts at the fastener's lower edge; "
        f"{100 * down.strength:.0f} % of its first stretch is rust-coloured, against {100 * usual:.0f} % as "
        "is usual around the fastener"
    )
    measures = {
        "length_r": down.length_r,
        "width_r": down.width_r,
        "rust_share": down.strength,
        "excess_share": down.contrast,
        "slant_deg": down.slant_deg,
    }
    outline = frame.outline(down.polygon())
    return Measurement(frame.fastener, features, measures, outline, reason, details=zones)
