"""The surface around a fastener, zone by zone: what it looks like there, and how much that changes.

The cues measure the few signs that have a name. Here nothing is picked: rings are cut into sectors from
below to above, and every map of the surface gives its mean and spread in each. Which of them tell is left to
training.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from visual_aid.evidence.frame import BEARING, PIXELS_PER_RADIUS, RADIUS, Frame
from visual_aid.evidence.surroundings import Surroundings, towards_rust

_RINGS = ((1.0, 1.35), (1.35, 1.8), (1.8, 2.4), (2.4, 3.3), (3.3, 4.6))
"""In nut radii. The outermost is seen below alone: the frame reaches no further to the other sides."""
_SECTORS = ((0, 22), (22, 55), (55, 100), (100, 180))
"""Degrees to either side of straight below: a run may lie left or right of it."""
_FURTHEST_SECTORS = 2
_FEWEST = 32
"""Pixels of the frame below which a zone counts as not seen."""
_GRAIN = 0.15
"""Standard deviation in nut radii of the blur that grain is told against."""
_RING = (RADIUS >= 1.4) & (RADIUS < 3.4)

_OFF = np.abs(BEARING - 90)
_FROM_BELOW = np.minimum(_OFF, 360 - _OFF)
_ZONES: NDArray[np.float32] = np.stack(
    [
        ((near <= RADIUS) & (far > RADIUS) & (low <= _FROM_BELOW) & (high > _FROM_BELOW)).ravel()
        for near, far in _RINGS
        for low, high in (_SECTORS if far < _RINGS[-1][1] else _SECTORS[:_FURTHEST_SECTORS])
    ],
    axis=1,
).astype(np.float32)
"""Which pixels of the frame lie in each zone."""
MAPS = 9
SIZE = 2 * MAPS * _ZONES.shape[1] + 3
"""Length of a description."""

Zones = NDArray[np.float32]


def describe(frame: Frame, around: Surroundings) -> Zones:
    """Describe the surface around one fastener.

    Parameters
    ----------
    frame : Frame
        Its seat frame; ``around`` are the maps of it.

    Returns
    -------
    ndarray of float32, shape (SIZE,)
        Means of the nine maps zone by zone, their standard deviations, and the colour of the surface (CIELAB
        D65). NaN in zones that are not seen.
    """
    light = np.ascontiguousarray(frame.lab[..., 0])
    grain = np.abs(light - cv2.GaussianBlur(light, (0, 0), _GRAIN * PIXELS_PER_RADIUS))
    ring = around.seen & _RING
    usual = float(grain[ring].mean()) if ring.any() else 0.0
    rusty = towards_rust(around.redder, around.yellower)
    maps = np.stack(
        [
            around.lighter,
            around.redder,
            around.yellower,
            around.rust,
            around.red_to_green,
            around.green_to_blue,
            grain / (usual + 1.0),
            np.abs(cv2.Sobel(rusty, cv2.CV_32F, 1, 0)),
            np.abs(cv2.Sobel(rusty, cv2.CV_32F, 0, 1)),
        ]
    ).reshape(MAPS, -1)
    seen = around.seen.ravel().astype(np.float32)
    maps *= seen
    count = seen @ _ZONES
    known = np.maximum(count, 1.0)[:, None]
    means = (maps @ _ZONES).T / known
    spreads = np.sqrt(np.maximum((maps**2 @ _ZONES).T / known - means**2, 0.0))
    hidden = count < _FEWEST
    means[hidden] = np.nan
    spreads[hidden] = np.nan
    return np.concatenate([means.ravel(), spreads.ravel(), around.paint]).astype(np.float32)
