"""Fluid run down a shock absorber: told from the light film that gathers dust and is normal.

The box goes around the body from the seal down, between its sides, upright in the photo. A film darkens the
body softly and evenly. Fluid that has run makes streaks that are darker than the body on both their sides,
with sides sharper than dust and grime have them; where one runs under the body's highlight it darkens
nothing, but makes the highlight glossy down to where the fluid ends.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from visual_aid.colour import srgb_to_lab
from visual_aid.measure.measurement import CannotMeasure, Figure, Found, Limit, Mark, View
from visual_aid.measure.patch import cut
from visual_aid.measure.scale import Floats, project
from visual_aid.measure.shock_body import TALL, WIDE, laid_flat
from visual_aid.measure.ways import ways_down

UNSURE = (0.35, 0.65)
"""Chance of a run between which nothing is said but that it cannot be told."""
LIMIT = Limit(
    "run_share",
    UNSURE[1],
    "no fluid run down the body",
    "49 CFR 570.61(b): no oil on the housing from a leaking seal; that a light film is normal is common "
    "practice, no source",
)

WEIGHTS = (-2.5, 20.6, -35.0, 0.48)
"""Of the constant, the edge, the grain and the shine in the chance of a run: logistic regression on made
pictures, seeds 0 to 119."""

HALVES = (2, 4, 6, 9, 12, 16)
"""Half widths of a streak that are tried, in columns: 2 to 18 mm on a body of 70 mm."""
GLOSS = (3, 5, 7)
"""Half widths of a highlight, in columns."""
NEAR = 3
"""Columns on either side of a streak's edge that are compared: dust and grime fade over more."""
GLOSSY = 2.0
"""CIELAB lightness by which a highlight is told to be stronger in one part."""
PIECE = 0.22
"""Share of the body down which a streak has to hold its edges."""

FILM_DARK, FILM_SHARE = 0.12, 0.08
"""What is called a film: darkness beside the palest part, as a logarithm of lightness, and share of the body
over which it is so dark. Own, no source; words alone depend on it."""

Light = NDArray[Any]


@dataclass(frozen=True, slots=True)
class Traits:
    """What tells a run from a film.

    Attributes
    ----------
    extent : float
        Length of the streak as a share of the body.
    edge : float
        How much darker the streak is than the body close by on both sides, as a logarithm of lightness: what
        three quarters of its best stretch reach.
    grain : float
        What the same comparison comes to by dirt and noise, robust standard deviation over the body.
    shine : float
        CIELAB lightness by which the highlight is stronger above where it weakens than below.
    """

    extent: float
    edge: float
    grain: float
    shine: float

    @property
    def chance(self) -> float:
        """Chance that fluid has run."""
        constant, by_edge, by_grain, by_shine = WEIGHTS
        return 1 / (
            1 + math.exp(-(constant + by_edge * self.edge + by_grain * self.grain + by_shine * self.shine))
        )


def measure(views: Sequence[View]) -> Found:
    """Tell whether fluid has run down a boxed shock body.

    Raises
    ------
    CannotMeasure
        The box is no upright body, or it is too dark.
    """
    view = views[0]
    if view.box[3] < 1.3 * view.box[2]:
        raise CannotMeasure(
            "the box is no upright body: take the shock absorber upright and box it from the seal down"
        )
    patch = cut(view, TALL, square=False)
    light, to_patch = laid_flat(srgb_to_lab(patch.pixels)[..., 0])
    if np.median(light) < 4:
        raise CannotMeasure("the body is too dark: light it and take it again")
    traits, outline = streak(light)
    chance = traits.chance
    film = film_share(light)
    figures = (
        Figure("run_share", chance),
        Figure("extent_share", traits.extent, 0.08),
        Figure("edge_contrast", traits.edge),
        Figure("grain", traits.grain),
        Figure("shine", traits.shine),
    )
    seen = (
        f"the darkest streak is {100 * (1 - math.exp(-traits.edge)):.0f} % darker than the body on both its "
        f"sides, {traits.edge / max(traits.grain, 0.01):.1f} times as much as dirt on it, over "
        f"{100 * traits.extent:.0f} % of the way down; the highlight "
        f"{'is glossy part of the way down' if traits.shine > GLOSSY else 'is no glossier in one part'}; "
        f"score of a run {chance:.2f}"
    )
    marks = () if outline is None else (Mark("darkest streak", patch.outline(project(to_patch, outline))),)
    if chance >= UNSURE[1]:
        return Found(f"fluid has run down: {seen}", figures, marks, LIMIT, chance, "beyond_limit")
    if chance > UNSURE[0]:
        return Found(
            f"a film or a run, it cannot be told: {seen}; wipe it and look again",
            figures,
            marks,
            None,
            chance,
            "unclear",
        )
    state = "a light film, which is normal" if film > FILM_SHARE else "no film to speak of"
    return Found(f"{state}, no run: {seen}", figures, marks, LIMIT, chance, "within_limit")


def streak(light: Light) -> tuple[Traits, Floats | None]:
    """Follow the darkest streak down a body and say what it is like.

    Parameters
    ----------
    light : ndarray of shape (h, w)
        CIELAB lightness of the body laid flat.

    Returns
    -------
    traits : Traits
    outline : ndarray of shape (N, 2), or None
        Around the streak in pixels of ``light``; None where there is none.
    """
    even = cv2.GaussianBlur(np.log(light + 4), (0, 0), sigmaX=0.7, sigmaY=3)
    dark, grain = _ribbons(-even, HALVES)
    dark = np.maximum(dark, -0.05)
    columns = _path(dark, 0.3, 0.01)
    rows = np.arange(len(dark))
    along = dark[rows, columns]
    piece = round(PIECE * len(along))
    edge = float(np.percentile(sliding_window_view(along, piece)[::6], 25, axis=1).max())
    start, end = _longest(along > max(0.04, 0.5 * edge), len(along) // 16)
    traits = Traits((end - start) / len(along), edge, grain, _shine(light))
    if end - start < len(along) // 12:
        return traits, None
    run, half = slice(start, end), WIDE // 24
    outline = np.concatenate(
        [
            np.column_stack([columns[run] - half, rows[run]])[::12],
            np.column_stack([columns[run] + half, rows[run]])[::-12],
        ]
    )
    return traits, outline.astype(float)


def _shine(light: Light) -> float:
    """Give how much stronger the highlight is down to where it weakens most than below."""
    even = cv2.GaussianBlur(light, (0, 0), sigmaX=1, sigmaY=4)
    bright = np.maximum(_ribbons(even, GLOSS)[0], 0)
    along = bright[np.arange(len(bright)), _path(bright, math.inf, 0.3)]
    rows = np.arange(1, len(along))
    total = np.cumsum(along)
    drop = total[:-1] / rows - (total[-1] - total[:-1]) / rows[::-1]
    return float(drop[len(along) * 3 // 20 : len(along) * 23 // 25].max())


def _ribbons(light: Light, halves: Sequence[int]) -> tuple[Floats, float]:
    """Give how much brighter each place is than what lies close by on both its sides.

    Returns
    -------
    ribbons : ndarray of shape (h, w)
        At the middle of a ribbon the step at the lesser of its sides, by the best of some half widths.
    grain : float
        Robust standard deviation of it.
    """
    total = np.cumsum(np.pad(light, ((0, 0), (1, 0))).astype(float), axis=1)
    w = light.shape[1]
    best = np.full(light.shape, -1.0)
    for half in halves:
        x = np.arange(half + NEAR + 1, w - half - NEAR - 1)

        def mean(first: int, last: int, x: NDArray[np.int64] = x) -> Floats:
            level: Floats = (total[:, x + last + 1] - total[:, x + first]) / (last - first + 1)
            return level

        wide = min(NEAR + 1, half)
        left = mean(1 - half, wide - half) - mean(-half - NEAR - 1, -half - 1)
        right = mean(half - wide, half - 1) - mean(half + 1, half + NEAR + 1)
        best[:, x] = np.maximum(best[:, x], np.minimum(left, right))
    told = best[:, halves[0] + NEAR + 1 : -(halves[0] + NEAR + 1)]
    return best, 1.4826 * float(np.median(np.abs(told - np.median(told))))


def film_share(light: Light) -> float:
    """Give the share of a body that is softly darker than its palest part in the same column."""
    log = np.log(cv2.resize(light, (WIDE // 2, TALL // 2), interpolation=cv2.INTER_AREA) + 4)
    soft = cv2.GaussianBlur(log, (0, 0), 6)
    return float((np.percentile(soft, 95, axis=0) - soft > FILM_DARK).mean())


def _path(bright: Floats, most: float, aside: float) -> NDArray[np.int64]:
    """Give the column, row by row, of the brightest way down; ``most`` and ``aside`` as in ``ways_down``."""
    columns, total = ways_down(bright, most=most, aside=aside)
    return columns[:, int(total.argmax())]


def _longest(flags: NDArray[np.bool_], bridge: int) -> tuple[int, int]:
    """Give the first and last but one of the longest run of flags, gaps of up to ``bridge`` left out."""
    closed = cv2.morphologyEx(
        flags.astype(np.uint8)[:, None], cv2.MORPH_CLOSE, np.ones((bridge | 1, 1), np.uint8)
    )
    edges = np.flatnonzero(np.diff(np.concatenate([[0], closed.ravel(), [0]]).astype(int)))
    runs = list(zip(edges[::2], edges[1::2], strict=True))
    start, end = max(runs, key=lambda run: run[1] - run[0], default=(0, 0))
    return int(start), int(end)
