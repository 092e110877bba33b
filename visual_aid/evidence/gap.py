"""Gap: a dark slit or fresh thread between a nut or washer and its stance.

Seen at a tilt, the flats of a tight nut end on the washer or the surface. Below a nut that has backed off a
dark band follows its lower edge, and everything beneath it lies further out than beside its neighbours. The
shadow of a tight nut is wide and falls to one side; a washer's own rim is a faint line further down.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from visual_aid.evidence.frame import LEFT, PIXELS_PER_RADIUS, TOP, Frame
from visual_aid.evidence.scene import Measured, Measurement, Scene
from visual_aid.evidence.stance import Stance
from visual_aid.model import NotJudged

LEAST_TILT = 12.0
"""Degrees from head on below which the seat hides behind the nut: a slit of 0.2 r would show 0.04 r wide."""

# The strip: rows step down the flats from the top edge (heights in r), columns go around the near edge.
_STEP = 0.04
_HEIGHTS = np.arange(-0.2, 3.0, _STEP)
_ASIDE = np.linspace(-0.92, 0.92, 31)
_FLATS = (_HEIGHTS >= 0.2) & (_HEIGHTS < 0.7)
# A bolt head is 0.83 r high, a nut on a washer 1.45 r (ISO 4014, 4032, 7089); a slit lies within these.
_SEATS = (_HEIGHTS >= 0.6) & (_HEIGHTS < 2.0)
_BEYOND = (_HEIGHTS >= 1.6) & (_HEIGHTS < 2.6)
_LAGS = range(-12, 13)


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
    """The dark band at a given width of search: lightness steps in L*, places in r."""

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
        why = f"nuts seen from the front (less than {LEAST_TILT:.0f}° tilt): a gap would not show"
        return Measured(not_judged=(NotJudged("gap", why),) if scene.in_place else ())
    looks = [_strip(frame, stance) for frame, stance in judged]
    profiles = np.stack([_profile(strip) for strip, _ in looks])
    return Measured(
        tuple(
            _measurement(frame, stance, strip, edge, profiles, k)
            for k, ((frame, stance), (strip, edge)) in enumerate(zip(judged, looks, strict=True))
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
    x = (axes[0, 0] * _ASIDE + axes[0, 1] * toward - LEFT) * PIXELS_PER_RADIUS - 0.5
    y = (axes[1, 0] * _ASIDE + axes[1, 1] * toward - TOP) * PIXELS_PER_RADIUS - 0.5
    x, y = (m.reshape(-1, len(_ASIDE)).astype(np.float32) for m in (x, y))
    out = cv2.remap(image, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    shape = (len(edges), len(_HEIGHTS), len(_ASIDE), *out.shape[2:])
    return out.astype(np.float32).reshape(shape)


def _profile(strip: Profile) -> Profile:
    """Lightness against height, median over the columns, in units of the flats' own lightness."""
    light = strip[..., 0]
    flats = np.maximum(np.median(light[_FLATS], axis=0), 4.0)
    out: Profile = np.median(light / flats, axis=1)
    return out


def _band(light: Profile, widest: float) -> _Band:
    """Find the deepest band no higher than ``widest`` r: what a closing with that length fills."""
    rows = max(round(widest / _STEP), 2) | 1
    filled = cv2.morphologyEx(light, cv2.MORPH_CLOSE, np.ones((rows, 1), np.uint8)) - light
    typical = np.median(filled, axis=1)
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
    strip: Profile,
    edge: NDArray[np.float64],
    profiles: Profile,
    k: int,
) -> Measurement:
    light = strip[..., 0]
    flats = float(np.median(light[_FLATS]))
    narrow, wide = _band(light, 0.2), _band(light, 0.6)
    at = round((wide.height - float(_HEIGHTS[0])) / _STEP)
    around = slice(max(at - 1, 0), at + 2)
    below = slice(at + round(wide.width / _STEP), at + round((wide.width + 0.3) / _STEP))
    band_lab, below_lab = (np.median(strip[rows].reshape(-1, 3), axis=0) for rows in (around, below))
    colour = np.linalg.norm(band_lab[1:] - np.median(strip[_FLATS].reshape(-1, 3), axis=0)[1:])
    own = profiles[k]
    slope_rows = np.abs(np.diff(own))
    darkest = light[_SEATS].min(axis=0)
    features = {
        "tilt": frame.fastener.tilt or 0.0,
        "certainty": min(stance.certainty, 8.0),
        "sharpness": min(frame.sharpness * stance.slope, 60.0),
        "flats_light": flats,
        "narrow_depth": narrow.depth,
        "narrow_height": narrow.height,
        "narrow_share": narrow.share,
        "wide_depth": wide.depth,
        "wide_ratio": wide.depth / max(flats, 4.0),
        "wide_height": wide.height,
        "wide_width": wide.width,
        "wide_share": wide.share,
        "band_light": float(band_lab[0]),
        "band_ratio": float(band_lab[0]) / max(flats, 4.0),
        "band_chroma": float(np.hypot(band_lab[1], band_lab[2])),
        "band_colour": float(colour),
        "below_step": float(below_lab[0] - band_lab[0]),
        "below_flats": float(below_lab[0]) / max(flats, 4.0),
        "darkest": float(np.median(darkest)),
        "darkest_spread": float(np.std(darkest)),
        "beyond_ratio": float(np.median(light[_BEYOND])) / max(flats, 4.0),
        "edges": float(slope_rows[_SEATS[1:]].sum()),
        **_against_others(profiles, k),
    }
    measures = {"depth_l": wide.depth, "width_r": wide.width, "height_r": wide.height, "share": wide.share}
    reason = (
        f"dark band {wide.width:.2f} nut radii high along {wide.share:.0%} of the lower edge, "
        f"{wide.depth:.0f} L* darker than what lies above and below it"
    )
    return Measurement(frame.fastener, features, measures, _outline(frame, stance, edge, wide), reason)


def _against_others(profiles: Profile, k: int) -> dict[str, float]:
    """Compare a profile with the median profile of the photo's other fasteners."""
    names = ("excess_dark", "excess_area", "excess_height", "lift", "lift_gain", "likeness")
    if len(profiles) < 2:
        return dict.fromkeys(names, math.nan)
    others = np.median(np.delete(profiles, k, axis=0), axis=0)
    excess = cv2.blur((others - profiles[k])[:, None], (1, 3))[:, 0]
    at = int(np.argmax(np.where(_SEATS, excess, -9.0)))
    # By how far must the others' profile slide down to look like this one?
    rows = np.flatnonzero(_SEATS)
    mine = profiles[k][rows] - profiles[k][rows].mean()
    fits = []
    for lag in _LAGS:
        theirs = others[np.clip(rows - lag, 0, len(others) - 1)]
        theirs = theirs - theirs.mean()
        fits.append(float(mine @ theirs / (np.linalg.norm(mine) * np.linalg.norm(theirs) + 1e-3)))
    best = int(np.argmax(fits))
    still = fits[len(fits) // 2]
    figures = (
        float(excess[at]),
        float(np.maximum(excess[_SEATS], 0).sum() * _STEP),
        float(_HEIGHTS[at]),
        _LAGS[best] * _STEP,
        fits[best] - still,
        still,
    )
    return dict(zip(names, figures, strict=True))


def _outline(
    frame: Frame, stance: Stance, edge: NDArray[np.float64], band: _Band
) -> tuple[tuple[float, float], ...]:
    """Outline the band along the near half of the edge."""
    upper = edge + (band.height - band.width / 2) * stance.slope
    lower = edge + (band.height + band.width / 2) * stance.slope
    points = np.concatenate([np.column_stack([_ASIDE, upper])[::3], np.column_stack([_ASIDE, lower])[::-3]])
    return frame.outline(points @ stance.axes.T)
