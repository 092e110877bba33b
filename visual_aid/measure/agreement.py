"""How well the edges around a nut agree between two views: for turns and shifts, as a whole and by place."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray

from visual_aid.measure.nut_view import (
    OUTER,
    REACH,
    Field,
    Floats,
    NutView,
    edge_directions,
    rectify,
    ring,
    rotation,
)

COARSE, FINE = 14, 34
"""Samples a nut radius when looking for a turn and when measuring it. Edges are taken a sample fine: on 95
made pairs 30 of 405 turns are more than 2.5 degrees off with 28, 22 with 34, and 23 with 40."""
SHIFT = 0.25
"""How far, in nut radii, a nut's top may lie off the place that is given for it."""
SHIFT_FREE, SHIFT_COST = 0.08, 3.0
"""How far off it lies as a rule, in nut radii, and what the square of more costs in agreement."""
PATCH, SHARPLY = 0.1, 9.0
"""Standard deviation, in nut radii, over which edges are asked whether they turned or stayed, and how
sharply the difference of the two agreements decides."""


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
    reach = REACH + round(SHIFT * density) / density
    seen = ring(b, 0.0, reach, density, np.inf)
    there = edge_directions(rectify(b, 0.0, reach, density)) * seen[..., None]
    side = cv2.getOptimalDFTSize(len(seen))
    by_edges, by_seen, by_power = (_spectrum(part, side) for part in (there, seen, _products(there, there)))
    found = []
    for turn in turns:
        # Turning the ring rather than what it is laid on leaves that to be transformed once.
        weight = ring(a, -turn, REACH, density, OUTER)
        if moving is not None:
            weight = weight * _mapped(moving, rotation(-turn))
        edges = edge_directions(rectify(a, -turn, REACH, density))
        parts = edges * weight[..., None], _products(edges, edges) * weight, weight
        weighted, power, counted = (_spectrum(part, side).conj() for part in parts)
        shifts = len(seen) - len(weight) + 1
        product = _back(by_edges * weighted, shifts)[..., 0]
        # Both are real, and share one transform as its real and its imaginary part.
        here, other = np.moveaxis(_back(by_seen * power + 1j * (by_power * counted), shifts), -1, 0)
        found.append(product / np.sqrt(np.maximum(here * other, 0) + 1e-6))
    return np.array(found, np.float32)


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
    turned = [_mapped(m, -rotation(-t)) for m, t in zip(back, turns, strict=True)]
    return np.asarray((there + np.array(turned)) / 2, np.float32)


def best_agreement(surfaces: Field, density: int) -> Floats:
    """Give the best agreement of each turn, shifts paid for."""
    best: Floats = (surfaces - _shift_cost(density)).reshape(len(surfaces), -1).max(axis=1).astype(float)
    return best


@cache
def _shift_cost(density: int) -> Field:
    """Say what each shift costs in agreement."""
    steps = np.arange(-round(SHIFT * density), round(SHIFT * density) + 1) / density
    beyond = np.clip(np.hypot(steps[:, None], steps) - SHIFT_FREE, 0, None)
    return np.asarray(SHIFT_COST * beyond**2, np.float32)


def shifted_onto(a: NutView, b: NutView, turns: Sequence[float]) -> list[NutView]:
    """Move ``b`` to where it agrees best with ``a``, turn by turn."""
    views = []
    for surface in agreement(a, b, turns, FINE) - _shift_cost(FINE):
        row, column = np.unravel_index(int(surface.argmax()), surface.shape)
        middle = (len(surface) - 1) / 2
        shift = np.array([column - middle, row - middle]) / FINE
        views.append(dataclasses.replace(b, centre=b.centre + b.matrix @ shift))
    return views


def moved_share(a: NutView, b: NutView, degrees: float) -> Field:
    """Say how far each edge around the nut in ``a`` turned with it, 0 to 1, rather than stayed."""
    edges, power = _edges_here(a)
    turns = (0.0, degrees)
    still, turned = (
        _agreement_there(edges, power, view, turn)
        for view, turn in zip(shifted_onto(a, b, turns), turns, strict=True)
    )
    return np.asarray(1 / (1 + np.exp(SHARPLY * (still - turned))), np.float32)


def moved_edges(a: NutView, b: NutView, turns: Sequence[float]) -> Floats:
    """Give each turn how much better the ring's edges agree turned than unturned, where they do at all.

    What stayed - a washer, the stud, rust on the part - may be most of what is seen around a nut and settle
    which turn agrees best as a whole. What turned among it shows in this mean alone, and at one turn.

    Returns
    -------
    ndarray of float, shape (len(turns),)
        Mean gain in agreement over the ring, 0 to 1, by strength of edges, of either view on the other.
    """
    there, back = _moved_edges(a, b, turns), _moved_edges(b, a, [-turn for turn in turns])
    return (there + back) / 2


def _moved_edges(a: NutView, b: NutView, turns: Sequence[float]) -> Floats:
    edges, power = _edges_here(a)
    in_ring = power * ring(a, 0.0, REACH, FINE, OUTER)
    unturned, *views = shifted_onto(a, b, (0.0, *turns))
    still = np.maximum(_agreement_there(edges, power, unturned, 0.0), 0)
    gains = []
    for view, turn in zip(views, turns, strict=True):
        weight = in_ring * ring(view, turn, REACH, FINE, np.inf)
        gain = np.maximum(_agreement_there(edges, power, view, turn) - still, 0)
        gains.append(float((weight * gain).sum() / (weight.sum() + 1e-6)))
    return np.array(gains)


def _edges_here(a: NutView) -> tuple[Field, Field]:
    """Give the edges around a nut by direction, and their strength about every place."""
    edges = edge_directions(rectify(a, 0.0, REACH, FINE))
    return edges, _smooth(_products(edges, edges))


def _agreement_there(edges: Field, power: Field, view: NutView, turn: float) -> Field:
    """Correlate edges place by place with those of a view that is turned under them, -1 to 1."""
    there = edge_directions(rectify(view, turn, REACH, FINE))
    both = np.sqrt(power * _smooth(_products(there, there)))
    return np.asarray(_smooth(_products(edges, there)) / (both + 0.02), np.float32)


def _smooth(field: Field) -> Field:
    return np.asarray(cv2.GaussianBlur(field, (0, 0), PATCH * FINE), np.float32)


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
    """Transform back, and keep the shifts at which the smaller image lay wholly on the larger.

    Returns
    -------
    ndarray of float32, shape (shifts, shifts, 2)
        Real and imaginary parts.
    """
    image = spectrum.view(np.float32).reshape(*spectrum.shape, 2)
    flags = cv2.DFT_INVERSE | cv2.DFT_SCALE
    return np.asarray(cv2.dft(image, flags=flags), np.float32)[:shifts, :shifts]


def _mapped(image: Field, matrix: Floats) -> Field:
    """Sample a square image at the places that a matrix about its middle gives."""
    middle = (np.array(image.shape[::-1]) - 1) / 2
    warp = np.column_stack([matrix, middle - matrix @ middle])
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    return np.asarray(
        cv2.warpAffine(image, warp, image.shape[::-1], flags=flags, borderMode=cv2.BORDER_REPLICATE),
        np.float32,
    )
