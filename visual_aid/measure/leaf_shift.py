"""Leaf out of line: the ends of a pack's leaves against one another, and the gaps between them.

The box goes around the pack as seen along its leaves' ends or sides, with a little of what is behind on both
sides: each leaf is a level band whose left and right edge are looked for.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import cv2
import numpy as np

from visual_aid.measure.leaves import Pack, gap_rows, take_apart
from visual_aid.measure.measurement import CannotMeasure, Figure, Found, Limit, Mark, View
from visual_aid.measure.patch import cut
from visual_aid.measure.scale import Floats

SIDE = 640
EDGES = 0.36
"""Share of the box's width, from either side, in which a leaf's edge is looked for."""
LEAST_LEAVES = 3
LEAST_STEP = 0.4
"""Step at a leaf's ends as a share of the usual one."""
RECESS = 0.5
"""How much darker the inside of the pack is than a leaf, as a logarithm of lightness."""
OUTERMOST = 0.5
"""Share of the strongest step near a leaf's end that the end itself has at least."""
LEAST_STEEP = 6.0
"""How many times steeper than its grain a leaf's ends are: noise alone reaches four."""
UNEVEN, HIDDEN = 0.08, 0.5
"""Errors that stay however sharp the photo: a share of a leaf's thickness, from ends that are not cut square,
and of the shift, where one end is hidden by rust or lies in the dark. Tuned on made pictures."""
GAP = 2.6
"""Pixels by which a gap may be wrong: dirt fills it, and its shadow widens it. Tuned on made pictures."""
SETTLED = 0.8
"""Pixels by which an edge is settled at best: paint runs and dirt sit on it."""
LIMIT = Limit(
    "shift_share",
    0.25,
    "no leaf a quarter of its own thickness out of line",
    "49 CFR 393.207(c) has no leaf shifted; the quarter, no source, is what stacks have from the works",
)


def measure(views: Sequence[View]) -> Found:
    """Measure how far each leaf of a boxed pack lies out of line, and the widest gap.

    Raises
    ------
    CannotMeasure
        Fewer than three leaves can be told apart, or the ends of one within the pack are not seen.
    """
    view = views[0]
    patch = cut(view, SIDE)
    pack = take_apart(patch)
    if len(pack.bands) < LEAST_LEAVES:
        raise CannotMeasure("two leaves do not tell which of them has shifted: box at least three")
    found = np.array([_edges(pack, band) for band in pack.bands])
    # What lies above or below the pack is no leaf: nothing ends on it where the leaves end.
    leaf = found[:, 2] > max(LEAST_STEP * float(np.median(found[:, 2])), LEAST_STEEP)
    kept = np.flatnonzero(leaf)
    if len(kept) < LEAST_LEAVES:
        raise CannotMeasure(
            "the leaves' ends do not stand out from what is behind: light them, or hold a sheet behind"
        )
    if kept[-1] - kept[0] >= len(kept):  # left out, a leaf within the pack would be taken for a gap
        raise CannotMeasure(
            f"the ends of the leaf numbered {np.argmin(leaf[kept[0] :]) + 1} from above do not stand out "
            "from what is behind: light them, or hold a sheet behind"
        )
    edges, bands = found[kept, :2], pack.bands[kept[0] : kept[-1] + 1]
    height = np.array([b - a for a, b in bands], float)
    rows = np.array([(a + b) / 2 for a, b in bands])
    offsets = _out_of_line(edges, rows)
    worst = int(np.abs(offsets).argmax())
    thick = float(np.median(height))
    settled = SETTLED * math.sqrt(1 + 1 / len(offsets))
    error = math.hypot(settled, UNEVEN * thick, HIDDEN * float(abs(offsets[worst])))
    share = float(abs(offsets[worst])) / thick
    gaps = [b - a for a, b in gap_rows(bands)]
    widest = int(np.argmax(gaps))
    figures = [
        Figure("shift_share", share, error / thick),
        Figure("gap_share", gaps[widest] / thick, GAP / thick),
        Figure("leaf", float(worst + 1)),
        Figure("leaves", float(len(offsets))),
    ]
    side = "right" if offsets[worst] > 0 else "left"
    reason = (
        f"of {len(offsets)} leaves, the one numbered {worst + 1} from above lies {share:.2f} of a "
        f"leaf's thickness to the {side}"
    )
    if patch.mm is not None and view.scale is not None:
        mm = abs(float(offsets[worst])) * patch.mm
        figures += [
            Figure("shift_mm", mm, math.hypot(error * patch.mm, mm * view.scale.relative)),
            Figure("gap_mm", gaps[widest] * patch.mm, GAP * patch.mm),
        ]
        reason += f" ({mm:.1f} mm, give or take {error * patch.mm:.1f})"
    reason += (
        f"; the widest gap, under leaf {widest + 1}, is {gaps[widest] / thick:.2f} of a leaf's thickness"
    )
    marks = []
    for (a, b), (left, right) in zip(bands, edges, strict=True):
        corners = np.array([(left, a), (right, a), (right, b), (left, b)], float)
        marks.append(Mark("leaf", patch.outline(pack.back(corners))))
    return Found(reason, tuple(figures), tuple(marks), LIMIT)


def _edges(pack: Pack, band: tuple[int, int]) -> tuple[float, float, float]:
    """Give the columns of a leaf's left and right edge, and how much steeper the stronger is than grain."""
    a, b = band
    inset = max(1, (b - a) // 5)
    level = np.median(pack.log[a + inset : b - inset or None], axis=0).astype(np.float32)
    smooth = cv2.GaussianBlur(level[None], (0, 0), sigmaX=1.5).ravel()
    slope = np.abs(np.gradient(smooth))
    w = len(slope)
    reach = round(EDGES * w)
    own = float(np.median(smooth[reach : w - reach]))
    left = _end(slope[2:reach], smooth[2:reach], own) + 2
    right = w - 3 - _end(slope[w - reach : w - 2][::-1], smooth[w - reach : w - 2][::-1], own)
    stronger = max(slope[2:reach].max(), slope[w - reach : w - 2].max())
    return left, right, float(stronger / max(float(np.median(slope)), 1e-6))


def _end(slope: Floats, light: Floats, own: float) -> float:
    """Give where a leaf ends, from the outside: its own lightness is known from its middle.

    Where a leaf has drawn back, the dark of the pack's inside lies between what is behind and its end.
    """
    at = _outermost(slope)
    inside = int(at) + 3
    dark = light[inside:] < own - RECESS
    if inside < len(light) and dark[:2].all():
        back = int(np.argmin(dark)) if not dark.all() else 0
        if back:
            between = inside + back
            low, high = light[between - 1], light[between]
            return between - 1 + float((own - RECESS - low) / max(high - low, 1e-6))
    return at


def _outermost(slope: Floats) -> float:
    """Give the place of the first strong step from the outside: rust on the leaf makes steps further in."""
    at = int(np.argmax(slope > OUTERMOST * slope.max()))
    while at + 1 < len(slope) and slope[at + 1] > slope[at]:
        at += 1
    if not 0 < at < len(slope) - 1:
        return float(at)
    before, here, after = slope[at - 1 : at + 2]
    curve = before - 2 * here + after
    return at + (0.5 * (before - after) / curve if curve < 0 else 0.0)


def _out_of_line(edges: Floats, rows: Floats) -> Floats:
    """Give how far each leaf lies to the right of the line through the others, in pixels.

    A leaf has shifted where both its ends have. The line may lean: few packs are seen square.
    """
    sides = []
    for column in edges.T:
        slopes = [
            (column[j] - column[i]) / (rows[j] - rows[i])
            for i in range(len(rows))
            for j in range(i + 1, len(rows))
        ]
        lean = float(np.median(slopes)) if len(rows) > 3 else 0.0
        straight = column - lean * rows
        sides.append(straight - np.median(straight))
    left, right = sides
    same = np.sign(left) == np.sign(right)
    shifted: Floats = np.where(same, np.sign(left) * np.minimum(np.abs(left), np.abs(right)), 0.0)
    return shifted
