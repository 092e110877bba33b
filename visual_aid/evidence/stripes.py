"""Paint stripes drawn across nuts and the surface: their colour, and their parts as seen from the axis.

The paint is found by its colour and its place: of the saturated or white colours that run in strips towards
the photo's fasteners, the one under which most stripes line up. Every painted point is then seen from the
nut's axis, its height above the surface undone (a stripe that lines up looks broken under tilt), and the
stripe on the surface and the mark on the nut each give a bearing and a line. The turn is their difference,
with what remains uncertain of the centre. The neighbours' stripes settle the height and the direction of the
axis.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from visual_aid.evidence.axis import FACE, GIRTH, SEAT, SIDE, STUD, unfold
from visual_aid.evidence.frame import PIXELS_PER_RADIUS, RADIUS, Frame, U, V, pixel_of
from visual_aid.model import Fastener, Outline
from visual_aid.quantiles import median

Floats = NDArray[np.floating]

_ROWS, _COLS = slice(0, 120), slice(10, 130)
_U, _V, _R = U[_ROWS, _COLS], V[_ROWS, _COLS], RADIUS[_ROWS, _COLS]
_POINTS = np.column_stack([_U.ravel(), _V.ravel()]).astype(float)
_COARSE = (slice(1, 120, 3), slice(1, 120, 3))
_COARSE_POINTS = np.column_stack([_U[_COARSE].ravel(), _V[_COARSE].ravel()]).astype(float)

HUES = np.radians(np.arange(0, 360, 30))
SECTORS = 72
_BEFORE, _AFTER = (np.roll(np.arange(SECTORS), step) for step in (1, -1))
_ASIDE = (np.arange(SECTORS)[:, None, None] + np.outer((1, -1), (5, 6, 7, 8))) % SECTORS
"""Sectors 25 to 40 degrees to either side, shape (sectors, 2, 4)."""
LEANS = ((1.0, 0.0), (0.75, 0.1), (1.3, 0.1), (-1.0, 0.2))
"""Factors tried on the way from top to seat, and what each must save per stripe to be believed."""
RIM = 1.45
"""Out to here a flange turns with its nut."""
FLANGE = 1.35
"""Out to here paint may be a flange's, which turns with its nut, and not the surface's own."""
FAR = 2.5
LEAST_LENGTH, LEAST_ON_NUT = 0.05, 0.03
"""Painted length along a ray, in r, from which the surface and the nut bear a mark."""
LEAST_PAINT = 0.5
VIVID_FROM = 0.3
"""Chroma over lightness from which a colour may be paint. With 0.4, as rust in the sun has it, paint that
dust or haze has paled goes unseen: average precision on 63 made photos is 0.44 instead of 0.47."""
PAINTS = 2
"""Colours that are tried."""
PLAINER = 0.1
"""What e times the evidence for a colour is worth, in the mean disorder of its stripes."""
PLAIN_EVIDENCE, PLAIN_ORDER, PLAIN_NUMBER = 4.0, 0.5, 2
"""Evidence for a colour, disorder and number of fasteners that it crosses, from which they are plainly
stripes: rust below one nut has the colour of paint, and does not line up with more of it on other nuts."""
_BROAD = np.ones((11, 11), np.uint8)
"""What holds this square of 0.55 r is no stripe: markers draw up to a quarter of the width across flats."""
ON_STUD = 0.25
"""Weight of paint on the nut's face where a stud's end may stand before it: that does not turn."""
RIM_LEAN = 0.12
"""Height of a flange's rim over that of the nut's top."""
SECOND = 0.7
"""A second mark counts from this share of the first one's length. With 0.5 it is too often a scrap that
happens to line up: average precision on the same photos is 0.47 instead of 0.48."""
HALF_TURN = math.radians(150.0)
CENTRE_DOUBT = 0.06
"""Standard deviation of a fastener's centre, nut radii."""
LEAN_DOUBT, LEAN_ASIDE = 0.3, 0.15
"""The same of the way from top to seat, in its own length, and aside in the same measure."""


@dataclass(frozen=True, slots=True)
class View:
    """What is seen about one fastener.

    ``lab`` and ``valid`` are its frame's, where stripes are looked for; ``ground`` is the colour of the
    surface; ``stud`` and ``flange`` tell whether the fastener may have one.
    """

    frame: Frame
    lab: NDArray[np.float32]
    valid: NDArray[np.bool_]
    ground: NDArray[np.float32]
    stud: bool
    flange: bool


@dataclass(frozen=True, slots=True)
class Paint:
    """``hue`` in radians, None for white; ``strength`` is saturation (or lightness for white)."""

    hue: float | None
    strength: float
    evidence: float


@dataclass(frozen=True, slots=True)
class _Strips:
    """How plain the strip of each paint is at one fastener, which coarse points it takes up, the evidence."""

    plain: Floats
    where: NDArray[np.bool_]
    evidence: NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class Layout:
    """What one paint shows at the fastener of each view.

    Attributes
    ----------
    views : list of View
    bases : ndarray, shape (N, 2)
        Where their axes meet the surface, under the leans under which most stripes line up.
    paint : Paint
    painted : list of (ndarray of shape (M, 2), ndarray of shape (M,))
        The painted points, in frame coordinates, and how surely they are.
    disorder : float
        How few stripes line up, 0 to 1.
    crossed : int
        How many fasteners bear the paint as well as the surface beside them.
    """

    views: list[View]
    bases: Floats
    paint: Paint
    painted: list[tuple[Floats, Floats]]
    disorder: float
    crossed: int

    @property
    def plain(self) -> bool:
        """Whether these are stripes and not just something of one colour, such as rust."""
        return (
            self.paint.evidence >= PLAIN_EVIDENCE
            and self.disorder <= PLAIN_ORDER
            and self.crossed >= PLAIN_NUMBER
        )

    @property
    def cost(self) -> float:
        """Disorder, less what the evidence for the colour is worth."""
        return self.disorder - PLAINER * math.log(self.paint.evidence)

    def covers(self, fastener: Fastener | None, outline: Outline) -> float:
        """Share of an outline in the photo that is painted about a fastener, 0 to 1; 0 if it is not seen."""
        for view, (points, sure) in zip(self.views, self.painted, strict=True):
            if view.frame.fastener == fastener:
                inside = np.zeros(RADIUS.shape, np.uint8)
                corners = np.array([view.frame.from_photo(*corner) for corner in outline])
                cv2.fillPoly(inside, [_pixels(corners)], 1)
                columns, rows = _pixels(points).T
                return float(sure @ inside[rows, columns]) / max(int(inside[_ROWS, _COLS].sum()), 1)
        return 0.0


@dataclass(frozen=True, slots=True)
class Mark:
    """A stripe's part on one surface: painted length along its ray (nut radii), bearing, line."""

    length: float
    bearing: float
    direction: float
    centroid: Floats
    width: float
    extent: float
    area: float

    @property
    def direction_sd(self) -> float:
        """A ragged mark's own direction says little unless it is much longer than wide (measured)."""
        return 0.06 + 3.0 * (self.width / self.extent) ** 2


def _view(frame: Frame) -> View:
    lab, valid = frame.lab[_ROWS, _COLS], frame.valid[_ROWS, _COLS]
    around = valid[_COARSE] & (_R[_COARSE] > 1.6)
    samples = lab[_COARSE][around] if around.sum() > 60 else lab[_COARSE][_R[_COARSE] > 1.6]
    kind = frame.fastener.kind
    return View(frame, lab, valid, median(samples, axis=0), kind != "bolt_head", kind == "flange_nut")


def _pixels(points: Floats) -> NDArray[np.int32]:
    """Whole columns and rows of frame coordinates, shape (N, 2)."""
    pixels: NDArray[np.int32] = np.round(np.column_stack(pixel_of(*points.T))).astype(np.int32)
    return pixels


def _saturation(lab: NDArray[np.floating]) -> NDArray[np.floating]:
    """Chroma over lightness: what shade leaves of a colour."""
    saturation: NDArray[np.floating] = np.hypot(lab[..., 1], lab[..., 2]) / (lab[..., 0] + 12.0)
    return saturation


# The paint


def _evidence(view: View) -> NDArray[np.float32]:
    """How far each coarse point departs from the ground towards each paint, shape (hues + 1, N)."""
    lab = cv2.blur(view.lab, (3, 3))[_COARSE].reshape(-1, 3).astype(float)
    away = lab - view.ground
    chroma, lightness = np.hypot(lab[:, 1], lab[:, 2]), lab[:, 0]
    cos, sin = np.cos(HUES)[:, None], np.sin(HUES)[:, None]
    along = cos * away[:, 1] + sin * away[:, 2]
    beside = np.abs(cos * away[:, 2] - sin * away[:, 1])
    vivid = np.clip((_saturation(lab) - VIVID_FROM) / 0.4, 0.0, 1.0)
    coloured = np.clip(along - 0.7 * beside - 10.0, 0.0, 50.0) * vivid
    white = (
        np.clip(away[:, 0] - 12.0, 0.0, 40.0)
        * np.clip((16.0 - chroma) / 6.0, 0.0, 1.0)
        * np.clip((lightness - 55.0) / 15.0, 0.0, 1.0)
    )
    evidence: NDArray[np.float32] = np.vstack([coloured, white[None]]).astype(np.float32)
    return evidence * view.valid[_COARSE].ravel()


def _paints(views: Sequence[View], base: Floats) -> list[Paint]:
    """Give the ``PAINTS`` colours that run most plainly in strips towards the fasteners.

    Of neighbouring hues the plainest stands for all; the strips tell its strength.
    """
    strips = [_strips(view, foot_of) for view, foot_of in zip(views, base, strict=True)]
    total = np.sum([np.minimum(strip.plain, 12.0) ** 2 for strip in strips], axis=0)
    hues = total[:-1]
    crest = (hues >= np.roll(hues, 1)) & (hues > np.roll(hues, -1))
    found = []
    for k in sorted([*np.flatnonzero(crest), len(HUES)], key=lambda k: -total[k])[:PAINTS]:
        strength = max(float(strip.plain[k]) for strip in strips)
        if strength < LEAST_PAINT:
            continue
        colours = []
        for view, strip in zip(views, strips, strict=True):
            if strip.plain[k] > 0.4 * strength:
                inside = strip.evidence[k][strip.where[k]]
                take = inside > 0.5 * inside.max()
                colours.append(view.lab[_COARSE].reshape(-1, 3)[strip.where[k]][take])
        lab = np.concatenate(colours).astype(float)
        lightness, a, b = median(lab, axis=0)
        hue, shade = (None, lightness) if k == len(HUES) else (math.atan2(b, a), median(_saturation(lab)))
        found.append(Paint(hue, float(shade), math.sqrt(total[k])))
    return found


def _strips(view: View, base: Floats) -> _Strips:
    """Look for the strip of every paint on the surface about one fastener."""
    evidence = _evidence(view)
    part, foot = unfold(_COARSE_POINTS, base, view.stud)
    distance = np.hypot(foot[:, 0], foot[:, 1])
    ring = (part == SEAT) & (distance > 1.4) & (distance < FAR) & view.valid[_COARSE].ravel()
    sector = _sector(foot[ring])
    area = np.bincount(sector, minlength=SECTORS).astype(float)
    mass = np.array([np.bincount(sector, e, SECTORS) for e in evidence[:, ring]])
    mean = _spread(mass) / np.maximum(_spread(area), 8.0)
    contrast = mean - 1.3 * _flank(mean)
    strip = contrast.argmax(axis=1)
    alone = np.take_along_axis(_spread(_spread(mass)) / 3.0, strip[:, None], 1)[:, 0]
    plain = contrast.max(axis=1) * np.minimum(alone / np.maximum(mass.sum(axis=1), 1e-6), 0.5)
    where = np.zeros(evidence.shape, bool)
    where[:, ring] = np.abs((sector - strip[:, None] + SECTORS // 2) % SECTORS - SECTORS // 2) <= 2
    return _Strips(plain, where, evidence)


def _sector(points: Floats) -> NDArray[np.intp]:
    turn = np.degrees(np.arctan2(points[:, 1], points[:, 0])) % 360.0
    return np.minimum(turn * (SECTORS / 360.0), SECTORS - 1).astype(np.intp)


def _spread(histogram: Floats) -> Floats:
    """Sum over three neighbouring sectors of a circular histogram (last axis)."""
    spread: Floats = histogram + histogram[..., _BEFORE] + histogram[..., _AFTER]
    return spread


def _flank(histogram: Floats) -> Floats:
    """Mean of the sectors 25 to 40 degrees aside (last axis, circular), on the side where it is greater."""
    flank: Floats = histogram[..., _ASIDE].mean(axis=-1).max(axis=-1)
    return flank


def _painted(view: View, paint: Paint) -> tuple[Floats, Floats]:
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
        usual = float(median(value[region]))
        middle = 0.5 * (usual + paint.strength)
        sure[region] = np.clip((value[region] - middle) / soft + 0.5, 0.0, 1.0)
    sure[~view.valid] = 0.0
    # Single specks of rust have the colour, not the breadth; walls and stud ends have too much of it.
    sure = np.minimum(sure, 1.5 * cv2.blur(sure, (3, 3)))
    sure -= cv2.morphologyEx(sure, cv2.MORPH_OPEN, _BROAD, borderType=cv2.BORDER_REPLICATE)
    chosen = (sure > 0.2).ravel()
    return _POINTS[chosen], sure.ravel()[chosen]


# The marks


def marks_in(foot: Floats, sure: Floats, near: float, far: float) -> list[Mark]:
    """Find the stripe's part among painted points seen from the axis, between two distances from it.

    Returns
    -------
    list of Mark
        The plainest first; a second one where a stripe that crosses the whole nut shows its other end.
    """
    distance = np.hypot(foot[:, 0], foot[:, 1])
    use = (distance > near) & (distance < far)
    if use.sum() < 8:
        return []
    foot, sure, distance = foot[use], sure[use], distance[use]
    # Area of a frame pixel over distance and sector width: the histogram is painted length along a ray.
    sector_width = 2 * math.pi / SECTORS
    ray = sure / distance / (PIXELS_PER_RADIUS**2 * sector_width)
    length = _spread(np.bincount(_sector(foot), ray, SECTORS).astype(float)) / 3.0
    plain = length - _flank(length)
    first = int(plain.argmax())
    away = np.abs((np.arange(SECTORS) - first + SECTORS // 2) % SECTORS - SECTORS // 2) > 6
    second = int(np.where(away, plain, -1.0).argmax())
    peaks = [first] if plain[second] < SECOND * plain[first] else [first, second]
    marks = [_line(foot, sure, (peak + 0.5) * sector_width, float(length[peak])) for peak in peaks]
    return [mark for mark in marks if mark is not None]


def _line(foot: Floats, sure: Floats, bearing: float, length: float) -> Mark | None:
    """Refine a bearing to the ray through the axis that carries the paint, and fit a line to the paint."""
    for reach in (0.5, 0.4, 0.35):
        outwards = np.array([math.cos(bearing), math.sin(bearing)])
        across = foot @ (-outwards[1], outwards[0])
        weight = sure * ((np.abs(across) < reach) & (foot @ outwards > 0))
        if np.count_nonzero(weight) < 5:
            return None
        middle = weight @ foot
        bearing = math.atan2(middle[1], middle[0])
    mass = float(weight.sum())
    centroid = middle / mass
    spread = foot - centroid
    (uu, uv), (_, vv) = (spread * weight[:, None]).T @ spread / mass
    direction = 0.5 * math.atan2(2 * uv, uu - vv)
    if abs(wrapped(direction - bearing)) > math.pi / 2:
        direction += math.pi
    half = math.hypot(0.5 * (uu - vv), uv)
    width = math.sqrt(12.0 * max(0.5 * (uu + vv) - half, 1e-4))
    extent = math.sqrt(12.0 * (0.5 * (uu + vv) + half))
    return Mark(length, bearing, direction, centroid, width, extent, mass / PIXELS_PER_RADIUS**2)


def wrapped(angle: float, period: float = 2 * math.pi) -> float:
    """Give an angle by the least turn that comes to the same, up to half a period either way."""
    return (angle + period / 2) % period - period / 2


@dataclass(frozen=True, slots=True)
class Pair:
    """The two parts of one stripe and the turn between them, radians."""

    surfaces: list[Mark]
    nut: Mark | None
    turn: float
    turn_sd: float

    @property
    def surface(self) -> Mark:
        """The part on the surface that the turn is measured against."""
        return self.surfaces[0]


def pair_up(
    points: Floats, sure: Floats, base: Floats, stud: bool, flange: bool
) -> tuple[Pair | None, NDArray[np.int8], Floats]:
    """Find the two parts of a stripe among painted points.

    Parameters
    ----------
    points : ndarray, shape (N, 2)
        In frame coordinates.
    sure : ndarray, shape (N,)
        How surely each is painted.
    base : ndarray, shape (2,)
        Where the axis meets the surface.
    stud, flange : bool
        Whether the fastener may have a stud, and has a flange.

    Returns
    -------
    pair : Pair or None
        None where no part lies on the surface.
    part, foot : ndarray
        Of the points, as ``axis.unfold`` gives them.
    """
    part, foot = unfold(points, base, stud)
    seat = part == SEAT
    # A flange's rim stands a little above the surface, so the lean carries it outwards.
    clear = FLANGE + RIM_LEAN * float(np.hypot(*base))
    surfaces = [m for m in marks_in(foot[seat], sure[seat], clear, FAR) if m.length > LEAST_LENGTH]
    if not surfaces:
        return None, part, foot
    body = (part == SIDE) | (part == FACE) | (seat if flange else False)
    before = (part == STUD) & (np.hypot(points[:, 0], points[:, 1]) < GIRTH)
    on_nut = body | before
    weight = np.where(before, ON_STUD, 1.0) * sure
    nuts = marks_in(foot[on_nut], weight[on_nut], 0.15, RIM if flange else 1.3)
    nuts = [m for m in nuts if m.length > LEAST_ON_NUT]
    if not nuts:
        return Pair(surfaces, None, math.nan, math.nan), part, foot
    # Of a stripe's two ends either may be hidden on either part: the smallest turn explains most.
    turns = [(*_solve(surface, nut, base), surface, nut) for surface in surfaces for nut in nuts]
    turn, sd, surface, nut = min(turns, key=lambda each: abs(each[0]))
    others = [m for m in surfaces if m is not surface]
    if abs(turn) > HALF_TURN:
        # Far likelier a stripe right across the nut with one end hidden than a nut turned by half.
        turn = wrapped(turn + math.pi)
    return Pair([surface, *others], nut, turn, sd), part, foot


def _solve(surface: Mark, nut: Mark, base: Floats) -> tuple[float, float]:
    """Turn of the nut's mark against the surface's and its standard deviation, radians.

    Least squares over both bearings and both lines. Unknown are corrections to the two bearings, the error
    (u, v) of the centre and those of the lean, along and aside: a mark's centroid lies on its ray from the
    true centre, and its total-least-squares direction is its bearing.
    """
    (su, sv), (nu, nv) = ((-math.sin(m.bearing), math.cos(m.bearing)) for m in (surface, nut))
    far, near = float(np.hypot(*surface.centroid)), float(np.hypot(*nut.centroid))
    along, aside = su * base[0] + sv * base[1], sv * base[0] - su * base[1]
    marks = np.array([[far, 0.0, su, sv, along, aside], [0.0, near, nu, nv, 0.0, 0.0]])
    rows = np.vstack([marks, np.eye(6)])
    off = [wrapped(m.direction - m.bearing) for m in (surface, nut)]
    values = np.array([0.0, 0.0, *off, 0.0, 0.0, 0.0, 0.0])
    ragged = [0.02 + 0.15 * m.width for m in (surface, nut)]
    directions = surface.direction_sd, nut.direction_sd
    sds = np.array([*ragged, *directions, CENTRE_DOUBT, CENTRE_DOUBT, LEAN_DOUBT, LEAN_ASIDE])
    scaled = rows / sds[:, None]
    covariance = np.linalg.inv(scaled.T @ scaled)
    solution = covariance @ scaled.T @ (values / sds)
    turn = wrapped(nut.bearing - surface.bearing + float(solution[1] - solution[0]))
    return turn, math.sqrt(float(covariance[0, 0] + covariance[1, 1] - 2 * covariance[0, 1]))


def lay_out(frames: Sequence[Frame], bases: Floats) -> Layout | None:
    """Find the paint of a photo's stripes and what it shows; None where no stripe runs to a fastener.

    Parameters
    ----------
    frames : sequence of Frame
        Of nuts and bolt heads, centred on their tops.
    bases : ndarray, shape (N, 2)
        Where in their frames their axes meet the surface.
    """
    if not frames:
        return None
    views = [_view(frame) for frame in frames]
    laid_out = [_laid_out(views, paint, bases) for paint in _paints(views, bases)]
    return min(laid_out, key=lambda each: each.cost, default=None)


def _laid_out(views: list[View], paint: Paint, bases: Floats) -> Layout:
    """Find the points of a paint, and the factor on the way from top to seat under which most line up."""
    painted = [_painted(view, paint) for view in views]
    thinned = []
    for view, (points, sure), base in zip(views, painted, bases, strict=True):
        every = 1 + len(points) // 150
        thinned.append((points[::every], every * sure[::every], base, view.stud, view.flange))
    tried = []
    for factor, handicap in LEANS:
        pairs = [pair_up(points, sure, factor * b, *kind)[0] for points, sure, b, *kind in thinned]
        tried.append((float(np.mean([_disorder(pair) for pair in pairs])) + handicap, factor, pairs))
    disorder, factor, pairs = min(tried, key=lambda each: each[0])
    crossed = sum(pair is not None and pair.nut is not None for pair in pairs)
    return Layout(views, factor * bases, paint, painted, disorder, crossed)


def _disorder(pair: Pair | None) -> float:
    """0 for a stripe that lines up through the axis, 1 for none at all."""
    if pair is None:
        return 1.0
    skew = 0.3 * min(abs(wrapped(pair.surface.direction - pair.surface.bearing)) / 0.5, 1.0)
    return skew + 0.7 * (min(abs(pair.turn) / 0.35, 1.0) if pair.nut is not None else 0.8)
