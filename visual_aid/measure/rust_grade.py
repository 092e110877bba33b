"""Rust grade of a boxed area: the rusted share, and the grade that the public scales give to it.

Rust is told by its colour as a ratio of light, which shade and exposure do not change: iron oxides send back
two to five times as much red as green, road dust hardly more than daylight.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from visual_aid.colour import srgb_to_linear
from visual_aid.measure.measurement import CannotMeasure, Figure, Found, Mark, View
from visual_aid.measure.patch import Patch, cut
from visual_aid.measure.scale import Floats

SIDE = 900
SURE, LIKELY = 0.75, 0.44
"""Red against green, as a logarithm, from which a pixel is rust, and from which it is if it touches such a
one. Dust lies near 0.2, the yellowest iron oxides near 0.65, haematite near 1.5 (Munsell chips inside the
minerals' hue ranges, Schwertmann 1993); half-covered pixels between."""
YELLOW = 0.25
"""How much of green against blue counts with it: yellow oxides are hardly redder than dust, but lack blue."""
DARK = 0.004
"""Linear light under which colour is noise."""
AROUND = 12.0
"""Pixels around an edge from which the rust's and the coat's own light are taken, standard deviation."""
ALL_OVER = 0.97
PLAIN = 0.16
"""Spread of the red ratio under which a surface that is rust-coloured all over is paint, not rust."""

D610 = (
    (0.01, 10),
    (0.03, 9),
    (0.1, 8),
    (0.3, 7),
    (1.0, 6),
    (3.0, 5),
    (10.0, 4),
    (16.0, 3),
    (33.0, 2),
    (50.0, 1),
)
"""Rusted area in percent up to which a grade goes; over the last it is 0. ASTM D610-08 (2012), Table 1."""
ISO_4628_3 = ((0.0, 0), (0.05, 1), (0.5, 2), (1.0, 3), (8.0, 4), (45.0, 5))
"""Rusted area in percent of the reference pictures of degrees Ri 0 to Ri 5; the last is given as 40 to 50.
ISO 4628-3:2016, Table 1. The nearest picture is taken, by ratio (from memory)."""
LEAST_RI_1 = ISO_4628_3[1][0] / math.e
"""Rusted area in percent from which it is degree Ri 1 rather than Ri 0, whose picture has none, so that no
ratio tells which is nearer. Own, no source."""
UNSEEN = 0.0006
"""Share of the area whose rust may be too faint or too fine to be told, however sharp the rest is: tuned on
made pictures."""


def measure(views: Sequence[View]) -> Found:
    """Grade the rust of a boxed area.

    Raises
    ------
    CannotMeasure
        The area is too dark, or painted in the colour of rust.
    """
    view = views[0]
    patch = cut(view, SIDE)
    ratio, told = redness(patch.pixels)
    if told.mean() < 0.5:
        raise CannotMeasure("the area is too dark for colours to be told: light it and take it again")
    mask = settled(patch.pixels, rusted(ratio, told), ratio > SURE)
    share = float(mask[told].mean())
    if share > ALL_OVER and float(np.std(ratio[told])) < PLAIN:
        raise CannotMeasure(
            "the coat itself has the colour of rust: what is rust on it cannot be told from a photo"
        )
    error = math.hypot(_edge_error(mask), UNSEEN)
    percent = 100 * share
    d610, iso = d610_grade(percent), iso_4628_3_degree(percent)
    return Found(
        f"{percent:.{2 if percent < 1 else 1}f} % of the area is rusted, give or take {100 * error:.1g}: "
        f"ASTM D610 grade {d610}, ISO 4628-3 degree Ri {iso}; stain, mud and red primer look alike, and "
        "neither scale speaks of strength",
        (
            Figure("rusted_percent", percent, 100 * error),
            Figure("d610_grade", float(d610)),
            Figure("iso_4628_3_degree", float(iso)),
        ),
        outlines(mask, patch, "rust"),
    )


def d610_grade(percent: float) -> int:
    """Give the ASTM D610 grade of a rusted area in percent: 10 (best) to 0."""
    return next((grade for upto, grade in D610 if percent <= upto), 0)


def iso_4628_3_degree(percent: float) -> int:
    """Give the ISO 4628-3 degree Ri of a rusted area in percent: 0 (best) to 5."""
    if percent < LEAST_RI_1:
        return 0
    return min(ISO_4628_3[1:], key=lambda row: abs(math.log(percent / row[0])))[1]


def redness(pixels: NDArray[np.uint8]) -> tuple[NDArray[np.float32], NDArray[np.bool_]]:
    """Give how far a colour is that of iron oxide, and where it can be told.

    Parameters
    ----------
    pixels : ndarray of shape (H, W, 3), uint8
        sRGB.

    Returns
    -------
    ratio : ndarray of shape (H, W), float32
        Natural logarithm of ratios of linear light.
    told : ndarray of shape (H, W), bool
    """
    even = np.asarray(cv2.medianBlur(pixels, 3), np.uint8)
    light = cv2.GaussianBlur(srgb_to_linear(even), (0, 0), 0.8)
    told = light.max(axis=2) > DARK
    red, green, blue = (np.log(light[..., k] + DARK / 4) for k in range(3))
    ratio = (red - green) + YELLOW * np.minimum(green - blue - 0.3, 1.2)
    return np.asarray(ratio, np.float32), np.asarray(told)


def rusted(ratio: NDArray[np.float32], told: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Mark what is rust, given ``redness``: sure pixels, and likely ones that hang together with them."""
    likely = (ratio > LIKELY) & told
    count, labels = cv2.connectedComponents(likely.astype(np.uint8), connectivity=8)
    sure = np.bincount(labels[(ratio > SURE) & told], minlength=count) >= 3
    sure[0] = False
    mask: NDArray[np.bool_] = sure[labels]
    return mask


def settled(pixels: NDArray[np.uint8], mask: NDArray[np.bool_], sure: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Put the edges of rust where half of a pixel is covered.

    Light adds up and ratios of it do not: on a black coat a pixel with a little rust in it has nearly the
    colour of rust, on a white coat one needs to be nearly full. Red beyond green, in linear light, grows with
    the share covered, from what the coat nearby shows to what the rust nearby shows.

    Parameters
    ----------
    pixels : ndarray of shape (H, W, 3), uint8
        sRGB.
    mask : ndarray of shape (H, W), bool
        Rust by its colour.
    sure : ndarray of shape (H, W), bool
        Where that colour is plain.
    """
    light = srgb_to_linear(pixels)
    beyond = cv2.GaussianBlur(light[..., 0] - light[..., 1], (0, 0), 0.8)
    near = cv2.dilate(mask.astype(np.uint8), np.ones((5, 5), np.uint8)) > 0

    def level(weight: NDArray[np.float32]) -> NDArray[np.float32]:
        total = cv2.GaussianBlur(weight * beyond, (0, 0), AROUND)
        return np.asarray(total / (cv2.GaussianBlur(weight, (0, 0), AROUND) + 1e-7), np.float32)

    # Pixels with more rust in them count more: in small specks few are full.
    rust = level(np.asarray((mask & sure) * beyond.clip(0, None), np.float32))
    coat = level(np.asarray(~near, np.float32))
    return np.asarray(near & (beyond - coat > 0.5 * (rust - coat)) & (rust > coat))


def outlines(mask: NDArray[np.bool_], patch: Patch, label: str, most: int = 60) -> tuple[Mark, ...]:
    """Give the outlines of the largest parts of a mask, to be drawn on the photo."""
    found, _ = cv2.findContours(mask.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)
    largest = sorted(found, key=cv2.contourArea, reverse=True)[:most]
    points: list[Floats] = [cv2.approxPolyDP(c, 0.8, True)[:, 0].astype(float) for c in largest]
    return tuple(Mark(label, patch.outline(p)) for p in points if len(p) >= 3)


def _edge_error(mask: NDArray[np.bool_]) -> float:
    """Give the share of a third of a pixel along all edges: where an edge runs is a matter of that."""
    grown = cv2.dilate(mask.astype(np.uint8), np.ones((3, 3), np.uint8))
    return float((grown.astype(bool) & ~mask).mean()) / 3
