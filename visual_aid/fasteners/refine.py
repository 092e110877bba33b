"""A closer look at a found fastener: where its centre is, how large it is, and which way it leans.

Gradient histograms of the patch around a rough circle are compared with those of labelled fasteners: a
linear regression, and kernel ridge regression on a part of the examples for what that leaves (Nystroem's
method; Williams and Seeger 2001). So a nut's flats, its stud and its shadow are read together, as no sum
over single cells can.
"""

from __future__ import annotations

from functools import cache
from importlib.resources import files

import numpy as np

from visual_aid.fasteners.patches import Octaves, cell_means, gradients, lengths_and_bins, sample
from visual_aid.fasteners.regression import Floats, Image, Regression

SIDE, REACH = 48, 2.0
CELLS, BINS = 8, 8
LOOKS = 2
"""How often a circle is moved and looked at anew. Each look has a regression of its own, learned from where
the looks before it put circles (cascaded pose regression; Dollar, Welinder and Perona 2010): the first one's,
asked again, moves circles off. Of circles moved by 0.17 r the first look leaves 0.12 r to the label on the
mean of 37 made photos held out, 0.18 r on the samples and 0.15 r on 28 real ones; the second one 0.11, 0.17
and 0.15 r. Learned from such circles alone it is 0.09, 0.12 and 0.13 r, but circles on a nut's whole body or
its stud's end stay there, and fewer nuts are found (see ``training.refine.ASTRAY``)."""
FURTHEST, MOST_GROWTH = 0.5, 0.35
"""The most that a look may move a circle, in radii, and the natural logarithm of the most it may grow."""

_STEPS = ((np.arange(SIDE) + 0.5) / SIDE * 2 - 1) * REACH
PATCH_X, PATCH_Y = (a.astype(np.float32) for a in np.meshgrid(_STEPS, _STEPS))


def gradient_histograms(patches: Floats) -> Floats:
    """Histograms of unsigned gradient direction in cells of a square patch (after Dalal and Triggs 2005).

    Parameters
    ----------
    patches : ndarray of float32, shape (N, SIDE, SIDE)
        CIELAB lightness, any scale.

    Returns
    -------
    ndarray of float32, shape (N, BINS * CELLS * CELLS)
        Square roots of the shares, 0 to 1.
    """
    if not len(patches):  # which OpenCV refuses
        return np.zeros((0, BINS * CELLS * CELLS), np.float32)
    length, position = lengths_and_bins(*gradients(patches), BINS)
    out = np.empty((len(patches), BINS, CELLS * CELLS), np.float32)
    for b in range(BINS):
        away = np.abs(position - b)
        share = np.maximum(1 - np.minimum(away, BINS - away), 0)
        out[:, b] = cell_means(share * length, CELLS)
    out *= (SIDE // CELLS) ** 2
    out /= np.sqrt((out**2).sum(axis=(1, 2), keepdims=True)) + 1e-3
    return np.sqrt(out.reshape(len(patches), BINS * CELLS * CELLS))


def patch_features(octaves: Octaves, circles: Floats, x: Floats = PATCH_X, y: Floats = PATCH_Y) -> Image:
    """Describe the patch around every circle (cx, cy, r in pixels of the first octave).

    Returns
    -------
    ndarray of uint8, shape (N, BINS * CELLS * CELLS)
        ``gradient_histograms`` times 255.
    """
    lightness = sample(octaves.light, circles, x, y, SIDE / (2 * REACH))
    return np.round(255 * np.clip(gradient_histograms(lightness), 0, 1)).astype(np.uint8)


@cache
def looks() -> tuple[Regression, ...]:
    """Load what ships with the package, look by look.

    Readings are the shift of the centre (x, y), the natural logarithm of the ratio of the radii, and the lean
    from seat to top (x, y); lengths in radii of the rough circle.
    """
    with np.load(str(files("visual_aid.fasteners") / "refine.npz")) as arrays:
        return tuple(Regression.of(arrays, f"{look}.") for look in range(LOOKS))


def refined(octaves: Octaves, circles: Floats) -> Floats:
    """Move circles onto the fasteners that they roughly show.

    Parameters
    ----------
    octaves : Octaves
    circles : ndarray of float32, shape (N, 3)
        Centre x, y and radius in pixels of the first octave.

    Returns
    -------
    ndarray of float32, shape (N, 3)
    """
    for look in looks() if len(circles) else ():
        circles = shifted(circles, look(patch_features(octaves, circles)))
    return circles


def shifted(circles: Floats, readings: Floats) -> Floats:
    """Move circles by what was read off them, shape (N, 3)."""
    shift = np.clip(readings[:, :2], -FURTHEST, FURTHEST) * circles[:, 2:]
    growth = np.exp(np.clip(readings[:, 2:3], -MOST_GROWTH, MOST_GROWTH))
    return np.concatenate([circles[:, :2] + shift, circles[:, 2:] * growth], axis=1, dtype=np.float32)


def leans(octaves: Octaves, circles: Floats) -> Floats:
    """Read off from seat to top of every circled fastener, in its seen radii: shape (N, 2)."""
    return looks()[-1](patch_features(octaves, circles))[:, 3:]
