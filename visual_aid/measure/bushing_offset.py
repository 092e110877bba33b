"""Bushing off its centre: the sleeve's centre against the eye's, as a share of the rubber between them.

The box goes tightly around the eye. Rubber is darker than the metal of sleeve and eye; both rims are fitted
as ellipses, and the eye's ellipse says how the part is tilted.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from visual_aid.colour import srgb_to_lab
from visual_aid.measure.measurement import CannotMeasure, Figure, Found, Limit, Mark, View
from visual_aid.measure.patch import Patch, cut
from visual_aid.measure.rim import Rim, find_rim

SIDE = 480
EYE = (0.58, 1.04)
"""Radius of the eye as a share of half the box's shorter side."""
SLEEVE = (0.22, 0.80)
"""Radius of the sleeve as a share of the eye's."""
MOST_SQUEEZED = 0.72
"""Axis ratio of the eye, a tilt of 44 degrees, under which the sleeve's depth hides its rim."""
FOCAL = 0.75
"""Focal length of phones' main cameras as a share of the photo's longer side (26 to 28 mm on 36 mm)."""
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
        stray=0.35 * eye.radius,
        squeezed=False,
        shape=eye,
    )
    if sleeve is None:
        raise CannotMeasure(
            "the sleeve's rim does not stand out from the rubber: wipe it and light it from the front"
        )
    if eye.short / eye.long < MOST_SQUEEZED:
        raise CannotMeasure(
            f"the eye is seen {math.degrees(math.acos(eye.short / eye.long)):.0f} degrees from the side: "
            f"take it from "
            "nearer to head on"
        )
    return _found(view, patch, eye, sleeve, square)


def _found(view: View, patch: Patch, eye: Rim, sleeve: Rim, square: bool) -> Found:
    off = eye.to_unit @ np.array([sleeve.cx - eye.cx, sleeve.cy - eye.cy])
    radius = math.sqrt(abs(float(np.linalg.det(eye.to_unit)))) * sleeve.radius
    thickness = 1 - radius
    if thickness < 0.06:
        raise CannotMeasure("no rubber is to be told between sleeve and eye: box the eye, not the sleeve")
    share = float(np.hypot(*off)) / thickness
    noise = math.hypot(eye.centre_error, sleeve.centre_error) / eye.radius / thickness
    perspective = 0.0 if square else _perspective(view, patch, eye, radius)
    doubt = math.hypot(noise, perspective)
    figures = [Figure("offset_percent", 100 * share, 100 * doubt)]
    bearing = math.degrees(math.atan2(off[1], off[0])) % 360
    reason = (
        f"the sleeve sits {100 * share:.0f} % of the rubber's thickness off the eye's centre, give or take "
    )
    reason += f"{math.ceil(100 * doubt)}"
    if patch.mm is not None and view.scale is not None:
        mm = eye.radius * patch.mm * thickness
        error = math.hypot(mm * doubt, mm * share * view.scale.relative)
        figures += [Figure("offset_mm", mm * share, error), Figure("rubber_mm", mm, mm * view.scale.relative)]
        reason += f": {mm * share:.1f} mm of {mm:.1f} mm"
    figures.append(Figure("direction_deg", bearing))
    if not square and perspective > 0.03:
        reason += "; at this tilt a good part of that doubt goes away with the scale card beside it"
    marks = (
        Mark("eye", patch.outline(eye.outline())),
        Mark("sleeve", patch.outline(sleeve.outline())),
        Mark("off by", patch.outline(np.array([(eye.cx, eye.cy), (sleeve.cx, sleeve.cy)])), closed=False),
    )
    return Found(reason, tuple(figures), marks, LIMIT)


def _perspective(view: View, patch: Patch, eye: Rim, sleeve: float) -> float:
    """Give how far the centres of two ellipses may part by perspective alone, as a share of the rubber.

    The centre of a circle of radius R seen at tilt t from distance d lies R**2 sin(t) / d beside the centre
    of its ellipse, to first order; which way cannot be told from one eye.
    """
    sine = math.sqrt(max(0.0, 1 - (eye.short / eye.long) ** 2))
    focal = FOCAL * max(view.photo.info.width, view.photo.info.height)
    return (1 + sleeve) * eye.long / patch.finer / focal * sine
