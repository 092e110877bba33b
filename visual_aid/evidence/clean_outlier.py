"""One nut much cleaner than its neighbours.

A nut that was replaced, turned or works against its washer loses the dirt that its neighbours carry.
Only neighbours can tell: all equally clean or equally dirty is no evidence, so fewer than three like
nuts are not judged. Nuts are compared by the colours of all of their face and flats at once, as ratios of
the linear channels, which a shadow scales alike and hardly changes; the stud's end, which may be rusty
where its nut is not, and highlights, which are small, do not decide. Dirt also is the colour of the
surface around, and hides the sparkle of the metal.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray

from visual_aid.colour import srgb_to_linear
from visual_aid.evidence.frame import PIXELS_PER_RADIUS, RADIUS, Frame, U, V, smoothed
from visual_aid.evidence.scene import Measured, Measurement, Scene
from visual_aid.model import NotJudged
from visual_aid.quantiles import median, nanmedian

LEAST_NUTS = 3
"""A nut and two neighbours: with one neighbour nobody can say which of the two is the odd one."""

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

# A nut's flats, and a stud's end (the thread is two thirds of the width across flats for most sizes of
# ISO 4032, and its end is chamfered), in r.
FLATS, STUD = 0.97, 0.64
# From this lean on the stud's end is seen beside the face, and up to so far.
LEAN, STUD_REACH = 0.12, 4.0
# The surface that is compared with the nut lies this far from its body.
SURFACE = (0.4, 1.4)
LEAST_PIXELS = 150

# The part of a frame that holds the nut, and every second pixel of the whole, which is plenty for a surface.
_NEAR = np.ix_(np.abs(V[:, 0]) < 2.6, np.abs(U[0]) < 2.6)
_SMALL = (slice(None, None, 2), slice(None, None, 2))

# Darkest linear value that still has a hue: below, a photo's noise and flare make it up.
DARKEST = 0.01
# Histograms: half their range in natural log units, their cells a side, and their blur in cells.
COLOUR_RANGE, CELLS, BLUR = 0.6, 24, 1.1
# Floors that keep equal nuts from becoming odd by noise alone.
OVERLAP_FLOOR, UNEVEN_FLOOR, CONTRAST_FLOOR = 0.04, 0.02, 0.05
# A given ratio of brightness says less than the same ratio of two colour channels.
LIGHT_WEIGHT = 0.3


@dataclass(frozen=True, slots=True)
class _Nut:
    """What is seen of one nut.

    ``pixels`` (N, 3) and ``surface`` (3,) hold the log of brightness, of red to green and of green to blue;
    ``fine`` (3,) is their standard deviation within a few pixels.
    """

    frame: Frame
    pixels: Floats
    surface: Floats
    middle: Floats
    fine: Floats


def measure(scene: Scene) -> Measured:
    """Compare every nut of the scene with the others of its group: same kind, size and pattern."""
    seats = {seat.fastener.id: seat for seat in scene.seats}
    groups: dict[int, list[Frame]] = {}
    for frame in scene.in_place:
        if frame.fastener.group is not None:  # one that stands alone has no like
            groups.setdefault(frame.fastener.group, []).append(frame)
    measurements: list[Measurement] = []
    for frames in groups.values():
        if len(frames) >= LEAST_NUTS:
            nuts = [_look_at(frame, seats[frame.fastener.id]) for frame in frames]
            likeness = _likeness(nuts)
            measurements += [_compare(nuts, likeness, i) for i in range(len(nuts))]
    if measurements:
        return Measured(tuple(measurements))
    return Measured(not_judged=(NotJudged("clean_outlier", "fewer than three like nuts"),))


@cache
def _log_linear() -> NDArray[np.float32]:
    """Log of the linear value of every 8-bit sRGB value."""
    values = np.arange(256, dtype=np.uint8).reshape(1, 256, 1).repeat(3, axis=2)
    table: NDArray[np.float32] = np.log(srgb_to_linear(values)[0, :, 0] + DARKEST).astype(np.float32)
    return table


def _log_channels(rgb: NDArray[np.uint8]) -> NDArray[np.float32]:
    """Log of brightness, of red to green and of green to blue, shape (..., 3)."""
    logs = _log_linear()[rgb]
    red, green, blue = logs[..., 0], logs[..., 1], logs[..., 2]
    return np.stack([0.3 * red + 0.6 * green + 0.1 * blue, red - green, green - blue], axis=-1)


def _metal(frame: Frame) -> Mask:
    """Mask the face and the flats on the side of the seat, without the stud's end on the other side."""
    x, y = frame.from_photo(*(frame.fastener.seat or frame.origin))
    u, v, radius = U[_NEAR], V[_NEAR], RADIUS[_NEAR]
    along = np.clip((u * x + v * y) / max(x * x + y * y, 1e-9), 0, 1)
    body = np.hypot(u - along * x, v - along * y) < FLATS
    lean = math.hypot(x, y)
    if lean > LEAN:
        along = np.clip(-(u * x + v * y) / lean, 0, STUD_REACH)
        stud = np.hypot(u + along * x / lean, v + along * y / lean) < STUD
    else:
        stud = radius < STUD
    mask: Mask = body & ~stud & frame.valid[_NEAR]
    return mask if mask.sum() >= LEAST_PIXELS else (radius < FLATS) & (radius > STUD)


def _look_at(frame: Frame, seat: Frame) -> _Nut:
    channels = _log_channels(smoothed(np.ascontiguousarray(frame.rgb[_NEAR])))
    metal = _metal(frame)
    size = round(0.35 * PIXELS_PER_RADIUS) | 1
    pixels = channels[metal].astype(np.float64)
    away = seat.away[_SMALL]
    near = seat.valid[_SMALL] & (away > SURFACE[0]) & (away < SURFACE[1])
    enough = 4 * near.sum() >= LEAST_PIXELS
    surface = median(_log_channels(seat.smooth[_SMALL][near]), axis=0) if enough else np.full(3, np.nan)
    return _Nut(
        frame=frame,
        pixels=pixels,
        surface=surface.astype(np.float64),
        middle=median(pixels, axis=0),
        fine=(channels - cv2.blur(channels, (size, size)))[metal].std(axis=0).astype(np.float64),
    )


def _likeness(nuts: Sequence[_Nut]) -> Floats:
    """How much the nuts' colours overlap, pair by pair: (N, N), 1 for equal, 0 for nothing in common.

    These are Bhattacharyya coefficients of histograms of red to green and green to blue.
    """
    colours = [nut.pixels[:, 1:] for nut in nuts]
    middle = median(np.concatenate([c[::4] for c in colours]), axis=0)
    roots = []
    for own in colours:
        cells = np.clip(((own - middle) / COLOUR_RANGE + 1) * CELLS / 2, 0, CELLS - 1).astype(int)
        counts = np.bincount(cells[:, 0] * CELLS + cells[:, 1], minlength=CELLS**2).astype(np.float32)
        smooth = cv2.GaussianBlur(counts.reshape(CELLS, CELLS), (0, 0), BLUR, borderType=cv2.BORDER_CONSTANT)
        roots.append(np.sqrt(smooth / smooth.sum()).ravel())
    table = np.array(roots, dtype=np.float64)
    out: Floats = table @ table.T
    return out


def _oddness(overlap: Floats, row: int) -> tuple[float, float]:
    """Say how odd one nut is against how odd its neighbours are among themselves.

    Returns
    -------
    middle, nearest : float
        Log ratio of what the nut lacks in common with the middle, and with the most similar, of its
        neighbours to what they lack in common with one another. 0 where it is one of them.
    """
    others = np.delete(np.arange(len(overlap)), row)
    own = overlap[row, others]
    among = overlap[np.ix_(others, others)].copy()
    np.fill_diagonal(among, np.nan)
    lacks = 1 + OVERLAP_FLOOR
    middle = math.log((lacks - median(own)) / (lacks - nanmedian(among.ravel(), axis=0)))
    nearest = math.log((lacks - own.max()) / (lacks - median(np.nanmax(among, axis=1))))
    return middle, nearest


def _log_ratio(own: float, others: Floats, floor: float) -> float:
    if not np.isfinite(own):
        return math.nan
    return math.log((own + floor) / (float(nanmedian(others, axis=0)) + floor))


def _compare(nuts: Sequence[_Nut], likeness: Floats, row: int) -> Measurement:
    nut, others = nuts[row], [n for i, n in enumerate(nuts) if i != row]
    fastener = nut.frame.fastener
    middles = np.array([n.middle for n in others])
    surfaces = np.array([n.surface for n in others])
    difference = nut.middle - median(middles, axis=0)
    weights = np.array([LIGHT_WEIGHT, 1.0, 1.0])
    with_surface = np.linalg.norm(weights * (nut.middle - nut.surface))
    others_with_surface = np.linalg.norm(weights * (middles - surfaces), axis=1)
    seen = np.isfinite(others_with_surface).any()
    colour_odd, colour_nearest = _oddness(likeness, row)
    fine = np.array([n.fine for n in others])
    features = {
        "colour_odd": colour_odd,
        "colour_odd_to_nearest": colour_nearest,
        "colour_shared_with_nearest": float(np.delete(likeness[row], row).max()),
        "lighter": float(difference[0]),
        "contrast_to_surface": _log_ratio(float(with_surface), others_with_surface, CONTRAST_FLOOR)
        if seen
        else math.nan,
        "fine_red_green": _log_ratio(float(nut.fine[1]), fine[:, 1], UNEVEN_FLOOR),
        "fine_green_blue": _log_ratio(float(nut.fine[2]), fine[:, 2], UNEVEN_FLOOR),
    }
    shared = float(median(np.delete(likeness[row], row)))
    ids = np.delete(np.arange(len(nuts)), row)
    among = float(median(likeness[np.ix_(ids, ids)][~np.eye(len(ids), dtype=bool)]))
    lighter = math.expm1(float(difference[0]))
    tone = "lighter" if lighter > 0 else "darker"
    reason = (
        f"face and flats share {100 * shared:.0f} % of their colours with its {len(others)} neighbours, "
        f"which share {100 * among:.0f} % with one another; it is {100 * abs(lighter):.0f} % {tone}"
    )
    measures = {
        "shared_share": shared,
        "neighbours_shared_share": among,
        "lighter_share": lighter,
        "neighbours": float(len(others)),
    }
    circle = np.radians(np.arange(0, 360, 30))
    outline = nut.frame.outline(1.15 * np.column_stack([np.cos(circle), np.sin(circle)]))
    return Measurement(fastener, features, measures, outline, reason)
