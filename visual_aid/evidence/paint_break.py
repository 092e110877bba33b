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

from visual_aid.evidence.frame import RADIUS, Frame, pixel_of
from visual_aid.evidence.runs import RustRun
from visual_aid.evidence.scene import NOTHING_IN_PLACE, Measured, Measurement, Scene
from visual_aid.evidence.stance import HEIGHT_OF_NUT, Stance
from visual_aid.evidence.surroundings import towards_rust
from visual_aid.evidence.zones import Zones
from visual_aid.model import NotJudged, Outline
from visual_aid.quantiles import median, nanmedian, percentile

# Polar grid around the centre of the nut's foot: bearings by radii.
_BEARINGS = np.radians(np.arange(0, 360, 4.0))
_RADII = np.arange(0.8, 2.6, 0.05)
_COS, _SIN = np.cos(_BEARINGS)[:, None], np.sin(_BEARINGS)[:, None]
# Rings around the foot. A hexagon's corners reach 1.155 r: the crack runs from 1 to 1.4 r.
_CRACK, _RIM, _FAR = (
    (low <= _RADII) & (high > _RADII) for low, high in ((1.04, 1.4), (1.2, 1.4), (1.75, 2.55))
)
# The nut's body as seen covers a capsule from top to foot; the stud one the other way (radius 0.67 r).
_BODY, _STUD, _STUD_LENGTH = 1.06, 0.72, 1.2
_TOP_FACE = (RADIUS >= 0.72) & (RADIUS < 0.93)
# Colour difference that a person sees at a glance on rough paint; common practice, no source.
LEAST_DIFFERENCE = 6.0

Grid = NDArray[np.float32]
Mask = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class _Foot:
    """What is seen around a nut's foot, on the polar grid, against the paint beyond it.

    ``different`` is the colour difference to the paint beyond, that in L* halved and told by bearing.
    ``rough``, ``fleck`` (lighter) and ``rust_fleck`` are what changes along the ring within 28 degrees: a
    crack is ragged, whereas a washer's rim and a flange change across the ring alone.
    """

    seen: Mask
    different: Grid
    rough: Grid
    fleck: Grid
    rust_fleck: Grid
    paint: Grid


def measure(scene: Scene) -> Measured:
    """Measure how much of the ring around each fastener's foot differs from the paint beyond it."""
    if not scene.in_place:
        return Measured(not_judged=(NotJudged("paint_break", NOTHING_IN_PLACE),))
    return Measured(
        tuple(
            _measurement(*each)
            for each in zip(
                scene.in_place,
                scene.stances,
                scene.those_in_place(scene.rust_runs),
                scene.those_in_place(scene.zones),
                strict=True,
            )
        )
    )


def _sample(image: NDArray[np.uint8] | Grid, stance: Stance, nearest: bool = False) -> Grid:
    centre = stance.likely(HEIGHT_OF_NUT)
    x, y = pixel_of(centre[0] + _COS * _RADII, centre[1] + _SIN * _RADII)
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
    far = seen & _FAR
    paint = median(lab[far], axis=0) if far.sum() > 30 else median(lab.reshape(-1, 3), axis=0)
    # The same bearing's own lightness beyond the crack: a shadow over both is none of the crack's.
    outside = np.where(far, lab[..., 0], np.nan)[:, _FAR]
    enough = np.isfinite(outside).sum(axis=1) > 4
    beyond = np.full(len(_BEARINGS), paint[0], np.float32)
    beyond[enough] = nanmedian(outside[enough], axis=1)
    lighter = lab[..., 0] - beyond[:, None]
    redder, yellower = lab[..., 1] - paint[1], lab[..., 2] - paint[2]
    rusty = towards_rust(redder, yellower)
    kernel = np.ones((7, 1), np.uint8)
    light = lab[..., 0]
    return _Foot(
        seen,
        np.sqrt(redder**2 + yellower**2 + (0.5 * lighter) ** 2),
        np.abs(light - cv2.blur(light, (1, 5))),
        cv2.morphologyEx(light, cv2.MORPH_TOPHAT, kernel).astype(np.float32),
        cv2.morphologyEx(rusty.astype(np.float32), cv2.MORPH_TOPHAT, kernel).astype(np.float32),
        paint.astype(np.float32),
    )


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


def _measurement(frame: Frame, stance: Stance, rust: RustRun, zones: Zones) -> Measurement:
    foot = _look(frame, stance)
    far = foot.seen & _FAR
    crack = foot.seen & _CRACK
    spread = percentile(foot.different[far], 80) if far.sum() > 30 else math.nan
    rim = foot.seen & _RIM
    # Bearing by bearing: does anything in the crack's ring stand out of this paint's own variation?
    limit = max(LEAST_DIFFERENCE, spread if math.isfinite(spread) else 0.0)
    visible = crack.sum(axis=1) >= 2
    count = max(int(visible.sum()), 1)
    peak = np.where(crack, foot.different, 0).max(axis=1)
    flecked = visible & (np.where(crack, foot.fleck, 0).max(axis=1) > limit)
    rust_flecked = visible & (np.where(crack, foot.rust_fleck, 0).max(axis=1) > 0.7 * limit)
    # Flecks lie apart: up to three bearings (12 degrees) between two belong to one arc.
    cracked = flecked | rust_flecked
    arc = np.any([np.roll(cracked, k) for k in (-1, 0, 1)], axis=0)
    first, length = _longest_run(arc)
    nut = _nut_colour(frame)
    share = float(cracked.sum() / count)
    # Few and telling: more features learn the pictures at hand by heart.
    features = {
        "either_share": share,
        "fleck_share": float(flecked.sum() / count),
        "rough_rim": float(foot.rough[rim].mean()) if rim.sum() > 12 else math.nan,
        "run_deg": length * 360 / len(_BEARINGS),
        "nut_tint": float(np.hypot(*(nut - foot.paint)[1:])),
        # What else colours the surface at the foot: a run that comes out of the joint.
        "rust_run_contrast": rust.run.contrast,
        "rust_streak": rust.streak,
    }
    stands_out = float(median(peak[visible])) if visible.any() else math.nan
    measures = {
        "arc_deg": length * 360 / len(_BEARINGS),
        "share": share,
        "colour_de": stands_out,
        "paint_de": spread,
    }
    reason = (
        f"bare or rusty flecks along {100 * share:.0f} % of what is seen of the nut's foot, "
        f"longest arc {length * 360 // len(_BEARINGS)}°; the ring differs by {stands_out:.0f} colour "
        f"units from the paint beyond, which itself varies by {spread:.0f}"
    )
    outline = _outline(frame, stance, first, length)
    return Measurement(frame.fastener, features, measures, outline, reason, details=zones)


def _nut_colour(frame: Frame) -> Grid:
    """Median CIELAB of the nut's top between stud and edge."""
    out: Grid = median(frame.lab[_TOP_FACE], axis=0)
    return out


def _outline(frame: Frame, stance: Stance, first: int, length: int) -> Outline:
    """Outline the arc in which the ring differs, or the whole ring where no bearing does."""
    steps = np.arange(first, first + (length if length > 1 else len(_BEARINGS)))
    bearings = _BEARINGS[steps % len(_BEARINGS)]
    ring = np.column_stack([np.cos(bearings), np.sin(bearings)])
    closed = len(steps) == len(_BEARINGS)
    points = 1.4 * ring if closed else np.concatenate([1.4 * ring, 0.95 * ring[::-1]])
    return frame.outline(points + stance.likely(HEIGHT_OF_NUT))
