"""Where a nut's corners point, told from all edges around it by what labelled nuts show there.

Edges are counted by distance from the nut's middle, by bearing modulo a sixth of a turn, and by direction
against that bearing. A template, learned from labelled nuts, is laid on the counts at every turn: linear, and
the same whichever way a nut points or is mirrored.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import cache
from importlib.resources import files

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import log_softmax

from visual_aid.measure.nut_view import NutView, in_photo, rectify, samples

Floats = NDArray[np.floating]
Counts = NDArray[np.float32]

DENSITY, REACH = 20, 1.75
"""Samples a nut radius, and nut radii from the middle to the patch's edges."""
RINGS = (0.35, 0.55, 0.7, 0.8, 0.88, 0.96, 1.04, 1.12, 1.22, 1.4, 1.7)
"""Bounds of the rings that edges are counted in, in nut radii: narrow about flats (1) and corners (1.15)."""
BEARINGS, DIRECTIONS = 30, 12
"""Bearings counted apart within a sixth of a turn, and directions within half of one."""
STEP = 60 / BEARINGS
FAINT = 8.0
"""Gradient, in grey levels a sample, from which the root of an edge's strength counts for more than half."""
LEAST = 1.0
"""Length of the counts that are as good as none: a nut's are in the hundreds, a flat patch's rounding is far
below."""
SHAPE = (len(RINGS) - 1, DIRECTIONS, BEARINGS)

SPREAD = 2.0
"""Standard deviation in degrees by which turns may differ that the corners cannot tell apart."""
ASTRAY = 0.06
"""Chance that the corners of one of two views were misread."""


@cache
def _layout() -> tuple[NDArray[np.bool_], NDArray[np.intp], Counts]:
    """Give which samples of a patch lie in a ring, in which, and at what bearing in degrees."""
    u, v = np.meshgrid(*2 * [samples(REACH, DENSITY)])
    ring = np.digitize(np.hypot(u, v), RINGS) - 1
    within = (ring >= 0) & (ring < SHAPE[0])
    return within, ring[within], np.degrees(np.arctan2(v, u))[within].astype(np.float32)


def edges_around(view: NutView) -> Counts:
    """Count the edges around a nut by ring, direction against the bearing, and bearing.

    Returns
    -------
    ndarray of float32, shape ``SHAPE``
        Of length 1 where edges are seen, 0 where there are none.
    """
    within, ring, bearing = _layout()
    light = cv2.GaussianBlur(rectify(view, 0.0, REACH, DENSITY), (0, 0), 0.8)
    dx, dy = (np.asarray(cv2.Sobel(light, cv2.CV_32F, *o, ksize=3))[within] for o in ((1, 0), (0, 1)))
    length = np.hypot(dx, dy)
    weight = np.sqrt(length) * length / (length + FAINT)
    if (seen := in_photo(view, 0.0, REACH, DENSITY)) is not None:
        weight = weight * seen[within]
    direction, at_direction = _split((np.degrees(np.arctan2(dy, dx)) - bearing) % 180, 180 / DIRECTIONS)
    place, at_place = _split(bearing % 60, STEP)
    counts = np.zeros(math.prod(SHAPE))
    for i, of_direction in enumerate((1 - at_direction, at_direction)):
        for j, of_place in enumerate((1 - at_place, at_place)):
            cell = (ring * DIRECTIONS + (direction + i) % DIRECTIONS) * BEARINGS + (place + j) % BEARINGS
            counts += np.bincount(cell, weight * of_direction * of_place, counts.size)
    return (counts / (np.linalg.norm(counts) + LEAST)).reshape(SHAPE).astype(np.float32)


def _split(degrees: Floats, step: float) -> tuple[NDArray[np.intp], Floats]:
    """Give the bin below each angle and the share that the bin above gets of it."""
    below = np.floor(degrees / step)
    return below.astype(np.intp), degrees / step - below


def laid_on(template: Floats, counts: Floats) -> Floats:
    """Lay a template on counts with its corners at every bearing: shapes (..., ``BEARINGS``) of both.

    Returns
    -------
    ndarray, shape of ``counts`` without the axes of rings and directions
        Log odds of the corners' pointing there, up to a common constant.
    """
    spectra = np.fft.rfft(counts, axis=-1) * np.fft.rfft(template, axis=-1).conj()
    laid: Floats = np.fft.irfft(spectra.sum(axis=(-3, -2)), BEARINGS, axis=-1)
    return laid


@cache
def _template() -> Floats:
    with np.load(str(files("visual_aid.measure") / "corners.npz")) as arrays:
        return np.asarray(arrays["template"], float)


def corner_odds(view: NutView) -> Floats:
    """Say how likely a nut's corners point to each bearing: 0, ``STEP``, ... below 60 degrees.

    Returns
    -------
    ndarray, shape (``BEARINGS``,)
        Natural logarithms of the chances.
    """
    return np.asarray(log_softmax(laid_on(_template(), edges_around(view))))


def spread_about(bearing: ArrayLike, deviation: float) -> Floats:
    """Spread a bearing, or each of several, normally over the bearings there are: shares that add up to 1."""
    apart = (STEP * np.arange(BEARINGS) - np.asarray(bearing)[..., None] + 30) % 60 - 30
    shares = np.exp(-((apart / deviation) ** 2) / 2)
    return np.asarray(shares / shares.sum(axis=-1, keepdims=True))


def shared_corner(views: Sequence[tuple[Floats, float]]) -> float:
    """Find the bearing of a corner that all views of a nut share.

    Parameters
    ----------
    views : sequence of (ndarray, float)
        ``corner_odds``, each with the turn in degrees that brings the nut from the first view to it.

    Returns
    -------
    float
        Degrees modulo 60 in the first view's plane.
    """
    bearings = STEP * np.arange(BEARINGS)
    total = sum(at_turns(odds, bearings + turn) for odds, turn in views)
    return STEP * int(np.argmax(total))


def turn_odds(a: Floats, b: Floats) -> Floats:
    """Say how likely a nut turned by 0, ``STEP``, ... below 60 degrees, from its corners in two views.

    Parameters
    ----------
    a, b : ndarray of shape (``BEARINGS``,)
        ``corner_odds`` of both.

    Returns
    -------
    ndarray, shape (``BEARINGS``,)
        Natural logarithms of how many times likelier than by chance.
    """
    to, since, blur = (np.fft.rfft(part) for part in (np.exp(b), np.exp(a), spread_about(0.0, SPREAD)))
    chances = np.fft.irfft(to * since.conj() * blur, BEARINGS).clip(0)
    return np.asarray(np.log((1 - ASTRAY) * BEARINGS * chances + ASTRAY))


def at_turns(odds: Floats, degrees: ArrayLike) -> Floats:
    """Read odds for any degrees, between those that they are given for."""
    place, share = _split(np.asarray(degrees, float) % 60, STEP)
    return (1 - share) * odds[place % BEARINGS] + share * odds[(place + 1) % BEARINGS]
