"""A paint stripe once drawn across nut and surface whose two parts no longer line up.

The paint is found by its colour and its place: the one saturated or white colour that runs in strips towards
the photo's fasteners. Every painted point is then seen from the nut's axis, its height above the surface
undone (a stripe that lines up looks broken under tilt), and the stripe on the surface and the mark on the
nut each give a bearing and a line. The turn is their difference, with what remains uncertain of the centre.
The neighbours' stripes settle the height and the direction of the axis.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from visual_aid.evidence.axis import FACE, SEAT, SIDE, STUD, lifts, unfold
from visual_aid.evidence.frame import PIXELS_PER_RADIUS, RADIUS, Frame, U, V
from visual_aid.evidence.scene import Measured, Measurement, Scene
from visual_aid.model import NotJudged

Floats = NDArray[np.float64]

_ROWS, _COLS = slice(0, 120), slice(10, 130)
_U, _V, _R = U[_ROWS, _COLS], V[_ROWS, _COLS], RADIUS[_ROWS, _COLS]
_POINTS = np.column_stack([_U.ravel(), _V.ravel()]).astype(float)
_COARSE = (slice(0, 120, 2), slice(0, 120, 2))
_COARSE_POINTS = np.column_stack([_U[_COARSE].ravel(), _V[_COARSE].ravel()]).astype(float)

HUES = np.radians(np.arange(0, 360, 30))
SECTORS = 72
USUAL_HEIGHT = 1.25
"""Upper edge of a standard nut on a washer above the surface: 0.8 d nut (ISO 4032) with 1.5 d across flats."""
HEIGHTS = (0.8, 1.0, 1.25, 1.5)
FLANGE = 1.5
"""Out to here a flange may turn with the nut, so paint there belongs to neither part."""
FAR = 2.9
LEAST_LENGTH = 0.12
LEAST_PAINT = 3.0
CENTRE_DOUBT = 0.06
"""Standard deviation of a fastener's centre, nut radii."""


@dataclass(frozen=True, slots=True)
class _View:
    frame: Frame
    lab: NDArray[np.float32]
    valid: NDArray[np.bool_]
    ground: NDArray[np.float32]
    stud: bool


@dataclass(frozen=True, slots=True)
class _Paint:
    """``hue`` in radians, None for white; ``strength`` is saturation (or lightness for white)."""

    hue: float | None
    strength: float
    evidence: float


@dataclass(frozen=True, slots=True)
class _Mark:
    """A stripe's part on one surface: painted length along its ray (nut radii), bearing, line."""

    length: float
    bearing: float
    direction: float
    direction_sd: float
    centroid: Floats
    width: float
    weight: float
    second: float
    second_bearing: float


def measure(scene: Scene) -> Measured:
    """Measure at every fastener with a stripe how far its two parts are out of line.

    Returns
    -------
    Measured
        ``offset_deg`` is the turn of the nut's part against the surface's part, clockwise positive as seen;
        ``offset_sd_deg`` its standard deviation.
    """
    frames = scene.in_place
    views = [_view(frame) for frame in frames]
    lift = lifts(frames)
    paint = _find_paint(views, lift)
    if paint is None:
        return Measured((), (NotJudged("stripe_offset", "no paint stripe runs to a fastener"),))
    painted = [_painted(view, paint) for view in views]
    sign, height = _settle(views, painted, lift)
    found = [
        _measurement(view, points, sign * up, height, paint)
        for view, points, up in zip(views, painted, lift, strict=True)
    ]
    return Measured(tuple(m for m in found if m is not None))


def _view(frame: Frame) -> _View:
    lab, valid = frame.lab[_ROWS, _COLS], frame.valid[_ROWS, _COLS]
    around = valid[_COARSE] & (_R[_COARSE] > 1.6)
    samples = lab[_COARSE][around] if around.sum() > 60 else lab[_COARSE][_R[_COARSE] > 1.6]
    return _View(frame, lab, valid, np.median(samples, axis=0), frame.fastener.kind != "bolt_head")


def _saturation(lab: NDArray[np.floating]) -> NDArray[np.floating]:
    """Chroma over lightness: what shade leaves of a colour."""
    saturation: NDArray[np.floating] = np.hypot(lab[..., 1], lab[..., 2]) / (lab[..., 0] + 12.0)
    return saturation


# The paint


def _evidence(view: _View) -> NDArray[np.float32]:
    """How far each coarse point departs from the ground towards each paint, shape (hues + 1, N)."""
    lab = cv2.blur(view.lab, (3, 3))[_COARSE].reshape(-1, 3)
    away = lab - view.ground
    chroma, lightness = np.hypot(lab[:, 1], lab[:, 2]), lab[:, 0]
    cos, sin = np.cos(HUES)[:, None], np.sin(HUES)[:, None]
    along = cos * away[:, 1] + sin * away[:, 2]
    beside = np.abs(cos * away[:, 2] - sin * away[:, 1])
    vivid = np.clip((_saturation(lab) - 0.4) / 0.4, 0.0, 1.0)
    coloured = np.clip(along - 0.7 * beside - 10.0, 0.0, 50.0) * vivid
    white = (
        np.clip(away[:, 0] - 12.0, 0.0, 40.0)
        * np.clip((16.0 - chroma) / 6.0, 0.0, 1.0)
        * np.clip((lightness - 55.0) / 15.0, 0.0, 1.0)
    )
    evidence: NDArray[np.float32] = np.vstack([coloured, white[None]]).astype(np.float32)
    return evidence * view.valid[_COARSE].ravel()


def _find_paint(views: Sequence[_View], lift: Floats) -> _Paint | None:
    """Choose the colour that runs in strips towards the fasteners, and take its strength from the strips."""
    if not views:
        return None
    total = np.zeros(len(HUES) + 1)
    strips = []
    for view, up in zip(views, lift, strict=True):
        evidence = _evidence(view)
        best = np.zeros(len(total))
        where = np.zeros((len(total), len(_COARSE_POINTS)), bool)
        for sign in (1.0, -1.0) if up.any() else (1.0,):
            part, foot = unfold(_COARSE_POINTS, sign * up, USUAL_HEIGHT, view.stud)
            distance = np.hypot(foot[:, 0], foot[:, 1])
            ring = (part == SEAT) & (distance > 1.4) & (distance < 2.5) & view.valid[_COARSE].ravel()
            sector = _sector(foot[ring])
            area = np.bincount(sector, minlength=SECTORS).astype(float)
            mass = np.array([np.bincount(sector, e, SECTORS) for e in evidence[:, ring]])
            mean = _spread(mass) / np.maximum(_spread(area), 12.0)
            flank = np.mean([np.roll(mean, k, axis=1) for k in (-8, -7, -6, 6, 7, 8)], axis=0)
            contrast = mean - 1.5 * flank
            peak = contrast.max(axis=1)
            for k in np.nonzero(peak > best)[0]:
                best[k] = peak[k]
                near = np.abs((sector - contrast[k].argmax() + SECTORS // 2) % SECTORS - SECTORS // 2) <= 2
                where[k] = False
                where[k, np.nonzero(ring)[0][near]] = True
        total += np.minimum(best, 25.0)
        strips.append((best, where, evidence))
    k = int(total.argmax())
    strength = float(np.max([best[k] for best, _, _ in strips]))
    if strength < LEAST_PAINT:
        return None
    colours = []
    for view, (best, where, evidence) in zip(views, strips, strict=True):
        if best[k] > 0.4 * strength:
            inside = evidence[k][where[k]]
            take = inside > 0.5 * inside.max()
            colours.append(view.lab[_COARSE].reshape(-1, 3)[where[k]][take])
    lab = np.concatenate(colours)
    if k == len(HUES):
        return _Paint(None, float(np.median(lab[:, 0])), float(total[k]))
    hue = math.atan2(float(np.median(lab[:, 2])), float(np.median(lab[:, 1])))
    return _Paint(hue, float(np.median(_saturation(lab))), float(total[k]))


def _sector(points: Floats) -> NDArray[np.intp]:
    turn = np.degrees(np.arctan2(points[:, 1], points[:, 0])) % 360.0
    return np.minimum(turn * (SECTORS / 360.0), SECTORS - 1).astype(np.intp)


def _spread(histogram: Floats) -> Floats:
    """Sum over three neighbouring sectors of a circular histogram (last axis)."""
    spread: Floats = histogram + np.roll(histogram, 1, axis=-1) + np.roll(histogram, -1, axis=-1)
    return spread


def _painted(view: _View, paint: _Paint) -> tuple[Floats, Floats]:
    """Give the points (N, 2) that show the paint, and how surely (N,)."""
    lab = view.lab
    on_nut = _R < 1.3
    if paint.hue is None:
        value = lab[..., 0] - 1.5 * np.maximum(np.hypot(lab[..., 1], lab[..., 2]) - 8.0, 0.0)
        soft = 8.0
    else:
        chroma = np.hypot(lab[..., 1], lab[..., 2])
        along = lab[..., 1] * math.cos(paint.hue) + lab[..., 2] * math.sin(paint.hue)
        beside = np.abs(lab[..., 2] * math.cos(paint.hue) - lab[..., 1] * math.sin(paint.hue))
        value = np.maximum(along - 1.2 * beside, 0.0) / (lab[..., 0] + 12.0) * np.clip(chroma / 15.0, 0, 1)
        soft = 0.25 * paint.strength
    sure = np.zeros(_R.shape)
    for region in (on_nut, ~on_nut):
        usual = float(np.median(value[region]))
        middle = 0.5 * (usual + paint.strength)
        sure[region] = np.clip((value[region] - middle) / soft + 0.5, 0.0, 1.0)
    sure[~view.valid] = 0.0
    chosen = (sure > 0.15).ravel()
    return _POINTS[chosen], sure.ravel()[chosen]


# The marks


def _mark(foot: Floats, sure: Floats, near: float, far: float) -> _Mark | None:
    """Find the stripe's part among painted points seen from the axis, between two distances from it."""
    distance = np.hypot(foot[:, 0], foot[:, 1])
    use = (distance > near) & (distance < far)
    if use.sum() < 8:
        return None
    foot, sure, distance = foot[use], sure[use], distance[use]
    # Area of a frame pixel over distance and sector width: the histogram is painted length along a ray.
    sector_width = 2 * math.pi / SECTORS
    ray = sure / distance / (PIXELS_PER_RADIUS**2 * sector_width)
    length = _spread(np.bincount(_sector(foot), ray, SECTORS)) / 3.0
    peak = int(length.argmax())
    bearing = (peak + 0.5) * sector_width
    others = np.abs((np.arange(SECTORS) - peak + SECTORS // 2) % SECTORS - SECTORS // 2) > 6
    second = int(np.where(others, length, -1.0).argmax())
    for reach in (0.5, 0.4, 0.35):
        outwards = np.array([math.cos(bearing), math.sin(bearing)])
        across = foot @ (-outwards[1], outwards[0])
        close = (np.abs(across) < reach) & (foot @ outwards > 0)
        if close.sum() < 5:
            return None
        weight = sure * close
        middle = (weight[:, None] * foot).sum(axis=0)
        bearing = math.atan2(middle[1], middle[0])
    mass = float(weight.sum())
    centroid = middle / mass
    spread = (foot - centroid) * np.sqrt(weight)[:, None]
    values, vectors = np.linalg.eigh(spread.T @ spread / mass)
    axis = vectors[:, 1] * (1.0 if vectors[:, 1] @ outwards > 0 else -1.0)
    width = math.sqrt(12.0 * max(values[0], 1e-4))
    # A ragged edge wobbles by a fifth of the width, anew every half width along the stripe.
    pieces = max(math.sqrt(12.0 * values[1]) / (0.5 * width), 1.0)
    direction_sd = math.atan2(0.2 * width, math.sqrt(max(values[1] - values[0], 1e-4)) * math.sqrt(pieces))
    return _Mark(
        float(length[peak]),
        bearing,
        math.atan2(axis[1], axis[0]),
        direction_sd,
        centroid,
        width,
        mass / PIXELS_PER_RADIUS**2,
        float(length[second]),
        (second + 0.5) * sector_width,
    )


def _turn(angle: float, period: float = 2 * math.pi) -> float:
    return (angle + period / 2) % period - period / 2


@dataclass(frozen=True, slots=True)
class _Pair:
    """The two parts of one stripe and the turn between them, radians."""

    surface: _Mark
    nut: _Mark | None
    turn: float
    turn_sd: float


def _pair(
    points: Floats, sure: Floats, lift: Floats, height: float, stud: bool
) -> tuple[_Pair | None, NDArray[np.int8], Floats]:
    part, foot = unfold(points, lift, height, stud)
    seat = part == SEAT
    surface = _mark(foot[seat], sure[seat], FLANGE, FAR)
    if surface is None or surface.length < LEAST_LENGTH:
        return None, part, foot
    body = (part == SIDE) | (part == FACE)
    nut = _mark(foot[body], sure[body], 0.5 if stud else 0.15, 1.3)
    if nut is None or nut.length < 0.5 * LEAST_LENGTH:
        return _Pair(surface, None, math.nan, math.nan), part, foot
    turn, sd = _solve(surface, nut)
    if surface.second > 0.5 * surface.length and abs(_turn(surface.second_bearing - surface.bearing)) > 2.8:
        # The stripe crosses the whole nut, so either end may be the one that shows on it.
        turn = turn if abs(turn) < math.pi / 2 else _turn(turn + math.pi)
    return _Pair(surface, nut, turn, sd), part, foot


def _solve(surface: _Mark, nut: _Mark) -> tuple[float, float]:
    """Turn of the nut's mark against the surface's, by least squares over both bearings and lines.

    Unknown are the two bearings and the error (u, v) of the centre. A mark's centroid lies on the ray of its
    bearing from the true centre; its total-least-squares direction is its bearing.
    """
    rows, values, weights = [], [], []
    for k, mark in enumerate((surface, nut)):
        n = np.array([-math.sin(mark.bearing), math.cos(mark.bearing)])
        distance = float(np.hypot(*mark.centroid))
        row = np.zeros(4)
        row[k] = distance
        row[2:] = n
        rows.append(row)
        values.append(0.0)
        weights.append(1.0 / (0.02 + 0.15 * mark.width))
        row = np.zeros(4)
        row[k] = 1.0
        rows.append(row)
        values.append(_turn(mark.direction - mark.bearing))
        weights.append(1.0 / max(mark.direction_sd, 0.02))
    for k in (2, 3):
        row = np.zeros(4)
        row[k] = 1.0
        rows.append(row)
        values.append(0.0)
        weights.append(1.0 / CENTRE_DOUBT)
    scaled = np.array(rows) * np.array(weights)[:, None]
    covariance = np.linalg.inv(scaled.T @ scaled)
    solution = covariance @ scaled.T @ (np.array(values) * weights)
    pick = np.array([-1.0, 1.0, 0.0, 0.0])
    turn = _turn(nut.bearing - surface.bearing + float(pick @ solution))
    return turn, math.sqrt(float(pick @ covariance @ pick))


def _settle(
    views: Sequence[_View], painted: Sequence[tuple[Floats, Floats]], lift: Floats
) -> tuple[float, float]:
    """Choose the axis' sign and the nuts' height under which most stripes line up through their axis."""
    if not lift.any():
        return 1.0, USUAL_HEIGHT
    best, choice = math.inf, (1.0, USUAL_HEIGHT)
    for sign in (1.0, -1.0):
        for height in HEIGHTS:
            cost = 0.3 * abs(height - USUAL_HEIGHT)
            for view, (points, sure), up in zip(views, painted, lift, strict=True):
                pair, _, _ = _pair(points, sure, sign * up, height, view.stud)
                if pair is None:
                    cost += 1.0
                elif pair.nut is None:
                    cost += 0.8
                else:
                    cost += min(abs(pair.turn) / 0.35, 1.0) * 0.7
                    skew = abs(_turn(pair.surface.direction - pair.surface.bearing))
                    cost += 0.3 * min(skew / 0.5, 1.0)
            if cost < best:
                best, choice = cost, (sign, height)
    return choice


# The measurement


def _measurement(
    view: _View, painted: tuple[Floats, Floats], lift: Floats, height: float, paint: _Paint
) -> Measurement | None:
    points, sure = painted
    pair, part, foot = _pair(points, sure, lift, height, view.stud)
    if pair is None:
        return None
    surface, nut = pair.surface, pair.nut
    nan = math.nan
    offset, sd = math.degrees(pair.turn), math.degrees(pair.turn_sd)
    body = (part == SIDE) | (part == FACE)
    distance = np.hypot(foot[:, 0], foot[:, 1])
    across = np.abs(foot @ (-math.sin(surface.bearing), math.cos(surface.bearing)))
    ahead = foot @ (math.cos(surface.bearing), math.sin(surface.bearing)) > 0
    in_line = float((sure * (body & ahead & (across < 0.25))).sum()) / PIXELS_PER_RADIUS**2
    on_body = float((sure * body).sum()) / PIXELS_PER_RADIUS**2
    ring = float((sure * ((part == SEAT) & (distance > FLANGE) & (distance < FAR))).sum())
    faces = [_mark(foot[part == p], sure[part == p], 0.5, 1.3) for p in (FACE, SIDE)]
    face_turn, side_turn = (
        abs(math.degrees(_turn(m.bearing - surface.bearing))) if m is not None else nan for m in faces
    )
    features = {
        "offset_abs_deg": abs(offset),
        "offset_deg": offset,
        "offset_sd_deg": sd,
        "offset_in_sds": abs(offset) / sd if sd > 0 else nan,
        "offset_half_turn_deg": abs(math.degrees(_turn(pair.turn, math.pi))),
        "face_offset_deg": face_turn,
        "side_offset_deg": side_turn,
        "lines_offset_deg": nan
        if nut is None
        else abs(math.degrees(_turn(nut.direction - surface.direction, math.pi))),
        "surface_length_r": surface.length,
        "surface_width_r": surface.width,
        "surface_skew_deg": abs(math.degrees(_turn(surface.direction - surface.bearing))),
        "surface_second_r": surface.second,
        "surface_purity": surface.weight * PIXELS_PER_RADIUS**2 / max(ring, 1.0),
        "nut_length_r": 0.0 if nut is None else nut.length,
        "nut_width_r": nan if nut is None else nut.width,
        "nut_skew_deg": nan if nut is None else abs(math.degrees(_turn(nut.direction - nut.bearing))),
        "nut_second_r": 0.0 if nut is None else nut.second,
        "nut_purity": 0.0 if nut is None else nut.weight / max(on_body, 1e-6),
        "in_line_paint": in_line,
        "out_of_line_paint": on_body - in_line,
        "in_line_share": in_line / (on_body + 0.02),
        "paint_strength": paint.strength if paint.hue is not None else nan,
        "paint_evidence": paint.evidence,
        "paint_is_white": float(paint.hue is None),
        "stud_paint": float((sure * (part == STUD)).sum()) / PIXELS_PER_RADIUS**2,
        "tilt_deg": view.frame.fastener.tilt if view.frame.fastener.tilt is not None else nan,
        "sharpness": view.frame.sharpness,
    }
    shown = sure > 0.5
    near = (distance < FAR) & shown & (part != STUD)
    region = points[near] if near.sum() > 3 else points[shown]
    hull = cv2.convexHull(region.astype(np.float32))[:, 0]
    if nut is None:
        measures: dict[str, float] = {}
        reason = f"stripe on the surface, {surface.length:.1f} nut radii long, and no part of it on the nut"
    else:
        measures = {"offset_deg": offset, "offset_sd_deg": sd}
        way = "clockwise" if offset > 0 else "anticlockwise"
        reason = (
            f"the stripe's part on the nut stands {abs(offset):.0f} degrees {way} of its part on the surface "
            f"(uncertain by {sd:.0f} degrees)"
        )
    return Measurement(view.frame.fastener, features, measures, view.frame.outline(hull), reason)
