"""Bolt hole out of round: its longest against its shortest width in its own plane.

The box goes tightly around the hole, bolt out. Without the card a round hole seen at a tilt and a worn one
head on look the same, so nothing is said.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from visual_aid.colour import srgb_to_lab
from visual_aid.measure.measurement import CannotMeasure, Figure, Found, Limit, Mark, View
from visual_aid.measure.patch import Patch, cut
from visual_aid.measure.rim import BIAS, RAYS, Rim, find_rim
from visual_aid.measure.scale import Floats, project
from visual_aid.measure.scale_card import paper_of

SIDE = 480
WAVES = 6
"""How many waves around the rim its outline is described with: round, oval, and the corners of a slot."""
SMEAR = 3
"""Pixels of the patch beyond the paper in which its edge still changes what lies beside it."""
RATIO_SCATTERS, RATIO_RAYS = 2.2, 12
LENGTH_SCATTERS, LENGTH_RAYS = 2.0, 16
"""How many times its scatter a rim's one ray puts a ratio, or a length, wrong; and rays of which one counts:
neighbours see the same dirt. Own, no source."""
SPREAD = 1.2
"""By how much more a ratio scatters than its parts tell: the longest width is the one that erred most. Tuned
on made pictures."""
LIMIT = Limit(
    "axis_ratio",
    1.05,
    "longest width at most 5 % over the shortest",
    "no published limit: where this tool asks for the hand check",
)


def measure(views: Sequence[View]) -> Found:
    """Measure a hole's widths.

    Raises
    ------
    CannotMeasure
        There is no scale card, or the rim does not stand out.
    """
    view = views[0]
    if view.scale is None or not view.scale.rectified:
        why = view.why_no_scale or "the known length says nothing of the tilt"
        raise CannotMeasure(
            "without the scale card the tilt is not known, and a round hole seen from the side looks worn: "
            f"lay the card flat beside the hole ({why})"
        )
    patch = cut(view, SIDE, margin=0.25)
    assert patch.mm is not None
    light = srgb_to_lab(patch.pixels)[..., 0]
    h, w = light.shape
    half = min(h, w) / 2 / 1.5
    rim = find_rim(
        light,
        (0.5 * half, 1.15 * half),
        -1,
        about=((w - 1) / 2, (h - 1) / 2),
        stray=0.3 * half,
        squeezed=True,
        hidden=_under_card(view, patch),
        finer=patch.finer,
    )
    if rim is None:
        raise CannotMeasure(
            "the hole's rim does not stand out: take the bolt out, clean the rim, light it from the front"
        )
    outline = smooth_outline(rim)
    bearing, width = widths(outline)
    long, short = int(width.argmax()), int(width.argmin())
    ratio = float(width[long] / width[short])
    tilt = view.scale.tilt(view.middle)
    error = SPREAD * math.hypot(
        RATIO_SCATTERS * rim.scatter / rim.radius / math.sqrt(rim.kept * RAYS / RATIO_RAYS),
        BIAS / rim.radius,
        _tilt_error(view) * math.tan(math.radians(tilt)),
    )
    long_mm, short_mm = (float(width[i]) * patch.mm for i in (long, short))
    length_error = math.hypot(
        LENGTH_SCATTERS * rim.scatter * patch.mm / math.sqrt(RAYS / LENGTH_RAYS),
        long_mm * view.scale.relative,
    )
    across = np.array([math.cos(math.radians(bearing[long])), math.sin(math.radians(bearing[long]))])
    middle = outline.mean(axis=0)
    reason = (
        f"the hole is {long_mm:.2f} mm at its longest and {short_mm:.2f} mm across it: ratio {ratio:.3f}, "
        f"give or take {error:.3f}, longest at {bearing[long]:.0f} degrees from the box's upper edge, at "
        f"{tilt:.0f} degrees of tilt"
    )
    return Found(
        reason,
        (
            Figure("axis_ratio", ratio, error),
            Figure("longest_mm", long_mm, length_error),
            Figure("shortest_mm", short_mm, length_error),
            Figure("direction_deg", float(bearing[long])),
        ),
        (
            Mark("rim", patch.outline(outline)),
            Mark(
                "longest",
                patch.outline(
                    np.array([middle - across * width[long] / 2, middle + across * width[long] / 2])
                ),
                closed=False,
            ),
        ),
        LIMIT,
    )


def _under_card(view: View, patch: Patch) -> NDArray[np.uint8] | None:
    """Mark what the card lies over: its paper's edge beside a hole is no rim."""
    corners = None if view.scale is None else paper_of(view.scale)
    if corners is None:
        return None
    paper = project(np.linalg.inv(patch.to_full), corners)
    hidden = np.zeros(patch.pixels.shape[:2], np.uint8)
    cv2.fillConvexPoly(hidden, np.round(paper).astype(np.int32), 1)
    return np.asarray(cv2.dilate(hidden, np.ones((2 * SMEAR + 1, 2 * SMEAR + 1), np.uint8)), np.uint8)


def smooth_outline(rim: Rim) -> Floats:
    """Give the rim as it runs, freed of scatter: a few waves on its ellipse, shape (180, 2).

    An ellipse alone makes a slot, two half circles with straight sides, rounder than it is.
    """
    unit = (rim.points - (rim.cx, rim.cy)) @ rim.to_unit.T
    bearing, reach = np.arctan2(unit[:, 1], unit[:, 0]), np.hypot(*unit.T)
    kept = np.ones(len(reach), bool)
    waves = _waves(bearing)
    # Small waves only: a gap in the rim must not be filled with a bulge.
    hold = 0.02 * np.diag([0.0, *np.repeat(np.arange(1, WAVES + 1), 2)])
    fit = np.zeros(waves.shape[1])
    for _ in range(4):
        fit = np.linalg.solve(waves[kept].T @ waves[kept] + hold, waves[kept].T @ (reach[kept] - 1))
        miss = np.abs(reach - 1 - waves @ fit)
        kept = miss < 3.5 * max(1.4826 * float(np.median(miss)), 1e-4)
    around = np.linspace(-math.pi, math.pi, 180, endpoint=False)
    drawn = (1 + _waves(around) @ fit)[:, None] * np.column_stack([np.cos(around), np.sin(around)])
    outline: Floats = drawn @ np.linalg.inv(rim.to_unit).T + (rim.cx, rim.cy)
    return outline


def widths(outline: Floats) -> tuple[Floats, Floats]:
    """Give the width of an outline (N, 2) across each direction: degrees (180,), and pixels (180,)."""
    bearing = np.arange(180.0)
    across = np.column_stack([np.cos(np.radians(bearing)), np.sin(np.radians(bearing))])
    reach = outline @ across.T
    return bearing, reach.max(axis=0) - reach.min(axis=0)


def _waves(bearing: Floats) -> Floats:
    columns = [np.ones_like(bearing)]
    for k in range(1, WAVES + 1):
        columns += [np.cos(k * bearing), np.sin(k * bearing)]
    return np.column_stack(columns)


def _tilt_error(view: View) -> float:
    """Give the radians by which the tilt may be wrong, from how well two crossed lengths are known."""
    assert view.scale is not None
    x, y = view.middle
    reach = max(view.box[2:]) / 2
    shares = []
    for dx, dy in ((reach, 0.0), (0.0, reach)):
        value, error = view.scale.length((x - dx, y - dy), (x + dx, y + dy), 0.0)
        shares.append(math.sqrt(max(error**2 - (view.scale.relative * value) ** 2, 0.0)) / value)
    return math.hypot(*shares)
