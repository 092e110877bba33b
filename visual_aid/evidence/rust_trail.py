"""Rust-coloured run that starts at a fastener and follows gravity.

Water that enters a joint which works comes out rust-coloured below it. General rust has no direction,
runs from an edge, weld or hole do not start at the fastener, red paint does not thin out downwards and
mud is not orange: the features put the surface below the fastener against that beside and above it.
"""

from __future__ import annotations

from visual_aid.evidence.frame import Frame
from visual_aid.evidence.runs import streak, strongest_run
from visual_aid.evidence.scene import Measured, Measurement, Scene
from visual_aid.evidence.surroundings import below_against_elsewhere, fan_fit, look_around, soft_step
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
        "red_to_green": around.red_to_green,
        "green_to_blue": around.green_to_blue,
        "log_light": around.log_light,
    }
    # Orange whatever the light: more red to green, and green to blue, than the surface has.
    orange = soft_step(around.red_to_green + 0.5 * around.green_to_blue, 0.16, 0.05)
    features = fan_fit(around, maps) | below_against_elsewhere(around, maps)
    features |= {f"streak_{k}": v for k, v in streak(around.red_to_green, around.seen).items()}
    runs = {}
    for name, surface in (("rust", around.rust), ("orange", orange)):
        runs[name] = strongest_run(surface, around.seen)
        up = strongest_run(surface, around.seen, upward=True)
        features |= {
            f"{name}_run_strength": runs[name].strength,
            f"{name}_run_contrast": runs[name].contrast,
            f"{name}_run_length_r": runs[name].length_r,
            f"{name}_run_width_r": runs[name].width_r,
            f"{name}_run_offset_r": abs(runs[name].offset_r),
            f"{name}_less_up": runs[name].strength - up.strength,
            f"{name}_length_less_up": runs[name].length_r - up.length_r,
            f"{name}_width_less_up": runs[name].width_r - up.width_r,
        }
    features |= {
        "paint_l": float(around.paint[0]),
        "paint_a": float(around.paint[1]),
        "paint_b": float(around.paint[2]),
        "spread_de": around.spread,
    }
    down = max(runs.values(), key=lambda run: run.contrast)
    reason = (
        f"rust-coloured run, {down.length_r:.1f} nut radii long and {down.width_r:.1f} wide, starts at the "
        f"fastener's lower edge; {100 * down.strength:.0f} % of its first stretch is rust-coloured, "
        f"{100 * down.contrast:.0f} points more than usual around the fastener"
    )
    measures = {
        "length_r": down.length_r,
        "width_r": down.width_r,
        "rust_share": down.strength,
        "excess_share": down.contrast,
        "slant_deg": down.slant_deg,
    }
    return Measurement(frame.fastener, features, measures, frame.outline(down.polygon()), reason)
