"""Gap: a dark slit or fresh thread between a nut or washer and its seat.

Seen at a tilt, the flats of a tight nut end on the washer or the surface. Below a nut that has backed off a
dark band follows its lower edge, and what it sat on lies further down than beside its neighbours. The shadow
of a tight nut is wide and falls to one side; a washer's own rim is a faint line further down.

The view is unrolled into a strip whose rows go down the flats. As the nuts of a photo are mostly of one
height, all together tell where the flats end; what follows is measured from there.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from visual_aid.evidence.frame import Frame, pixel_of
from visual_aid.evidence.scene import NOTHING_IN_PLACE, Measured, Measurement, Scene
from visual_aid.evidence.stance import Stance
from visual_aid.model import NotJudged
from visual_aid.quantiles import median

LEAST_TILT = 12.0
"""Degrees from head on below which the seat hides behind the nut: a slit of 0.2 r would show 0.04 r wide."""

# The strip: rows step down the flats from the top edge (heights in r), columns go around the near edge.
_STEP = 0.04
_HEIGHTS = np.arange(-0.2, 3.0, _STEP)
_ASIDE = np.linspace(-0.92, 0.92, 31)
_FLATS = (_HEIGHTS >= 0.2) & (_HEIGHTS < 0.7)
# A bolt head is 0.83 r high, a nut on a washer 1.45 r (ISO 4014, 4032, 7089); a slit lies within these.
_SEATS = (_HEIGHTS >= 0.6) & (_HEIGHTS < 2.0)
_USUAL = np.exp(-(((_HEIGHTS - 1.15) / 0.4) ** 2)) * ((_HEIGHTS >= 0.65) & (_HEIGHTS < 1.7))
ZONES = (0.0, 0.1, 0.2, 0.3)
"""Bounds, in r below the flats' lower edge, of the zones that are looked at; one turn of an M16 thread
advances 0.17 r (ISO 261: 2 mm)."""

WIDEST = 0.6
"""The highest band that is shown to people, in r."""


def _near_edges() -> NDArray[np.float64]:
    """Near edge of a flange and of hexagons turned in steps of 10 degrees, shape (7, columns), in r."""
    hexagons = []
    for turn in range(0, 60, 10):
        normals = np.radians(turn + 60.0 * np.arange(6))
        aside, toward = np.cos(normals)[:, None], np.sin(normals)[:, None]
        bounds = np.where(toward > 0.05, (1 - aside * _ASIDE) / np.maximum(toward, 0.05), np.inf)
        hexagons.append(bounds.min(axis=0))
    # A hexagon's mean radius is 1.05 times half its width across flats.
    return np.stack([np.sqrt(1.05**2 - _ASIDE**2), *hexagons])


_EDGES = _near_edges()

Profile = NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class _Band:
    """The dark band: lightness step in L*, places in r."""

    depth: float
    height: float
    width: float
    share: float


def measure(scene: Scene) -> Measured:
    """Measure how dark, wide and complete a band follows each fastener's lower edge.

    Fasteners seen from the front (less than ``LEAST_TILT``) are not judged.
    """
    judged = [
        (frame, stance)
        for frame, stance in zip(scene.in_place, scene.stances, strict=True)
        if (frame.fastener.tilt or 0.0) >= LEAST_TILT
    ]
    if not judged:
        front = f"nuts seen from the front (less than {LEAST_TILT:.0f}° tilt): a gap would not show"
        return Measured(not_judged=(NotJudged("gap", front if scene.in_place else NOTHING_IN_PLACE),))
    looks = [_strip(frame, stance) for frame, stance in judged]
    strips = np.stack([strip for strip, _ in looks])
    ends = _lower_edges(strips)
    profiles = _profiles(strips)
    excess = _darker_than_others(profiles)
    alike = scene.resemblance(scene.patches([frame.fastener for frame, _ in judged]))
    return Measured(
        tuple(
            _measurement(frame, stance, edge, strip, profile, dark, int(end), float(like))
            for (frame, stance), (strip, edge), profile, dark, end, like in zip(
                judged, looks, profiles, excess, ends, alike, strict=True
            )
        )
    )


def _strip(frame: Frame, stance: Stance) -> tuple[Profile, NDArray[np.float64]]:
    """Look down the flats and on past the seat, along the near edge that fits best.

    Of a round edge and hexagons of every turn, that one is right which stacks the columns so that the
    steps of lightness on the way down fall onto the same heights.

    Returns
    -------
    strip : ndarray of shape (heights, columns, 3)
        CIELAB.
    edge : ndarray of shape (columns,)
        The near edge of the top, in r towards the base.
    """
    light = _sample(np.ascontiguousarray(frame.lab[..., 0]), stance, _EDGES)
    steps = np.diff(light, axis=1)
    stacked = np.square(steps.mean(axis=2)).sum(axis=1)
    edge = _EDGES[int(np.argmax(stacked))]
    return cv2.blur(_sample(frame.lab, stance, edge[None])[0], (3, 1)), edge


def _sample(image: Profile, stance: Stance, edges: NDArray[np.float64]) -> Profile:
    """Sample an image below each of several edges, shape (edges, heights, columns[, channels])."""
    toward = edges[:, None, :] + _HEIGHTS[:, None] * stance.slope
    axes = stance.axes
    x, y = pixel_of(axes[0, 0] * _ASIDE + axes[0, 1] * toward, axes[1, 0] * _ASIDE + axes[1, 1] * toward)
    x, y = (m.reshape(-1, len(_ASIDE)).astype(np.float32) for m in (x, y))
    out = cv2.remap(image, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    shape = (len(edges), len(_HEIGHTS), len(_ASIDE), *out.shape[2:])
    return out.astype(np.float32).reshape(shape)


def _profiles(strips: Profile) -> Profile:
    """Lightness against height, median over the columns, in units of the flats' own; shape (N, heights)."""
    light = strips[..., 0]
    flats = np.maximum(median(light[:, _FLATS], axis=1), 4.0)
    out: Profile = median(light / flats[:, None], axis=2)
    return out


def _steps(strips: Profile) -> Profile:
    """Colour difference from row to row that all columns share, shape (N, heights)."""
    change = np.diff(strips, axis=1, append=strips[:, -1:]).mean(axis=2)
    length: Profile = np.linalg.norm(change, axis=2).astype(np.float32)
    return cv2.blur(length, (3, 1)).astype(np.float32)


def _lower_edges(strips: Profile) -> NDArray[np.intp]:
    """Row in which each fastener's flats end: its own clearest step near that of all."""
    steps = _steps(strips) * _USUAL
    own = steps / (steps.sum(axis=1, keepdims=True) + 1e-6)
    together = cv2.GaussianBlur(own.mean(axis=0)[None].astype(np.float32), (0, 0), 0.1 / _STEP)
    ends: NDArray[np.intp] = np.argmax(np.sqrt(own) * together, axis=1)
    return ends


def _darker_than_others(profiles: Profile) -> Profile:
    """By how much each profile lies below the median of the photo's others, NaN without others."""
    if len(profiles) < 2:
        return np.full_like(profiles, math.nan)
    others = [median(np.delete(profiles, k, axis=0), axis=0) for k in range(len(profiles))]
    return np.stack(others) - profiles


def _band(light: Profile) -> _Band:
    """Find the deepest band no higher than ``WIDEST``: what a closing with that length fills."""
    rows = max(round(WIDEST / _STEP), 2) | 1
    filled = cv2.morphologyEx(light, cv2.MORPH_CLOSE, np.ones((rows, 1), np.uint8)) - light
    typical = median(filled, axis=1)
    at = int(np.argmax(np.where(_SEATS, typical, -1.0)))
    depth = float(typical[at])
    low = high = at
    while low > 0 and typical[low - 1] > depth / 2:
        low -= 1
    while high < len(typical) - 1 and typical[high + 1] > depth / 2:
        high += 1
    near = filled[max(at - 3, 0) : at + 4].max(axis=0)
    share = float((near > max(depth / 2, 2.0)).mean())
    return _Band(depth, float(_HEIGHTS[at]), (high - low + 1) * _STEP, share)


def _measurement(
    frame: Frame,
    stance: Stance,
    edge: NDArray[np.float64],
    strip: Profile,
    profile: Profile,
    excess: Profile,
    end: int,
    like: float,
) -> Measurement:
    light = strip[..., 0]
    flats = max(float(median(light[_FLATS])), 4.0)
    band = _band(light)
    first, second, third, last = end + 1 + np.round(np.array(ZONES) / _STEP).astype(int)
    darkest = light[first:last].min(axis=0) / flats
    # Few and telling: more features learn the pictures at hand by heart.
    features = {
        "resemblance": like,
        "certainty": min(stance.certainty, 8.0),
        "edge_step": float(profile[end + 2] - profile[end - 2]),
        "below_edge": float(profile[first:second].mean()),
        "darkest": float(median(darkest)),
        "excess": float(excess[third:last].mean()),
    }
    measures = {"depth_l": band.depth, "width_r": band.width, "height_r": band.height, "share": band.share}
    along = f"{100 * band.share:.0f} %" if band.share >= 0.005 else "under 1 %"
    reason = (
        f"dark band {band.width:.2f} nut radii high along {along} of the lower edge, darker than what lies "
        f"above and below it by {band.depth:.0f} of 100 in lightness"
    )
    return Measurement(frame.fastener, features, measures, _outline(frame, stance, edge, band), reason)


def _outline(
    frame: Frame, stance: Stance, edge: NDArray[np.float64], band: _Band
) -> tuple[tuple[float, float], ...]:
    """Outline the band along the near half of the edge."""
    upper = edge + (band.height - band.width / 2) * stance.slope
    lower = edge + (band.height + band.width / 2) * stance.slope
    points = np.concatenate([np.column_stack([_ASIDE, upper])[::3], np.column_stack([_ASIDE, lower])[::-3]])
    return frame.outline(points @ stance.axes.T)
