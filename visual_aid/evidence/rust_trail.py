"""Rust-coloured run that starts at a fastener and follows gravity.

Water that enters a joint which works comes out rust-coloured below it. General rust has no direction,
runs from an edge, weld or hole do not start at the fastener, red paint does not thin out downwards and
mud is not orange: the features put the surface below the fastener against that beside and above it.
"""

from __future__ import annotations

from visual_aid.evidence.frame import Frame
from visual_aid.evidence.runs import strongest_run
from visual_aid.evidence.scene import Measured, Measurement, Scene
from visual_aid.evidence.surroundings import fan_fit, look_around
from visual_aid.model import NotJudged


def measure(scene: Scene) -> Measured:
    """Measure rust around every fastener of the scene."""
    measurements = tuple(_at(frame) for frame in scene.seats)
    if measurements:
        return Measured(measurements)
    return Measured(not_judged=(NotJudged("rust_trail", "no fastener was found to start from"),))


def _at(frame: Frame) -> Measurement:
    around = look_around(frame)
    maps = {
        "rust": around.rust,
        "lighter": around.lighter,
        "redder": around.redder,
        "yellower": around.yellower,
        "warmer": around.warmer,
    }
    down = strongest_run(around.rust, around.seen)
    up = strongest_run(around.rust, around.seen, upward=True)
    features = {
        **fan_fit(around, maps),
        "run_strength": down.strength,
        "run_contrast": down.contrast,
        "run_length_r": down.length_r,
        "run_width_r": down.width_r,
        "run_offset_r": abs(down.offset_r),
        "up_strength": up.strength,
        "down_less_up": down.strength - up.strength,
        "length_less_up": down.length_r - up.length_r,
        "paint_l": float(around.paint[0]),
        "paint_a": float(around.paint[1]),
        "paint_b": float(around.paint[2]),
        "spread_de": around.spread,
    }
    reason = (
        f"rust-coloured run, {down.length_r:.1f} nut radii long and {down.width_r:.1f} wide, starts at the "
        f"fastener's lower edge; {100 * down.strength:.0f} % of its first stretch is rust-coloured "
        f"against {100 * up.strength:.0f} % above the fastener"
    )
    measures = {
        "length_r": down.length_r,
        "width_r": down.width_r,
        "rust_share": down.strength,
        "rust_above_share": up.strength,
        "slant_deg": down.slant_deg,
    }
    return Measurement(frame.fastener, features, measures, frame.outline(down.polygon()), reason)
