"""A shock absorber's body in its box: where its two sides run, and the body laid flat between them."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from visual_aid.measure.measurement import CannotMeasure
from visual_aid.measure.scale import Floats

TALL, WIDE = 420, 120
"""Rows and columns of the body laid flat."""
INNER = 0.94
"""Share of the body's width that is looked at: its very sides are seen at a slant."""
ENDS = 0.04
"""Share of the box's height left out at either end, where what lies behind shows beside a body that leans."""
REACH = 0.3
"""Share of the box's width within which a side lies, from its own side of the box."""
CORNER = 0.1
"""Share of the box's width off which a side's nearer end lies at most: a tight box touches the body."""
LEAN = 0.28
"""How far a side goes aside as a share of the box's height: 16 degrees."""
TAPER = 0.1
"""Share of the box's width by which one side leans more than the other, as a tilt of the camera makes it."""
STEP = 0.25
"""Step of the logarithm of lightness from which a side stands out no more: the sky behind is no better."""
LEAST_WIDE = 24
"""Pixels of a body under which streaks on it cannot be told."""

Light = NDArray[Any]


def laid_flat(light: Light) -> tuple[Light, Floats]:
    """Lay a boxed body flat.

    Parameters
    ----------
    light : ndarray of shape (h, w)
        CIELAB lightness of the box, the body upright in it.

    Returns
    -------
    body : ndarray of shape (TALL, WIDE)
    to_box : ndarray of shape (3, 3)
        From pixels of the body to those of ``light``.

    Raises
    ------
    CannotMeasure
        The body is too narrow, or leans so far that little of it lies between its sides.
    """
    h, w = light.shape
    if w < 2 * LEAST_WIDE or h < 2 * LEAST_WIDE:
        raise CannotMeasure("the body is too small in the photo: go nearer and take it again")
    left, right = sides(light)
    if min(right - left) < LEAST_WIDE:
        raise CannotMeasure("the body leans in the photo: take it upright and box it between its sides")
    top, bottom = ENDS * (h - 1), (1 - ENDS) * (h - 1)
    middle, half = (left + right) / 2, INNER * (right - left) / 2
    along = np.array([ENDS, 1 - ENDS])
    middle, half = (v[0] + (v[1] - v[0]) * along for v in (middle, half))
    corners = [
        (middle[0] - half[0], top),
        (middle[0] + half[0], top),
        (middle[1] + half[1], bottom),
        (middle[1] - half[1], bottom),
    ]
    flat = [(0, 0), (WIDE - 1, 0), (WIDE - 1, TALL - 1), (0, TALL - 1)]
    to_box = cv2.getPerspectiveTransform(np.array(flat, np.float32), np.array(corners, np.float32))
    body = cv2.warpPerspective(
        light,
        to_box,
        (WIDE, TALL),
        flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
        borderMode=cv2.BORDER_REPLICATE,
    )
    return np.asarray(body, np.float32), np.asarray(to_box, float)


def sides(light: Light) -> tuple[Floats, Floats]:
    """Find the columns of a body's left and right side, each at the upper and the lower edge of its box.

    A side is the straight line along which lightness steps aside most steadily. Both are sought together: by
    perspective they may draw near each other, but they do not lean apart as a streak and a side would.
    """
    h, w = light.shape
    even = cv2.GaussianBlur(np.log(light + 4), (0, 0), sigmaX=1.2, sigmaY=3)
    slope = np.asarray(even[:, 2:] - even[:, :-2], float)
    off = np.arange(1.0, REACH * w, max(1.0, w / 100))
    upper, lower = (v.ravel() for v in np.meshgrid(off, off, indexing="ij"))
    tight = (np.minimum(upper, lower) <= CORNER * w) & (np.abs(upper - lower) <= LEAN * h)
    upper, lower = upper[tight], lower[tight]
    pieces, each = 12, 5
    along = np.linspace(0.03, 0.97, pieces * each)
    rows = np.round(along * (h - 1)).astype(int)
    inwards = upper[:, None] + (lower - upper)[:, None] * along

    def steady(columns: Floats) -> Floats:
        at = np.round(columns).astype(int).clip(1, w - 2) - 1
        stretch = slope[rows, at].reshape(len(at), pieces, each).mean(axis=2)
        told: Floats = np.minimum(np.abs(stretch), STEP).mean(axis=1)
        return told

    as_left, as_right = steady(inwards), steady(w - 1 - inwards)
    best = [np.argsort(-told)[:300] for told in (as_left, as_right)]
    lean_left = (lower - upper)[best[0]][:, None]
    lean_right = (upper - lower)[best[1]][None, :]
    apart = np.abs(lean_left - lean_right) / w
    both = as_left[best[0]][:, None] + as_right[best[1]] - 0.05 * apart - (apart > TAPER)
    i, j = np.unravel_index(int(both.argmax()), both.shape)
    a, b = best[0][i], best[1][j]
    return np.array([upper[a], lower[a]]), w - 1 - np.array([upper[b], lower[b]])
