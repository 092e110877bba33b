"""How far a nut turned between two photos that are laid on each other.

Both photos are rectified to the plane of the part, so that a nut that did not turn looks alike in both,
whatever the light. The ring of the nut's face and outline from one photo is then turned on the other until
the directions of their edges agree best.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.floating]
Field = NDArray[np.float32]
Image = NDArray[np.uint8]

COARSE, FINE = 14, 28
"""Samples a nut radius when looking for a turn and when measuring it."""
COARSE_TURNS = tuple(range(-33, 34, 3))
"""Degrees tried first: a hexagon looks the same after 60."""
FINE_STEP, MOST_CLIMB = 1.5, 6.0
"""Degrees between the turns tried while climbing from the best coarse turns, and how far a climb goes."""
PEAKS = 2
INNER, OUTER = 0.5, 1.25
"""The ring that turns with the nut, in nut radii: from about the stud's edge to beyond the corners."""
SHIFT = 0.25
"""How far, in nut radii, a nut's top may lie off the place that is given for it."""
SHIFT_FREE, SHIFT_COST = 0.08, 2.0
"""How far off it lies as a rule, in nut radii, and what the square of more costs in agreement."""
CIRCLE = 2
"""Width in samples of the circles around a nut's middle that edges are averaged on."""
FAINT = 2.0
"""Gradient in grey levels a sample under which an edge is noise."""
STILL_BONUS, STILL_SPREAD = 0.03, 2.5
"""What agreement a nut that stayed is given in advance, most nuts being such, and over how many degrees."""
FULL_TURN_GAIN, FULL_TURN_AGREEMENT = 0.12, 0.6
"""By how much the agreement has to rise, and to what, before a turn is taken to be 60 degrees or more."""

REACH = OUTER + 0.1
"""Half the side of the patch that holds the ring, in nut radii."""
RIM = 1.04
"""How far the hexagon's ring reaches beyond its flats, in nut radii."""
LEAST_HEXNESS = 0.12
"""Share of the rim's edges that follow one hexagon under which there is none."""
AT_REST = 1.5
"""Degrees under which what stayed, around a nut and on it, cannot have drawn the turn off by much."""
SETTLINGS, MOST_SETTLED = 4, 6.0
"""How often a turn is measured again without what stayed, and how far it may move by that, in degrees."""
SETTLING = (-4.5, -3.0, -1.5, 0.0, 1.5, 3.0, 4.5)
"""Turns tried around the one before, in degrees."""
SETTLED_WITHIN = 0.2
PATCH, SHARPLY = 0.1, 6.0
"""Standard deviation, in nut radii, over which edges are asked whether they turned or stayed, and how
sharply the difference of the two agreements decides."""
DOUBT, DOUBT_RISE = 0.2, 1.8
"""Uncertainty in degrees at full agreement, and the power by which it rises where they agree less:
set on 97 nuts of rendered pairs, of which 75 % lay within it."""


@dataclass(frozen=True, slots=True)
class NutView:
    """How one photo sees a nut.

    Attributes
    ----------
    octaves : sequence of ndarray
        Grey working image and its halves.
    centre : ndarray of shape (2,)
        Of the nut's top, in working pixels.
    matrix : ndarray of shape (2, 2)
        From nut radii in the part's plane to working pixels.
    lean : ndarray of shape (2,)
        From the nut's seat to its top as seen, in nut radii in the part's plane.
    stud : bool
        Whether a stud stands in the middle, which does not turn with the nut; a bolt head has none.
    flat : float or None
        Direction of a flat's normal in the plane, degrees modulo 60, once it is known: what lies beyond the
        flats is then left out.
    """

    octaves: Sequence[Image]
    centre: Floats
    matrix: Floats
    lean: Floats
    stud: bool = True
    flat: float | None = None


def octaves(grey: Image) -> list[Image]:
    """Halve a grey image again and again, so that any nut can be sampled without aliasing."""
    out = [grey]
    while min(out[-1].shape) >= 64 and len(out) < 5:
        out.append(np.asarray(cv2.pyrDown(out[-1]), np.uint8))
    return out


def edge_directions(grey: Field) -> Field:
    """Give edges by direction, whichever side is the brighter one, less what they are all around the middle.

    Circles - a stud's end, a chamfer, a washer - look alike however they are turned, and would agree
    whatever the turn.

    Parameters
    ----------
    grey : ndarray of float32, shape (S, S)

    Returns
    -------
    ndarray of float32, shape (S, S, 2)
        Cosine and sine of twice the gradient's direction, times the root of the gradient's length, less
        their mean at that distance from the middle, taken against the direction from there.
    """
    smooth = cv2.GaussianBlur(grey, (0, 0), 1.0)
    dx, dy = (cv2.Sobel(smooth, cv2.CV_32F, *order, ksize=3) for order in ((1, 0), (0, 1)))
    length = cv2.magnitude(dx, dy)
    weight = 1 / (length * cv2.sqrt(length) + np.float32(FAINT**1.5))
    edges = np.asarray(cv2.merge([(dx - dy) * (dx + dy) * weight, 2 * dx * dy * weight]), np.float32)
    circle, bearing, count = _circles(len(grey))
    around = edges.view(np.complex64)[..., 0] * bearing.conj()
    real, imaginary = (
        np.bincount(circle.ravel(), part.ravel()) / count for part in (around.real, around.imag)
    )
    around -= (real + 1j * imaginary).astype(np.complex64)[circle]
    return (around * bearing).view(np.float32).reshape(edges.shape)


@cache
def _circles(side: int) -> tuple[NDArray[np.intp], NDArray[np.complex64], NDArray[np.intp]]:
    """Give every sample's circle about the middle, twice its bearing, and how many samples a circle has."""
    line = np.arange(side) - (side - 1) / 2
    radius = np.hypot(line[:, None], line)
    circle = np.round(radius / CIRCLE).astype(np.intp)
    bearing = ((line + 1j * line[:, None]) / radius.clip(0.5)) ** 2
    return circle, bearing.astype(np.complex64), np.bincount(circle.ravel())


def _steps(reach: float, density: int) -> Floats:
    return (np.arange(round(2 * reach * density)) + 0.5) / density - reach


@cache
def _grid(reach: float, density: int) -> tuple[Field, Field, Field]:
    """Give u, v and the distance from the middle of every sample."""
    u, v = (part.astype(np.float32) for part in np.meshgrid(*2 * [_steps(reach, density)]))
    return u, v, np.asarray(cv2.magnitude(u, v), np.float32)


def rectify(view: NutView, degrees: float, reach: float, density: int) -> Field:
    """Sample the part's plane around a nut, turned clockwise by ``degrees``."""
    (a, b), (c, d) = matrix = view.matrix @ _rotation(degrees) / density
    level = min(max(int(math.log2(math.sqrt(abs(a * d - b * c))) + 0.25), 0), len(view.octaves) - 1)
    matrix = matrix * 0.5**level
    side = round(2 * reach * density)
    start = (view.centre + 0.5) * 0.5**level - 0.5 + matrix @ np.full(2, 0.5 - reach * density)
    return np.asarray(cv2.warpAffine(
        view.octaves[level], np.column_stack([matrix, start]), (side, side),
        flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP, borderMode=cv2.BORDER_REPLICATE,
    ), np.float32)  # fmt: skip


def ring(view: NutView, turn: float, reach: float, density: int, outer: float) -> Field:
    """Weigh the plane around a nut: 1 on what turns with it, 0 elsewhere and where a stud may hide it."""
    u, v, radius = _grid(reach, density)
    free = outer - radius
    if view.flat is not None and math.isfinite(outer):
        bearing = np.degrees(np.arctan2(v, u)) - view.flat + turn
        free = RIM - radius * np.cos(np.radians((bearing + 30) % 60 - 30))
    if view.stud:
        x, y = map(float, _rotation(-turn) @ view.lean)
        along = np.clip((u * x + v * y) / max(x * x + y * y, 1e-9), 0, 1)
        free = np.minimum(free, cv2.magnitude(u - along * x, v - along * y) - INNER)
    return np.asarray(np.clip(free * density / 2 + 0.5, 0, 1), np.float32)


def agreement(
    a: NutView, b: NutView, turns: Sequence[float], density: int, moving: Field | None = None
) -> Field:
    """Agreement of the ring's edges for every turn from ``a`` to ``b`` and every shift of ``b``.

    Parameters
    ----------
    moving : ndarray of float32, optional
        How much each sample of the ring in ``a`` counts.

    Returns
    -------
    ndarray of float32, shape (len(turns), S, S)
        Correlation, -1 to 1; rows and columns are shifts of v and u in the plane, none in the middle.
    """
    pad = round(SHIFT * density) / density
    weight = ring(a, 0.0, REACH, density, OUTER)
    if moving is not None:
        weight = weight * moving
    edges = edge_directions(rectify(a, 0.0, REACH, density))
    weighted, power = edges * weight[..., None], _products(edges, edges) * weight
    side = round(2 * (REACH + pad) * density)
    shifts = side - len(weight) + 1
    by_weighted, by_power, by_weight = (_spectrum(part, side).conj() for part in (weighted, power, weight))
    found = []
    for turn in turns:
        seen = ring(b, turn, REACH + pad, density, np.inf)
        there = edge_directions(rectify(b, turn, REACH + pad, density)) * seen[..., None]
        product = _back(_spectrum(there, side) * by_weighted, shifts)
        here = _back(_spectrum(seen, side) * by_power, shifts)
        other = _back(_spectrum(_products(there, there), side) * by_weight, shifts)
        # The photo was turned under the ring, and its shifts with it.
        found.append(_mapped(product / np.sqrt(np.maximum(here * other, 0) + 1e-6), _rotation(-turn)))
    return np.array(found)


def _products(one: Field, other: Field) -> Field:
    return one[..., 0] * other[..., 0] + one[..., 1] * other[..., 1]


def _spectrum(image: Field, side: int) -> NDArray[np.complex64]:
    """Transform an image, two of whose channels count as one complex one, filled up with zeros to a square.

    Products of spectra, one of them conjugate, are sums over all shifts: of both channels' products together.
    """
    filled = np.zeros((side, side, 2), np.float32)
    height, width = image.shape[:2]
    filled[:height, :width, : image[0, 0].size] = image if image.ndim == 3 else image[..., None]
    return np.asarray(cv2.dft(filled), np.float32).view(np.complex64)[..., 0]


def _back(spectrum: NDArray[np.complex64], shifts: int) -> Field:
    """Transform back, and keep the shifts at which the smaller image lay wholly on the larger."""
    image = spectrum.view(np.float32).reshape(*spectrum.shape, 2)
    return np.asarray(cv2.dft(image, flags=cv2.DFT_INVERSE | cv2.DFT_SCALE), np.float32)[:shifts, :shifts, 0]


def agreement_both_ways(
    a: NutView,
    b: NutView,
    turns: Sequence[float],
    density: int,
    moving: tuple[Field | None, Field | None] = (None, None),
) -> Field:
    """``agreement`` of either photo's ring on the other, averaged: neither visit is the measure of both."""
    there = agreement(a, b, turns, density, moving[0])
    back = agreement(b, a, [-turn for turn in turns], density, moving[1])
    turned = [_mapped(m, -_rotation(-t)) for m, t in zip(back, turns, strict=True)]
    return np.asarray((there + np.array(turned)) / 2, np.float32)


@dataclass(frozen=True, slots=True)
class Turn:
    """A turn as measured.

    Attributes
    ----------
    degrees : float
        Clockwise positive as seen, from the first view to the second.
    agreement : float
        How well the edges agree at that turn, -1 to 1.
    """

    degrees: float
    agreement: float

    @property
    def uncertainty(self) -> float:
        """Degrees within which two of three turns of such agreement are right."""
        return DOUBT / float(max(self.agreement, 0.05) ** DOUBT_RISE)


def measure_turn(a: NutView, b: NutView) -> Turn:
    """Measure how far a nut turned from one view to another.

    The turn is known modulo 60 degrees from the outline; where marks, paint or rust on the nut tell the
    sixths apart, it is given in full (-180 to 180).
    """
    coarse = _scores(a, b, COARSE_TURNS, COARSE)
    order = [i for i in np.argsort(-coarse) if _is_peak(coarse, i)][:PEAKS]
    scores: dict[float, float] = {}
    for start in (0.0, *(float(COARSE_TURNS[i]) for i in order)):
        _climb(a, b, start, scores)
    turns = np.array(sorted(scores))
    values = np.array([scores[turn] for turn in turns])
    best = int(values.argmax())
    degrees = _vertex(turns, values, best)
    if abs(degrees) > AT_REST:
        degrees = _settled(a, b, degrees)
    degrees = (degrees + 30) % 60 - 30
    sixths = [degrees + 60 * k for k in range(-2, 4)]
    for density in (COARSE, FINE):  # the quick look settles most nuts
        folded = _scores(a, b, sixths, density, bonus=False)
        other = int(folded.argmax())
        if folded[other] <= max(folded[2] + FULL_TURN_GAIN * density / FINE, FULL_TURN_AGREEMENT):
            return Turn(degrees, float(values[best]))
    return Turn((_settled(a, b, sixths[other]) + 180) % 360 - 180, float(folded[other]))


def _settled(a: NutView, b: NutView, degrees: float) -> float:
    """Measure again without what stayed, which draws the turn towards none.

    The surface beyond the flats stays, and on the nut the shadows and what the light shows by its direction.
    Edges on the nut that agree better unturned than turned count the less the plainer that is: two layers,
    one still and one turned, told apart and measured in turns.
    """
    first = degrees
    for _ in range(SETTLINGS):
        flat = flat_direction([(a, 0.0), (b, degrees)])
        if flat is not None:
            a, b = dataclasses.replace(a, flat=flat), dataclasses.replace(b, flat=flat + degrees)
        turns = [degrees + step for step in SETTLING]
        moving = _moving(a, b, degrees), _moving(b, a, -degrees)
        scores = _best(agreement_both_ways(a, b, turns, FINE, moving), FINE)
        before, degrees = degrees, _vertex(np.array(turns), scores, int(scores.argmax()))
        if abs(degrees - first) > MOST_SETTLED:
            return first
        if abs(degrees - before) < SETTLED_WITHIN:
            break
    return degrees


def _moving(a: NutView, b: NutView, degrees: float) -> Field:
    """Say how far each edge around the nut in ``a`` turned with it, 0 to 1, rather than stayed."""
    edges = edge_directions(rectify(a, 0.0, REACH, FINE))
    still, turned = (
        _local_agreement(edges, edge_directions(rectify(shifted, turn, REACH, FINE)))
        for turn, shifted in zip((0.0, degrees), _shifted(a, b, (0.0, degrees)), strict=True)
    )
    return np.asarray(1 / (1 + np.exp(SHARPLY * (still - turned))), np.float32)


def _shifted(a: NutView, b: NutView, turns: Sequence[float]) -> list[NutView]:
    """Move ``b`` to where it agrees best with ``a``, turn by turn."""
    views = []
    for surface in agreement(a, b, turns, FINE) - _shift_cost(FINE):
        row, column = np.unravel_index(int(surface.argmax()), surface.shape)
        middle = (len(surface) - 1) / 2
        shift = np.array([column - middle, row - middle]) / FINE
        views.append(dataclasses.replace(b, centre=b.centre + b.matrix @ shift))
    return views


def _local_agreement(here: Field, there: Field) -> Field:
    """Correlate two fields of edges place by place, -1 to 1."""
    product, one, other = (
        cv2.GaussianBlur(_products(p, q), (0, 0), PATCH * FINE)
        for p, q in ((here, there), (here, here), (there, there))
    )
    return np.asarray(product / (np.sqrt(one * other) + 0.02), np.float32)


def flat_direction(views: Sequence[tuple[NutView, float]]) -> float | None:
    """Find the direction of a flat's normal that the outlines in all views share.

    Parameters
    ----------
    views : sequence of (NutView, float)
        Each with the turn in degrees that brings it to the first.

    Returns
    -------
    float or None
        Degrees modulo 60 in the first view's plane; None where the edges follow no hexagon.
    """
    total, plain = 0j, 0.0
    steps = _steps(OUTER, FINE)
    u, v = np.meshgrid(steps, steps)
    radius = np.hypot(u, v)
    rim = (radius > 0.8) & (radius < OUTER)
    for view, turn in views:
        light = cv2.GaussianBlur(rectify(view, turn, OUTER, FINE), (0, 0), 1.0)
        dx, dy = (np.asarray(cv2.Sobel(light, cv2.CV_32F, *o, ksize=3))[rim] for o in ((1, 0), (0, 1)))
        length = np.hypot(dx, dy) + 1e-6
        weight = length * ((np.abs(dx * u[rim] + dy * v[rim]) / (length * radius[rim])) > 0.82)
        total += complex((weight * np.exp(6j * np.arctan2(dy, dx))).sum()) / float(weight.sum() + 1e-6)
        plain += 1.0
    if abs(total) < LEAST_HEXNESS * plain:
        return None
    return math.degrees(math.atan2(total.imag, total.real)) / 6


def _climb(a: NutView, b: NutView, start: float, scores: dict[float, float]) -> None:
    """Score turns from ``start`` upwards until the best has lower ones on both sides."""
    best = start
    while True:
        around = (best - FINE_STEP, best, best + FINE_STEP)
        new = [turn for turn in around if turn not in scores]
        scores.update(zip(new, _scores(a, b, new, FINE) if new else (), strict=True))
        top = max(around, key=lambda turn: scores[turn])
        if top == best or abs(top - start) > MOST_CLIMB:
            return
        best = top


def _scores(a: NutView, b: NutView, turns: Sequence[float], density: int, *, bonus: bool = True) -> Floats:
    """Give each turn its best agreement over the shifts."""
    best = _best(agreement_both_ways(a, b, turns, density), density)
    return best + bonus * STILL_BONUS * np.exp(-((np.asarray(turns) / STILL_SPREAD) ** 2))


def _best(surfaces: Field, density: int) -> Floats:
    """Give the best agreement of each turn, shifts paid for."""
    best: Floats = (surfaces - _shift_cost(density)).reshape(len(surfaces), -1).max(axis=1).astype(float)
    return best


@cache
def _shift_cost(density: int) -> Field:
    """Say what each shift costs in agreement."""
    steps = np.arange(-round(SHIFT * density), round(SHIFT * density) + 1) / density
    beyond = np.clip(np.hypot(steps[:, None], steps) - SHIFT_FREE, 0, None)
    return np.asarray(SHIFT_COST * beyond**2, np.float32)


def _is_peak(scores: Floats, i: int) -> bool:
    return bool(scores[i] >= scores[max(i - 1, 0)] and scores[i] >= scores[min(i + 1, len(scores) - 1)])


def _vertex(turns: Floats, scores: Floats, best: int) -> float:
    """Give the top of the parabola through the best score and its neighbours."""
    if not 0 < best < len(turns) - 1:
        return float(turns[best])
    x, y = turns[best - 1 : best + 2] - turns[best], scores[best - 1 : best + 2] - scores[best]
    curve, slope = np.linalg.solve(np.column_stack([x[[0, 2]] ** 2, x[[0, 2]]]), y[[0, 2]])
    return float(turns[best] + (np.clip(-slope / (2 * curve), x[0], x[2]) if curve < 0 else 0.0))


def _rotation(degrees: float) -> Floats:
    c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
    return np.array([[c, -s], [s, c]])


def _mapped(image: Field, matrix: Floats) -> Field:
    """Sample a square image at the places that a matrix about its middle gives."""
    middle = (np.array(image.shape[::-1]) - 1) / 2
    warp = np.column_stack([matrix, middle - matrix @ middle])
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    return np.asarray(
        cv2.warpAffine(image, warp, image.shape[::-1], flags=flags, borderMode=cv2.BORDER_REPLICATE),
        np.float32,
    )
