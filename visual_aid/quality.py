"""Whether a photo can be judged, and if not, what to do better at the vehicle."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import cv2
import numpy as np
from numpy.typing import NDArray

from visual_aid.model import Fastener, Problem, Quality
from visual_aid.photo import Photo, Pixels

Mask = NDArray[np.uint8]


@dataclass(frozen=True, slots=True)
class Limit:
    """From which figure on a photo falls short, and what to do about it.

    Attributes
    ----------
    code : str
        Code of the problem.
    caution : float
        From here on the problem is listed; the photo is judged all the same.
    retake : float
        From here on the photo is not usable. Below ``caution`` where small figures are the bad ones.
    say : str
        The figure and the mend in plain words; ``{value}`` is the figure.
    """

    code: str
    caution: float
    retake: float
    say: str

    def problem(self, value: float) -> Problem | None:
        """Give the problem that a figure is, with the limit that it passed; None if it is none."""
        for limit in (self.retake, self.caution):
            if value <= limit if self.retake < self.caution else value >= limit:
                return Problem(
                    self.code, round(value, 3), limit, self.say.format(value=value, percent=100 * value)
                )
        return None


LIMITS = {
    "edge_spread": Limit(
        "blurred", 2.5, 3.5, "edges are smeared over {value:.1f} px: hold still, let it focus, take it again"
    ),
    "bright_level": Limit(
        "too_dark", 100, 70, "the brightest parts reach {value:.0f} of 255: use a lamp or the flash"
    ),
    "burnt_share": Limit(
        "burnt_out", 0.2, 0.4, "{percent:.0f} % of the subject is burnt out: shade it, or turn the flash off"
    ),
    "glare_share": Limit(
        "glare",
        0.06,
        0.15,
        "a patch of glare covers {percent:.0f} % of the photo: move the lamp, or step aside",
    ),
    "nut_radius": Limit(
        "too_small", 12, 6, "the nuts are {value:.1f} px in radius, under 12 px: hold still and go closer"
    ),
    "photo_side": Limit(
        "too_small", 800, 240, "the photo's longest side is {value:.0f} px: use the original, not a preview"
    ),
}
"""Every limit of this module, by the measure that it belongs to.

How they were set: on every second one of 149 rendered and 145 real photos of joints and vehicles, and
on the same photos made worse; the rest served to check. ``edge_spread`` of the photos as they were
reached 2.3 px, in one that is soft to the eye; out of focus by 6 px it was at least 4.8, shaken by 30 px
3.2 and mostly over 5. ``bright_level`` was at least 94, and at most 65 with a twentieth of the light.
``burnt_share`` reached 0.35; with twenty times the light it passed 0.4 in 95 of 100. ``glare_share``
reached 0.05. ``nut_radius`` follows from geometry: a turn of 5 degrees, the least worth a word, moves the
corner of a hexagon of 12 px by 1.2 px and of 6 px by half a pixel. So does ``photo_side``: at 800 px a
nut of 12 px takes up a thirty-third of the photo, at 240 px a tenth.

Checked on the rest, 1200 px and larger: none of 123 was sent back as it was, all were when out of
focus by 6 px, shaken by 30 px or with a twentieth of the light, and 91 of 100 with eight times the light.
"""

MAX_SPREAD = 20.0
"""Edge spread in working pixels that stands for 'no edge at all'."""

_MIDDLE = 0.6  # share of each side that counts as the subject while no fastener is known
_AROUND = 2.0  # nut radii around a fastener that count as the subject
_CLIPPED = 250  # 8-bit sRGB level from which a channel counts as clipped; JPEG seldom keeps a flat 255


@dataclass(frozen=True)
class Whole:
    """What a photo shows as a whole, whatever is looked at: measured when first asked for, and once.

    Attributes
    ----------
    rgb : ndarray of shape (H, W, 3), uint8
        sRGB pixels.
    """

    rgb: Pixels

    @cached_property
    def sparse(self) -> Pixels:
        """Every fourth pixel of every fourth row."""
        return _sparse(self.rgb)

    @cached_property
    def glare_share(self) -> float:
        """Share of the photo under its largest patch of glare."""
        return glare_share(self.sparse)

    @cached_property
    def edges(self) -> Edges:
        """The crests of its edges."""
        return find_edges(self.rgb)


def judge(photo: Photo, fasteners: Sequence[Fastener] = (), whole: Whole | None = None) -> Quality:
    """Judge whether a photo can be judged.

    Parameters
    ----------
    photo : Photo
        Measured at its working scale.
    fasteners : sequence of Fastener
        What is looked at, if it is known; the middle of the photo otherwise.
    whole : Whole, optional
        Of the photo's working image, where it is judged more than once.

    Returns
    -------
    Quality
        ``problems`` lists every limit passed; ``usable`` is false if one of them calls for a retake.
    """
    whole = whole or Whole(photo.working)
    subject = _subject(photo, fasteners)
    sparse_subject = _sparse(subject)
    measures = {
        "bright_level": bright_level(whole.sparse, sparse_subject),
        "burnt_share": burnt_share(whole.sparse, sparse_subject),
        "glare_share": whole.glare_share,
    }
    if fasteners:
        measures["nut_radius"] = float(np.median([f.radius for f in fasteners])) / photo.scale
    else:
        measures["photo_side"] = float(max(photo.info.width, photo.info.height))
    if not retakes(_problems(measures)):  # in the dark and in burnt-out light no edge tells of blur
        measures["edge_spread"] = edge_spread(whole.edges, subject)
    problems = _problems(measures)
    return Quality(not retakes(problems), problems)


def retakes(problems: Sequence[Problem]) -> tuple[Problem, ...]:
    """Give the problems that call for a retake; the others are cautions."""
    return tuple(
        p
        for p in problems
        if any(p.code == limit.code and p.limit == limit.retake for limit in LIMITS.values())
    )


@dataclass(frozen=True)
class Edges:
    """The crests of a photo's edges, N of them, whatever is looked at.

    Attributes
    ----------
    step : int
        Pixels of the photo per pixel of the measuring scale.
    shape : (int, int)
        Height and width at the measuring scale.
    place : ndarray of int, shape (N,)
        Index into the pixels of the measuring scale, row by row.
    direction : ndarray of int, shape (N,)
        Of the gradient: 0 to 3, in steps of 45 degrees.
    power : ndarray of float32, shape (N,)
        Squared gradient in grey levels per pixel.
    spread : ndarray of float32, shape (N,)
        Standard deviation of the blur across the edge, in pixels of the photo.
    """

    step: int
    shape: tuple[int, int]
    place: NDArray[np.int64]
    direction: NDArray[np.int64]
    power: NDArray[np.float32]
    spread: NDArray[np.float32]

    @cached_property
    def spreads(self) -> list[float]:
        """Spread of the whole photo's steepest edges, of each direction that has enough of them."""
        return _spreads(self.power, self.spread, self.direction, math.prod(self.shape))


def find_edges(rgb: Pixels) -> Edges:
    """Measure how far each edge is smeared: the standard deviation of the blur across it.

    The gradient of an edge with blur s, seen through Gaussians of width a < b, falls by the factor
    sqrt((s^2 + a^2) / (s^2 + b^2)), which gives s; accurate to about 10 % up to 6 pixels.

    Parameters
    ----------
    rgb : ndarray of shape (H, W, 3), uint8
        sRGB pixels.

    References
    ----------
    Zhuo, Sim, Pattern Recognition 44(9):1852-1858 (2011), the re-blur ratio (from memory).
    """
    step = 2 if max(rgb.shape) > 800 else 1  # half the pixels of each side show a spread of 2 px well
    height, width = rgb.shape[0] // step, rgb.shape[1] // step
    grey = cv2.cvtColor(rgb[: height * step, : width * step], cv2.COLOR_RGB2GRAY)
    grey = cv2.resize(grey, (width, height), interpolation=cv2.INTER_AREA)

    dx, dy = _gradient(grey, _FINE)
    power = dx**2 + dy**2
    steep = np.flatnonzero(power > _MIN_STEEP**2)
    direction = _direction(dx[steep], dy[steep])
    across = np.array([1, width + 1, width, width - 1])[direction]
    crest = (power[steep] >= power.take(steep - across, mode="clip")) & (
        power[steep] >= power.take(steep + across, mode="clip")
    )
    edge = steep[crest]

    coarse_dx, coarse_dy = _gradient(grey, _COARSE)
    ratio = power[edge] / np.maximum(coarse_dx[edge] ** 2 + coarse_dy[edge] ** 2, 1e-6)
    ratio = np.maximum(ratio, 1 + 1e-6)
    fine, coarse = _FINE**2 + _SAMPLING, _COARSE**2 + _SAMPLING
    spread = step * np.sqrt(np.clip((coarse - ratio * fine) / (ratio - 1), 0, (MAX_SPREAD / step) ** 2))
    return Edges(step, (height, width), edge, direction[crest], power[edge], spread)


def edge_spread(edges: Edges, subject: Mask) -> float:
    """Tell how far the edges of a photo are smeared.

    Only the steepest edges count, so that a smooth plate is no blur and a soft background does not matter;
    and they count by direction, because a shaken photo stays sharp along the shake. The worst direction is
    the figure.

    Parameters
    ----------
    edges : Edges
        From ``find_edges``.
    subject : ndarray of shape (H, W), uint8
        1 where the edges have to be sharp. The worse figure of the subject and of the whole photo
        holds: few edges tell little.

    Returns
    -------
    float
        Pixels, 0 to ``MAX_SPREAD``.
    """
    height, width = edges.shape
    power, spread, direction = edges.power, edges.spread, edges.direction
    inside = subject[: height * edges.step : edges.step, : width * edges.step : edges.step].ravel()
    within = inside[edges.place] > 0
    spreads = edges.spreads + _spreads(power[within], spread[within], direction[within], int(inside.sum()))
    if not spreads:  # a bare plate with hardly an edge: take them together
        spreads = _spreads(power, spread, np.zeros_like(direction), 0)
    return max(spreads, default=MAX_SPREAD)


def smeared(photo: Photo) -> str | None:
    """Say how far the edges of a photo are smeared and what to do, None where that asks for no retake.

    The photo as a whole is looked at, whatever its light: what is boxed on it may have no edges of its own.
    """
    everywhere = np.ones(photo.working.shape[:2], np.uint8)
    spread = edge_spread(find_edges(photo.working), everywhere)
    if spread >= MAX_SPREAD:
        return (
            "it has no edge that tells whether it is sharp: take in the part's rim, hold still, take it again"
        )
    too_far = retakes(_problems({"edge_spread": spread}))
    return too_far[0].say if too_far else None


_FINE, _COARSE = 0.9, 2.0  # Gaussians in pixels of the measuring scale
_SAMPLING = 5 / 12  # variance that a pixel's own area (1/12) and the difference of neighbours (1/3) add
_EIGHTH = float(np.tan(np.pi / 8))  # slope half way between two directions
_MIN_STEEP = 3.0  # grey levels per pixel; shading and soft backgrounds are flatter
_EDGE_SHARE, _LEAST_EDGES = 0.0005, 50  # crest pixels of a direction that make a figure


def _gradient(grey: NDArray[np.generic], width: float) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    smooth = cv2.GaussianBlur(grey.astype(np.float32), (0, 0), width)
    dx, dy = (cv2.Sobel(smooth, cv2.CV_32F, *order, scale=1 / 8) for order in ((1, 0), (0, 1)))
    return np.asarray(dx, np.float32).ravel(), np.asarray(dy, np.float32).ravel()


def _direction(dx: NDArray[np.float32], dy: NDArray[np.float32]) -> NDArray[np.int64]:
    """Round directions of gradients to steps of 45 degrees, 0 to 3, opposite ones being the same."""
    flat, upright = np.abs(dx), np.abs(dy)
    direction: NDArray[np.int64] = np.where((dx > 0) == (dy > 0), 1, 3)
    direction[upright < _EIGHTH * flat] = 0
    direction[flat < _EIGHTH * upright] = 2
    return direction


def _spreads(
    power: NDArray[np.float32], spread: NDArray[np.float32], direction: NDArray[np.int64], area: int
) -> list[float]:
    """Give the spread of the steepest edges of each direction, 0 to 3, that has enough of them."""
    count = max(_LEAST_EDGES, round(_EDGE_SHARE * area))
    spreads = []
    for way in range(4):
        of_way = np.flatnonzero(direction == way)
        if of_way.size >= count:
            steepest = of_way[np.argpartition(power[of_way], -count)[-count:]]
            spreads.append(float(np.median(spread[steepest])))
    return spreads


def bright_level(rgb: Pixels, subject: Mask) -> float:
    """Give the grey level, 0 to 255 in sRGB, that 5 % of the subject surpass.

    ``rgb`` is sRGB of shape (H, W, 3), ``subject`` of shape (H, W) and not 0 where the subject is.

    Bright parts rather than the mean: a clean photo of black parts is dark on average.
    """
    grey = cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY)
    return float(np.percentile(grey[subject > 0], 95))


def burnt_share(rgb: Pixels, subject: Mask) -> float:
    """Give the share, 0 to 1, of the subject in which a channel is clipped, so that its colour is lost."""
    sound = np.asarray(cv2.inRange(rgb, (0, 0, 0), (_CLIPPED - 1,) * 3))
    return float(np.mean(sound[subject > 0] == 0))


def glare_share(rgb: Pixels) -> float:
    """Give the share, 0 to 1, of the photo that the largest patch of clipped white covers.

    A patch that reaches two sides of the photo is a bright background, such as the sky.
    """
    white = cv2.inRange(rgb, (_CLIPPED,) * 3, (255, 255, 255))
    height, width = rgb.shape[:2]
    patches = np.asarray(cv2.connectedComponentsWithStats(white)[2])[1:]
    x, y, w, h, area = (patches[:, column] for column in range(5))
    sides = np.sum([x == 0, y == 0, x + w == width, y + h == height], axis=0)
    return float(area[sides < 2].max(initial=0) / (width * height))


def _subject(photo: Photo, fasteners: Sequence[Fastener]) -> Mask:
    height, width = photo.working.shape[:2]
    mask = np.zeros((height, width), np.uint8)
    for f in fasteners:
        centre = round(photo.to_working(f.cx)), round(photo.to_working(f.cy))
        cv2.circle(mask, centre, round(_AROUND * f.radius / photo.scale), 1, cv2.FILLED)
    if not _sparse(mask).any():
        top, left = round(height * (1 - _MIDDLE) / 2), round(width * (1 - _MIDDLE) / 2)
        mask[top : height - top, left : width - left] = 1
    return mask


def _sparse(pixels: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Take every fourth pixel of every fourth row: plenty for shares and levels."""
    height, width = (side // 4 for side in pixels.shape[:2])
    whole = pixels[: 4 * height, : 4 * width]
    return np.asarray(cv2.resize(whole, (width, height), interpolation=cv2.INTER_NEAREST), np.uint8)


def _problems(measures: dict[str, float]) -> tuple[Problem, ...]:
    return tuple(p for measure, value in measures.items() if (p := LIMITS[measure].problem(value)))
