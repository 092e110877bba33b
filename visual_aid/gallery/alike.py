"""Find fasteners that look like one, nearest first, among all on record."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from visual_aid.model import Box
from visual_aid.records.gallery import Looks

FARTHEST = 3.0
"""Nut radii between the centre of a fastener and a box that is still about it: the reach of a nut's frame
to the sides."""


@dataclass(frozen=True, slots=True)
class Alike:
    """A fastener that looks like the one in question.

    Attributes
    ----------
    photo : str
        Id of the photo.
    cx, cy, radius : float
        In pixels of the full upright photo.
    distance : float
        Of the looks; 0 is the same look.
    """

    photo: str
    cx: float
    cy: float
    radius: float
    distance: float


def fastener_at(looks: Looks, photo: str, box: Box) -> int | None:
    """Give the index of the fastener that a box on a photo is about; None if there is none near it."""
    indices = looks.of(photo)
    if not indices:
        return None
    cx, cy, radius = looks.places[indices].T
    x, y, w, h = box
    # Nearest in radii to the box; of those inside it, nearest to its middle.
    outside = np.hypot(cx - np.clip(cx, x, x + w), cy - np.clip(cy, y, y + h)) / radius
    middle = np.hypot(cx - x - w / 2, cy - y - h / 2) / radius
    best = int(np.lexsort((middle, outside))[0])
    return indices[best] if outside[best] <= FARTHEST else None


def distances(some: NDArray[np.uint8], others: NDArray[np.uint8]) -> NDArray[np.float32]:
    """Give the distance of every look of one set from every look of another.

    Parameters
    ----------
    some, others : ndarray of shapes (M, LENGTH) and (N, LENGTH), uint8

    Returns
    -------
    ndarray of shape (M, N), float32
    """
    # Sums of squares of bytes stay under 2^24, where 32-bit floats count every whole number.
    a, b = some.astype(np.float32), others.astype(np.float32)
    squares = np.einsum("ij,ij->i", a, a)[:, None] + np.einsum("ij,ij->i", b, b) - 2 * (a @ b.T)
    root: NDArray[np.float32] = np.sqrt(np.maximum(squares, 0))
    return root


def more_like(looks: Looks, index: int, count: int, *, leave_out: Iterable[str] = ()) -> tuple[Alike, ...]:
    """Give the fasteners on other photos that look most like one, nearest first.

    Parameters
    ----------
    index : int
        Of the one, within ``looks``.
    count : int
        How many to give at most.
    leave_out : iterable of str
        Ids of photos whose fasteners are not wanted; its own photo is left out anyhow.
    """
    away = distances(looks.vectors[[index]], looks.vectors)[0]
    for photo in (looks.photos[looks.owner[index]], *leave_out):
        away[looks.of(photo)] = np.inf
    nearest = np.argpartition(away, min(count, len(away) - 1))[:count]
    nearest = nearest[np.argsort(away[nearest], kind="stable")]
    return tuple(_alike(looks, i, float(away[i])) for i in nearest if np.isfinite(away[i]))


def _alike(looks: Looks, index: int, distance: float) -> Alike:
    cx, cy, radius = (float(v) for v in looks.places[index])
    return Alike(looks.photos[looks.owner[index]], cx, cy, radius, distance)
