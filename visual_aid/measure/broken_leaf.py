"""Broken leaf: a dark or rust-edged line that crosses one leaf from its upper to its lower edge.

The box goes along the pack as seen from its side. Scratches are light, stains wide and soft, and what lies
over the whole pack, a clip or a shadow, crosses every leaf: none of them is a break.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from visual_aid.measure.leaves import Pack, take_apart
from visual_aid.measure.measurement import CannotMeasure, Figure, Found, Limit, Mark, View
from visual_aid.measure.patch import cut
from visual_aid.measure.scale import Floats
from visual_aid.measure.ways import ways_down

SIDE = 900
HALF = 5
"""Half the width in pixels of the line that is looked for: both its sides are compared at that distance."""
LEAST_ROWS, LEAST_COLUMNS = 4, 8 * HALF
"""Pixels of a leaf's height and length without which no line across it is told from grain."""
ASIDE, DARKEST = 0.01, 0.35
"""What a line's step aside costs, and what one of its rows counts at most, in darkness as a logarithm of
lightness: a line is dark all the way, not in one spot. Own, no source."""
CERTAIN = 0.10
"""Darkness, as a logarithm of lightness, that a break has all across its leaf."""
CLEAR = 4.0
"""How many times the leaf's usual darkest crossing a break is: grime and grain cross leaves too."""
REDDER = 4.0
"""CIELAB a* by which a rusty edge is redder than its leaf."""
ALIKE = 0.6
"""Leaf thicknesses aside within which dark lines across two leaves belong to one thing that lies over
both."""
AS_DARK = 0.5
"""How dark, as a share, the line across the other leaf is at least."""
UNSURE_WIDTH = 0.35
"""Share of a break's width by which it may be wrong. Own, no source, and not laid beside any truth."""
LIMIT = Limit("breaks", 0.0, "no leaf cracked or broken", "49 CFR 393.207(c)")


@dataclass(frozen=True, eq=False, slots=True)
class Crossing:
    """A dark line across a leaf: its columns by row, and how dark it is, outright and against others."""

    leaf: int
    columns: NDArray[np.int64]
    darkness: float
    clear: float
    width: float
    redder: float


@dataclass(frozen=True, eq=False, slots=True)
class Leaf:
    """A leaf and the darkest line across it from each column of its lower edge.

    Attributes
    ----------
    number : int
    dark : ndarray of shape (h, w)
        How much darker each place is than both what lies left and what lies right of it, as a logarithm.
    lines : ndarray of shape (h, w)
        Columns, row by row, of the line that ends in each column.
    through : ndarray of shape (w,)
        How dark that line is all the way.
    red : ndarray of shape (h, w)
        CIELAB a*.
    """

    number: int
    dark: NDArray[Any]
    lines: NDArray[np.int64]
    through: NDArray[Any]
    red: NDArray[Any]

    @property
    def too_small(self) -> bool:
        """Whether a line across the leaf could not be told from grain."""
        h, w = self.dark.shape
        return bool(h < LEAST_ROWS or w < LEAST_COLUMNS)


def measure(views: Sequence[View]) -> Found:
    """Look for a break in the leaves of a boxed pack.

    Raises
    ------
    CannotMeasure
        The leaves cannot be told apart, or no break is seen and they are too small to show one.
    """
    view = views[0]
    patch = cut(view, SIDE)
    pack = take_apart(patch)
    leaves = [crossings_of(pack, number) for number in range(len(pack.bands))]
    breaks = [
        c
        for leaf in leaves
        for c in darkest(leaf)
        if c.darkness > CERTAIN and c.clear > CLEAR and not _shared(c, leaves, pack)
    ]
    figures = [Figure("breaks", float(len(breaks))), Figure("leaves", float(len(pack.bands)))]
    if not breaks:
        if any(leaf.too_small for leaf in leaves):
            raise CannotMeasure(
                "the leaves are seen too small for a break: go nearer, and box a stretch a few times as long "
                "as the pack is high"
            )
        return Found(
            f"no line crosses one of the {len(pack.bands)} leaves from edge to edge; a break under a "
            "clip, a seat or dirt does not show",
            tuple(figures),
            (),
            LIMIT,
        )
    worst = max(breaks, key=lambda c: c.clear)
    figures.append(Figure("leaf", float(worst.leaf + 1)))
    reason = (
        f"leaf {worst.leaf + 1} from above is crossed by a dark line from edge to edge, "
        f"{worst.clear:.0f} times as dark as grime on it"
    )
    if worst.redder > REDDER:
        reason += ", with rusty edges"
    if patch.mm is not None:
        width = worst.width * patch.mm
        figures.append(Figure("width_mm", width, UNSURE_WIDTH * width))
        reason += f", about {width:.1f} mm wide"
    marks = tuple(Mark("break", patch.outline(pack.back(_line(c, pack))), closed=False) for c in breaks)
    return Found(reason, tuple(figures), marks, LIMIT)


def crossings_of(pack: Pack, number: int) -> Leaf:
    """Find the lines that cross a leaf, each by the path that is darkest all the way."""
    a, b = pack.bands[number]
    inset = max(1, round(0.12 * (b - a)))
    top, bottom = a + inset, b - inset
    log = cv2.GaussianBlur(pack.log[top:bottom], (0, 0), 0.8)
    # Darker than both sides: the lighter of a line's sides does not count.
    left, right = np.roll(log, HALF, axis=1), np.roll(log, -HALF, axis=1)
    dark = np.minimum(left, right) - log
    dark[:, : 2 * HALF] = dark[:, -2 * HALF :] = -1.0
    lines, _ = ways_down(dark, most=DARKEST, aside=ASIDE)
    # How dark a line is throughout is what all but its palest fifth reach.
    through = np.percentile(np.take_along_axis(dark, lines, axis=1), 20, axis=0).clip(0, None)
    return Leaf(number, dark, lines, through, pack.lab[top:bottom, :, 1])


def darkest(leaf: Leaf, most: int = 3) -> list[Crossing]:
    """Give a leaf's darkest crossings, darkest first; none of a leaf too small to tell them."""
    if leaf.too_small:
        return []
    usual = max(float(np.percentile(leaf.through[2 * HALF : -2 * HALF], 75)), 0.01)
    found = []
    left_over = leaf.through.copy()
    for _ in range(most):
        end = int(left_over.argmax())
        if left_over[end] <= 0:
            break
        columns, through = leaf.lines[:, end], float(leaf.through[end])
        left_over[max(0, end - 3 * HALF) : end + 3 * HALF + 1] = 0
        found.append(
            Crossing(
                leaf.number,
                columns,
                through,
                through / usual,
                _width(leaf.dark, columns),
                _redder(leaf.red, np.arange(len(columns)), columns),
            )
        )
    return found


def _width(dark: NDArray[Any], columns: NDArray[np.int64]) -> float:
    """Give the width of a line in pixels: how far it is at least half as dark."""
    rows = np.arange(len(columns))[:, None]
    around = (columns[:, None] + np.arange(-HALF, HALF + 1)).clip(0, dark.shape[1] - 1)
    profile = np.median(dark[rows, around], axis=0)
    return float((profile > 0.5 * profile.max()).sum())


def _redder(a: NDArray[Any], rows: NDArray[np.int64], columns: NDArray[np.int64]) -> float:
    near = (columns[:, None] + np.arange(-HALF, HALF + 1)).clip(0, a.shape[1] - 1)
    return float(np.percentile(a[rows[:, None], near], 75) - np.median(a))


def _shared(crossing: Crossing, leaves: Sequence[Leaf], pack: Pack) -> bool:
    """Tell whether what crosses a leaf goes on across a neighbour."""
    a, b = pack.bands[crossing.leaf]
    aside = ALIKE * (b - a)
    for leaf, end in ((crossing.leaf - 1, 0), (crossing.leaf + 1, -1)):
        if 0 <= leaf < len(leaves):
            lines, through = leaves[leaf].lines, leaves[leaf].through
            beside = np.abs(lines[-1 - end] - crossing.columns[end]) < aside
            if beside.any() and through[beside].max() > AS_DARK * crossing.darkness:
                return True
    return False


def _line(crossing: Crossing, pack: Pack) -> Floats:
    a, b = pack.bands[crossing.leaf]
    rows = np.linspace(a, b, len(crossing.columns))
    return np.column_stack([crossing.columns, rows]).astype(float)
