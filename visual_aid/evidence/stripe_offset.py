"""A paint stripe once drawn across nut and surface whose two parts no longer line up (see ``stripes``)."""

from __future__ import annotations

import math

import cv2
import numpy as np

from visual_aid.evidence.axis import FACE, SEAT, SIDE, STUD
from visual_aid.evidence.frame import PIXELS_PER_RADIUS
from visual_aid.evidence.scene import NOTHING_IN_PLACE, Details, Measured, Measurement, Scene
from visual_aid.evidence.stripes import (
    FAR,
    FLANGE,
    RIM,
    Floats,
    Layout,
    Mark,
    View,
    marks_in,
    pair_up,
    wrapped,
)
from visual_aid.model import NotJudged

_NO_DETAILS: Details = np.zeros(0, np.float32)
"""The trees are asked the features alone."""


def measure(scene: Scene) -> Measured:
    """Measure at every fastener with a stripe how far its two parts are out of line.

    Returns
    -------
    Measured
        ``offset_deg`` is the turn of the nut's part against the surface's part, clockwise positive as seen;
        ``offset_sd_deg`` its standard deviation.
    """
    if not scene.in_place:
        return Measured(not_judged=(NotJudged("stripe_offset", NOTHING_IN_PLACE),))
    layout = scene.stripes
    if layout is None:
        return Measured((), (NotJudged("stripe_offset", "no paint stripe runs to a fastener"),))
    found = [
        _measurement(*each, layout) for each in zip(layout.views, layout.painted, layout.bases, strict=True)
    ]
    measured = tuple(m for m in found if m is not None)
    return Measured(
        measured, () if measured else (NotJudged("stripe_offset", "no paint stripe can be measured"),)
    )


def _measurement(
    view: View, painted: tuple[Floats, Floats], base: Floats, layout: Layout
) -> Measurement | None:
    points, sure = painted
    pair, part, foot = pair_up(points, sure, base, view.stud, view.flange)
    if pair is None:
        return None
    surface, nut = pair.surface, pair.nut
    offset, sd = math.degrees(pair.turn), math.degrees(pair.turn_sd)
    body = (part == SIDE) | (part == FACE)
    distance = np.hypot(foot[:, 0], foot[:, 1])
    across = np.abs(foot @ (-math.sin(surface.bearing), math.cos(surface.bearing)))
    ahead = foot @ (math.cos(surface.bearing), math.sin(surface.bearing)) > 0
    in_line = float((sure * (body & ahead & (across < 0.25))).sum()) / PIXELS_PER_RADIUS**2
    on_body = float((sure * body).sum()) / PIXELS_PER_RADIUS**2
    ring = float((sure * ((part == SEAT) & (distance > FLANGE) & (distance < FAR))).sum())
    skirt = part == SEAT
    on_skirt = marks_in(foot[skirt], sure[skirt], 1.1, RIM)
    turned = abs(offset) if nut is not None else 0.0
    plain = min(surface.length / 0.5, 1.0) * surface.area * PIXELS_PER_RADIUS**2 / max(ring, 1.0)
    shown_on_nut = 0.0 if nut is None else min(nut.length / 0.4, 1.0) * nut.area / max(on_body, 1e-6)
    features = {
        "turned_plainly": plain * shown_on_nut * float(np.clip((turned - 3.0) / 12.0, 0.0, 1.0)),
        "lines_up_plainly": plain * shown_on_nut * float(np.clip(1.0 - turned / 12.0, 0.0, 1.0)),
        "surface_alone_plainly": plain * (1.0 - shown_on_nut) if in_line < 0.02 else 0.0,
        "offset_half_turn_deg": abs(math.degrees(wrapped(pair.turn, math.pi))),
        "skirt_length_r": on_skirt[0].length if on_skirt else 0.0,
        "surface_purity": surface.area * PIXELS_PER_RADIUS**2 / max(ring, 1.0),
        "paint_evidence": layout.paint.evidence,
        "paint_white": float(layout.paint.hue is None),
        "disorder": layout.disorder,
        "surface_marks": float(len(pair.surfaces)),
        "offset_sd_deg": sd,
        "lean_r": float(np.hypot(*base)),
        "stud": float(view.stud),
        "flange": float(view.flange),
        **_described("surface", surface),
        **_described("nut", nut),
    }
    shown, near = sure > 0.5, (distance < FAR) & (part != STUD)
    # A faded stripe is sure of no point; what is left then is where it was looked for.
    region = next(points[where] for where in (near & shown, shown, near) if where.sum() > 3)
    hull = cv2.convexHull(region.astype(np.float32))[:, 0].astype(float)
    if nut is None:
        measures: dict[str, float] = {}
        reason = f"stripe on the surface, {surface.length:.1f} nut radii long, and no part of it on the nut"
    else:
        surface_deg = math.degrees(surface.bearing)
        measures = {"offset_deg": offset, "offset_sd_deg": sd, "surface_deg": surface_deg}
        way = "clockwise" if offset > 0 else "anticlockwise"
        reason = (
            f"the stripe's part on the nut stands {abs(offset):.0f} degrees {way} of its part on the surface "
            f"(uncertain by {sd:.0f} degrees)"
        )
    outline = view.frame.outline(hull)
    return Measurement(view.frame.fastener, features, measures, outline, reason, details=_NO_DETAILS)


def _described(name: str, mark: Mark | None) -> dict[str, float]:
    """Give a mark's shape as features, NaN where there is none."""
    if mark is None:
        figures = (math.nan,) * 5
    else:
        off_ray = abs(math.degrees(wrapped(mark.direction - mark.bearing)))
        figures = (mark.length, mark.width, mark.extent, mark.area, off_ray)
    names = ("length_r", "width_r", "extent_r", "area_r2", "off_ray_deg")
    return {f"{name}_{what}": figure for what, figure in zip(names, figures, strict=True)}
