"""Bushing off its centre: the sleeve's centre against the eye's, as a share of the rubber between them.

The box goes tightly around the eye. Rubber is darker than the metal of sleeve and eye; both rims are fitted
as ellipses. The card says how the part is tilted; without it the two rims do, as circles of one plane.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from visual_aid.colour import srgb_to_lab
from visual_aid.measure.circles import Offset, offset_of
from visual_aid.measure.measurement import CannotMeasure, Figure, Found, Limit, Mark, View
from visual_aid.measure.patch import Patch, cut
from visual_aid.measure.rim import Rim, find_rim, misses
from visual_aid.measure.scale import Floats, project

SIDE = 480
EYE = (0.58, 1.04)
"""Radius of the eye as a share of half the box's shorter side."""
SLEEVE = (0.22, 0.80)
"""Radius of the sleeve as a share of the eye's."""
MOST_SQUEEZED = 0.72
"""Axis ratio of the eye, a tilt of 44 degrees, under which the sleeve's depth hides its rim."""
STRAY = 0.62
"""How far off the eye's centre the sleeve is looked for, as a share of the eye's radius: all but touching."""
BORE = (0.35, 0.80)
"""Radius of the sleeve's bore as a share of the sleeve's."""
EDGE = 0.1
"""Full pixels by which blur may move both rims of the rubber alike: tuned on made pictures."""
LIMIT = Limit(
    "offset_percent",
    50.0,
    "sleeve off the eye's centre by at most half the rubber's thickness",
    "no published limit: where this tool asks for the hand check",
)


def measure(views: Sequence[View]) -> Found:
    """Measure how far the sleeve sits off the eye's centre.

    Raises
    ------
    CannotMeasure
        One of the rims does not stand out, or the part is seen from too far to the side.
    """
    view = views[0]
    patch = cut(view, SIDE, margin=0.08)
    light = srgb_to_lab(patch.pixels)[..., 0]
    h, w = light.shape
    half = min(h, w) / 2 / 1.16
    square = view.scale is not None and view.scale.rectified
    eye = find_rim(
        light,
        (EYE[0] * half, EYE[1] * half),
        -1,
        about=((w - 1) / 2, (h - 1) / 2),
        stray=0.18 * half,
        squeezed=not square,
        finer=patch.finer,
    )
    if eye is None:
        raise CannotMeasure(
            "the eye's rim does not stand out from the rubber: wipe it, light it from the front, box the "
            "eye tightly"
        )
    sleeve = find_rim(
        light,
        (SLEEVE[0] * eye.radius, SLEEVE[1] * eye.radius),
        1,
        about=(eye.cx, eye.cy),
        stray=STRAY * eye.radius,
        squeezed=False,
        shape=eye,
        finer=patch.finer,
    )
    if sleeve is None:
        raise CannotMeasure(
            "the sleeve's rim does not stand out from the rubber: wipe it and light it from the front"
        )
    if eye.short / eye.long < MOST_SQUEEZED:
        raise CannotMeasure(
            f"the eye is seen {math.degrees(math.acos(eye.short / eye.long)):.0f} degrees from the side: "
            "take it from nearer to head on"
        )
    offset = _square(eye, sleeve) if square else _tilted(view, patch, light, eye, sleeve)
    if offset is None:
        raise CannotMeasure(
            "the rims of eye and sleeve are no circles of one plane: something lies over them, or the sleeve "
            "stands out of the eye; wipe both, or lay the scale card beside them"
        )
    return _found(view, patch, eye, sleeve, offset)


def _square(eye: Rim, sleeve: Rim) -> Offset:
    """Give the offset where the card has undone the tilt."""
    by = eye.to_unit @ np.array([sleeve.cx - eye.cx, sleeve.cy - eye.cy])
    inner = math.sqrt(abs(float(np.linalg.det(eye.to_unit)))) * sleeve.radius
    noise = math.hypot(eye.centre_error, sleeve.centre_error) / eye.radius
    share = max(1 - inner, 1e-6)
    return Offset(by / share, (noise / share) ** 2 * np.eye(2), inner)


def _tilted(view: View, patch: Patch, light: Floats, eye: Rim, sleeve: Rim) -> Offset | None:
    """Give the offset where the rims alone tell the tilt."""
    bore = find_rim(
        light,
        (BORE[0] * sleeve.radius, BORE[1] * sleeve.radius),
        -1,
        about=(sleeve.cx, sleeve.cy),
        stray=0.1 * sleeve.radius,
        squeezed=False,
        shape=sleeve,
        finer=patch.finer,
    )
    # A bolt's head fills the bore and stands before it; an empty bore is as dark as the rubber.
    if bore is not None and _lightness(light, bore) > _lightness(light, eye, without=sleeve):
        bore = None
    rims = [
        project(patch.to_full, rim.points[np.abs(misses(rim, rim.points)) < 3 * rim.scatter])
        for rim in (eye, sleeve, bore)
        if rim is not None
    ]
    info = view.photo.info
    return offset_of(rims[0], rims[1], (info.width, info.height), *rims[2:])


def _lightness(light: Floats, rim: Rim, without: Rim | None = None) -> float:
    """Give the median lightness within a rim, or between it and one within."""
    h, w = light.shape
    grid = np.stack(np.meshgrid(np.arange(w), np.arange(h)), axis=-1).reshape(-1, 2)
    inside = misses(rim, grid) < -2
    if without is not None:
        inside &= misses(without, grid) > 2
    return float(np.median(light.ravel()[inside])) if inside.any() else math.inf


def _found(view: View, patch: Patch, eye: Rim, sleeve: Rim, offset: Offset) -> Found:
    thickness = 1 - offset.inner
    if thickness < 0.06:
        raise CannotMeasure("no rubber is to be told between sleeve and eye: box the eye, not the sleeve")
    share = float(np.hypot(*offset.by))
    along = offset.by / max(share, 1e-9)
    # Near the centre the offset has no direction, and doubt along and across count alike.
    noise = math.sqrt(max(float(along @ offset.covariance @ along), float(np.trace(offset.covariance)) / 2))
    doubt = math.hypot(noise, share * 2 * EDGE * patch.finer / (eye.radius * thickness))
    figures = [Figure("offset_percent", 100 * share, 100 * doubt)]
    bearing = math.degrees(math.atan2(offset.by[1], offset.by[0])) % 360
    reason = (
        f"the sleeve sits {100 * share:.0f} % of the rubber's thickness off the eye's centre, give or take "
        f"{math.ceil(100 * doubt)}"
    )
    if patch.mm is not None and view.scale is not None:
        mm = eye.radius * patch.mm * thickness
        error = math.hypot(mm * doubt, mm * share * view.scale.relative)
        figures += [Figure("offset_mm", mm * share, error), Figure("rubber_mm", mm, mm * view.scale.relative)]
        reason += f": {mm * share:.1f} mm of {mm:.1f} mm"
    figures.append(Figure("direction_deg", bearing))
    marks = (
        Mark("eye", patch.outline(eye.outline())),
        Mark("sleeve", patch.outline(sleeve.outline())),
        Mark("off by", patch.outline(np.array([(eye.cx, eye.cy), (sleeve.cx, sleeve.cy)])), closed=False),
    )
    return Found(reason, tuple(figures), marks, LIMIT)
