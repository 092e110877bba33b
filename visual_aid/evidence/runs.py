"""Runs: what flowed or fell from a fastener's lower edge along gravity."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from visual_aid.evidence.frame import LEFT, PIXELS_PER_RADIUS, TOP, U, V
from visual_aid.evidence.surroundings import Map, Surroundings
from visual_aid.quantiles import median, percentile

RIM = 1.15
"""Radius, in r, from which the surface rather than the nut's own flats is seen."""

REACH = 1.7
"""Runs start within this distance of the middle line, in r."""

# A phone is rarely level: runs are looked for along these directions off the frame's gravity, degrees.
SLANTS = (-16.0, -8.0, 0.0, 8.0, 16.0)

# Contrast that one nut radius more of length, and one degree less of lean, weigh when directions compete.
LENGTH_COUNTS, LEAN_COUNTS = 0.03, 0.002

_STEP = 2
_SCALE = PIXELS_PER_RADIUS / _STEP
_CENTRE_ROW = round(-TOP * PIXELS_PER_RADIUS)
_FIRST = round(1.0 * _SCALE)
_SMALL_U, _SMALL_V = np.abs(U[::_STEP, ::_STEP]), V[::_STEP, ::_STEP]
_STREAK_BELOW = (_SMALL_U < 1.5) & (_SMALL_V > 1.3) & (_SMALL_V < 3.2)
_STREAK_ELSEWHERE = ~((_SMALL_U < 1.7) & (_SMALL_V > 0.5) & (_SMALL_V < 4.5))


@dataclass(frozen=True, slots=True)
class Run:
    """The strongest run below a fastener.

    Attributes
    ----------
    strength : float
        Mean of the map over the first nut radius beyond the rim, best column.
    contrast : float
        ``strength`` less that of the median column of the frame.
    length_r, width_r : float
        How far the run can be followed from the rim, 0 where it is too faint for that, and how wide it is
        over its first nut radius.
    offset_r : float
        Where it starts, to the right of the middle line.
    slant_deg : float
        Its direction off the frame's gravity, clockwise positive as seen.
    """

    strength: float
    contrast: float
    length_r: float
    width_r: float
    offset_r: float
    slant_deg: float

    @property
    def extent(self) -> str:
        """How long and wide the run is, in words; that it fades at once where it cannot be followed."""
        if self.length_r == 0:
            return "too faint to follow beyond the rim"
        return f"{self.length_r:.1f} nut radii long and {self.width_r:.1f} wide"

    def polygon(self) -> list[tuple[float, float]]:
        """Corners of a run below the fastener in frame coordinates."""
        half = max(self.width_r / 2, 0.15)
        top = float(np.sqrt(max(RIM**2 - self.offset_r**2, 0.0)))
        bottom = top + max(self.length_r, 0.3)
        drift = -float(np.tan(np.radians(self.slant_deg)))
        left, right = self.offset_r - half, self.offset_r + half
        return [
            (left + drift * top, top),
            (right + drift * top, top),
            (right + drift * bottom, bottom),
            (left + drift * bottom, bottom),
        ]


@dataclass(frozen=True, slots=True)
class RustRun:
    """Rust below a fastener: the strongest ``run``, and by how much a ``streak`` of it stands out there.

    The streak is narrow and upright, its height in the logarithm of red to green less that of the strongest
    elsewhere; NaN where too little of the surface is seen.
    """

    run: Run
    streak: float


@dataclass(frozen=True, slots=True)
class Columns:
    """Columns below a fastener's middle that lean alike, each from its own first seen pixel, the rim, down.

    Attributes
    ----------
    slant : float
        Degrees off the frame's gravity; columns meet the first row (the centre) unshifted.
    first : ndarray of int, shape (columns,)
        Row of the rim.
    at : ndarray of int, shape (rows, columns)
        Where their pixels lie in the leaning band, row by row.
    seen : ndarray of float32, shape (rows, columns)
        Share of the surface that is seen.
    """

    slant: float
    first: NDArray[np.intp]
    at: NDArray[np.intp]
    seen: Map

    @classmethod
    def of(cls, mask: Map, slant: float) -> Columns:
        """Lay columns over the lower half of a frame, of which ``mask`` says 1 where the surface is seen."""
        mask = _sheared(mask, slant)
        first = np.argmax(mask > 0.5, axis=0)
        rows = np.minimum(first + np.arange(mask.shape[0])[:, None], mask.shape[0] - 1)
        at = rows * mask.shape[1] + np.arange(mask.shape[1])
        return cls(slant, first, at, _widened(mask.take(at)))

    def along(self, band: Map) -> Map:
        """Take a map of the lower half of the frame along the columns, shape (rows, columns)."""
        return _widened(_sheared(band, self.slant).take(self.at))


def _sheared(band: Map, slant: float) -> Map:
    if not slant:
        return band
    shear = np.array([[1, -np.tan(np.radians(slant)), 0], [0, 1, 0]], np.float32)
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    sheared = cv2.warpAffine(band, shear, (band.shape[1], band.shape[0]), flags=flags)
    return sheared.astype(np.float32, copy=False)


def _widened(columns: Map) -> Map:
    """Mean over the least width of a run."""
    return cv2.blur(columns, (max(round(0.15 * _SCALE), 1), 1)).astype(np.float32, copy=False)


def _lower_half(surface: NDArray[np.generic]) -> Map:
    return surface[_CENTRE_ROW::_STEP, ::_STEP].astype(np.float32)


def leaning_columns(seen: NDArray[np.bool_]) -> tuple[Columns, ...]:
    """Lay columns along all ``SLANTS`` over a frame's surface (``Scene.columns`` holds those of a photo)."""
    mask = _lower_half(seen)
    return tuple(Columns.of(mask, slant) for slant in SLANTS)


def rust_run(around: Surroundings, columns: Sequence[Columns]) -> RustRun:
    """Find the rust-coloured run below a fastener (``Scene.rust_runs`` holds those of a photo)."""
    return RustRun(strongest_run(around.rust, around.seen, columns), streak(around.red_to_green, around.seen))


def strongest_run(surface: Map, seen: NDArray[np.bool_], columns: Sequence[Columns]) -> Run:
    """Find the strongest run that starts at the fastener's lower edge.

    Parameters
    ----------
    surface : ndarray of shape (HEIGHT, WIDTH)
        0..1, how much a pixel looks like the stuff that runs.
    seen : ndarray of bool, same shape
        The surface itself, without the fastener's body.
    columns : sequence of Columns
        ``leaning_columns`` of what is seen.
    """
    band = _lower_half(surface) * _lower_half(seen)
    return max((_along(band, leaning) for leaning in columns), key=_plainness)


def _plainness(run: Run) -> float:
    """Tell directions apart that fill the first nut radius alike: followed furthest, leaning least."""
    return run.contrast + LENGTH_COUNTS * run.length_r - LEAN_COUNTS * abs(run.slant_deg)


def _along(band: Map, columns: Columns) -> Run:
    """Measure the strongest of columns that lean alike."""
    band = columns.along(band)
    head, head_mask = band[:_FIRST].sum(axis=0), columns.seen[:_FIRST].sum(axis=0)
    enough = head_mask > 0.5 * _FIRST
    strength = np.where(enough, head / np.maximum(head_mask, 1e-6), 0)
    offset = LEFT + (np.arange(band.shape[1]) + 0.5) / _SCALE
    inside = np.abs(offset) <= REACH
    column = int(np.argmax(np.where(inside, strength, -1)))
    peak = float(strength[column])
    usual = float(median(strength[enough])) if enough.any() else 0.0
    strong = (strength >= 0.5 * peak) & inside
    left, right = column, column
    while left > 0 and strong[left - 1]:
        left -= 1
    while right < len(strong) - 1 and strong[right + 1]:
        right += 1
    down = cv2.blur(band[:, column : column + 1], (1, round(0.4 * _SCALE) | 1))[:, 0]
    lost = down < max(0.4 * peak, 0.12)
    lost[: max(_FIRST // 3, 1)] = False
    length = int(np.argmax(lost)) if lost.any() else len(lost) - int(columns.first[column])
    return Run(
        strength=peak,
        contrast=peak - usual,
        length_r=length / _SCALE if peak > 0.12 else 0.0,
        width_r=(right - left + 1) / _SCALE,
        offset_r=float(offset[column]),
        slant_deg=columns.slant,
    )


def streak(surface: Map, seen: NDArray[np.bool_]) -> float:
    """Look below the fastener for a narrow upright streak that stands out from what is beside it.

    Returns
    -------
    float
        In the map's unit: how high it is less the highest in the rest of the frame. NaN where too little of
        the surface is seen.
    """
    mask = seen[::_STEP, ::_STEP].astype(np.float32)
    small = np.ascontiguousarray(surface[::_STEP, ::_STEP])
    beside = _box_mean(small, mask, round(1.3 * _SCALE) | 1, 3)
    known = (mask * np.isfinite(beside)).astype(np.float32)
    stands_out = np.where(known > 0, small - beside, 0).astype(np.float32)
    highest = excess = float("nan")
    for slant in SLANTS[::2]:
        lean = float(np.tan(np.radians(slant)))
        shear = np.array([[1, lean, -lean * _CENTRE_ROW / _STEP], [0, 1, 0]], np.float32)
        size = (small.shape[1], small.shape[0])
        share = cv2.warpAffine(known, shear, size).astype(np.float32, copy=False)
        upright = cv2.warpAffine(stands_out, shear, size) / np.maximum(share, 0.05)
        mean = _box_mean(upright.astype(np.float32, copy=False), share, 3, round(1.2 * _SCALE))
        measured = np.isfinite(mean)
        below, rest = mean[measured & _STREAK_BELOW], mean[measured & _STREAK_ELSEWHERE]
        if len(below) < 20 or len(rest) < 50:
            continue
        height = percentile(below, 98)
        if not height <= highest:
            highest, excess = height, height - percentile(rest, 98)
    return excess


def _box_mean(values: Map, weights: Map, columns: int, rows: int) -> Map:
    """Weighted mean in a box; NaN where under a third of it has weight."""

    def box(image: Map) -> Map:
        out: Map = cv2.boxFilter(
            image, -1, (columns, rows), normalize=False, borderType=cv2.BORDER_CONSTANT
        ).astype(np.float32)
        return out

    weight = box(weights)
    enough = weight > 0.35 * columns * rows
    mean: Map = np.where(enough, box(values * weights) / np.maximum(weight, 1e-6), np.nan).astype(np.float32)
    return mean
