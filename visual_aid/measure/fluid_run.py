"""Fluid run down a shock absorber: told from the light film that gathers dust and is normal.

The box goes around the body from the seal down, between its sides, upright in the photo. A film darkens the
body softly and evenly; fluid that has run makes streaks with sharp sides that go far down, dark, and glossy
where light falls on them.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from visual_aid.colour import srgb_to_lab
from visual_aid.measure.leaves import lean_of
from visual_aid.measure.measurement import CannotMeasure, Figure, Found, Limit, Mark, View
from visual_aid.measure.patch import cut
from visual_aid.measure.scale import Floats, project

TALL = 420
WIDE = 120
"""Rows and columns of the body as it is looked at."""
INNER = 0.88
"""Share of the body's width that is looked at: its very sides are seen at a slant."""
UNSURE = (0.35, 0.65)
"""Chance of a run between which nothing is said but that it cannot be told."""
LIMIT = Limit(
    "run_share",
    UNSURE[1],
    "no fluid run down the body",
    "49 CFR 570.61(b): no oil on the housing from a leaking seal; that a light film is normal is common "
    "practice, no source",
)

WEIGHTS = (-6.4, 13.0, 15.6)
"""Of the constant, the edge and the darkness in the chance of a run: logistic regression on a hundred made
pictures. Extent and sheen are told to the person, but did not help there."""

Light = NDArray[Any]


@dataclass(frozen=True, slots=True)
class Traits:
    """What tells a run from a film.

    Attributes
    ----------
    extent : float
        Length of the longest dark streak as a share of the body.
    edge : float
        Step of the logarithm of lightness across the streak's sharper side.
    darkness : float
        How much darker than the body beside it, as a logarithm.
    sheen : float
        How much stronger than beside it the highlight is on the streak, as a logarithm.
    """

    extent: float
    edge: float
    darkness: float
    sheen: float


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
    light, to_patch = upright(srgb_to_lab(patch.pixels)[..., 0])
    if np.median(light) < 4:
        raise CannotMeasure("the body is too dark: light it and take it again")
    traits, outline = streak(light)
    constant, by_edge, by_darkness = WEIGHTS
    chance = 1 / (1 + math.exp(-(constant + by_edge * traits.edge + by_darkness * traits.darkness)))
    film = film_share(light)
    figures = (
        Figure("run_share", chance),
        Figure("extent_share", traits.extent, 0.08),
        Figure("edge_contrast", traits.edge),
        Figure("darkness", traits.darkness),
        Figure("sheen", traits.sheen),
    )
    seen = (
        f"the longest dark streak goes {100 * traits.extent:.0f} % of the way down, its side "
        f"{100 * traits.edge:.0f} % "
        f"darker within a millimetre or two, "
        f"{'glossier than' if traits.sheen > 0.1 else 'no glossier than'} the body beside it"
    )
    marks = (
        ()
        if outline is None or chance < UNSURE[0]
        else (Mark("streak", patch.outline(project(to_patch, outline))),)
    )
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
    state = "a light film, which is normal" if film > 0.08 else "no film to speak of"
    return Found(f"{state}, no run: {seen}", figures, marks, LIMIT, chance, "within_limit")


def upright(light: Light) -> tuple[Light, Floats]:
    """Turn a boxed body upright and leave out what is not body at both its sides.

    Returns
    -------
    body : ndarray of shape (h, w)
    to_box : ndarray of shape (3, 3)
        From pixels of the body to those of ``light``.

    Raises
    ------
    CannotMeasure
        The body leans so far that little of it is left between its sides.
    """
    h, w = light.shape
    lean = lean_of(np.ascontiguousarray(np.log(light + 4).T))
    # A body that leans by some degrees fills less of its box: the corners show what is behind.
    half = (INNER * (w - h * abs(math.tan(math.radians(lean)))) - 1) / 2
    if half < 12:
        raise CannotMeasure("the body leans in the photo: take it upright and box it between its sides")
    turn = cv2.getRotationMatrix2D(((w - 1) / 2, (h - 1) / 2), -lean, 1.0)
    left = math.ceil((w - 1) / 2 - half)
    wide = math.floor(2 * half) + 1
    to_body = np.array([[1, 0, -left], [0, 1, 0], [0, 0, 1.0]]) @ np.vstack([turn, (0, 0, 1)])
    body = cv2.warpAffine(light, to_body[:2], (wide, h), borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(body, np.float32), np.linalg.inv(to_body)


def streak(light: Light) -> tuple[Traits, NDArray[np.float64] | None]:
    """Follow the darkest streak down a body and say what it is like.

    Parameters
    ----------
    light : ndarray of shape (h, w)
        CIELAB lightness of the body, upright.

    Returns
    -------
    traits : Traits
    outline : ndarray of shape (N, 2), or None
        Around the streak in pixels of ``light``; None where there is none.
    """
    log = np.log(cv2.resize(light, (WIDE, TALL), interpolation=cv2.INTER_AREA) + 4)
    even = cv2.GaussianBlur(log, (0, 0), sigmaX=1.0, sigmaY=4.0)
    dark = cv2.morphologyEx(even, cv2.MORPH_CLOSE, np.ones((1, WIDE * 3 // 8 | 1), np.uint8)) - even
    margin = WIDE // 14
    dark[:, :margin] = dark[:, -margin:] = 0
    columns = _path(dark)
    rows = np.arange(TALL)
    along = dark[rows, columns]
    level = max(0.06, 0.45 * float(np.percentile(along, 80)))
    start, end = _longest(along > level, TALL // 16)
    if end - start < TALL // 12:
        return Traits((end - start) / TALL, 0.0, 0.0, 0.0), None
    run = slice(start, end)
    steps = np.arange(-WIDE // 5, WIDE // 5 + 1)
    around = (columns[run, None] + steps).clip(0, WIDE - 1)
    beside = np.take_along_axis(log[run], around, axis=1)
    edges = []
    for first in range(0, max(1, end - start - 23), 24):
        profile = beside[first : first + 24].mean(axis=0)
        edges.append(float(np.abs(profile[3:] - profile[:-3]).max()))
    glint = cv2.morphologyEx(log, cv2.MORPH_TOPHAT, np.ones((1, WIDE // 6 | 1), np.uint8))
    near = (columns[:, None] + np.arange(-WIDE // 20, WIDE // 20 + 1)).clip(0, WIDE - 1)
    shine = np.take_along_axis(glint, near, axis=1).max(axis=1)
    other = np.percentile(glint[:, margin:-margin], 97, axis=1)
    sheen = float(np.median(shine[run]) - np.median(other[run]))
    half = WIDE // 24
    sides = np.concatenate(
        [
            np.column_stack([columns[run] - half, rows[run]])[::12],
            np.column_stack([columns[run] + half, rows[run]])[::-12],
        ]
    )
    h, w = light.shape
    outline = (sides + 0.5) * (w / WIDE, h / TALL) - 0.5
    return Traits((end - start) / TALL, float(np.median(edges)), float(np.median(along[run])), sheen), outline


def film_share(light: Light) -> float:
    """Give the share of a body that is softly darker than its palest part in the same column."""
    log = np.log(cv2.resize(light, (WIDE // 2, TALL // 2), interpolation=cv2.INTER_AREA) + 4)
    soft = cv2.GaussianBlur(log, (0, 0), 6)
    return float((np.percentile(soft, 95, axis=0) - soft > 0.12).mean())


def _path(dark: Light) -> NDArray[np.int64]:
    """Give the column of the darkest way down, at most one column aside a row."""
    value = dark[0].astype(float)
    step = np.zeros(dark.shape, np.int64)
    for row in range(1, len(dark)):
        padded = np.pad(value, 1, constant_values=-np.inf)
        choice = np.stack([padded[:-2] - 0.02, padded[1:-1], padded[2:] - 0.02])
        best = choice.argmax(axis=0)
        step[row] = best - 1
        value = np.take_along_axis(choice, best[None], axis=0)[0] + np.minimum(dark[row], 0.4)
    columns = np.empty(len(dark), np.int64)
    columns[-1] = int(value.argmax())
    for row in range(len(dark) - 1, 0, -1):
        columns[row - 1] = np.clip(columns[row] + step[row, columns[row]], 0, dark.shape[1] - 1)
    return columns


def _longest(flags: NDArray[np.bool_], bridge: int) -> tuple[int, int]:
    """Give the first and last but one of the longest run of flags, gaps of up to ``bridge`` left out."""
    closed = cv2.morphologyEx(
        flags.astype(np.uint8)[:, None], cv2.MORPH_CLOSE, np.ones((bridge | 1, 1), np.uint8)
    )
    edges = np.flatnonzero(np.diff(np.concatenate([[0], closed.ravel(), [0]]).astype(int)))
    runs = list(zip(edges[::2], edges[1::2], strict=True))
    start, end = max(runs, key=lambda run: run[1] - run[0], default=(0, 0))
    return int(start), int(end)
