"""One nut much cleaner than its neighbours.

A nut that was replaced, turned or works against its washer loses the dirt that its neighbours carry.
Only neighbours can tell: all equally clean or equally dirty is no evidence, so fewer than three like
nuts are not judged. A highlight is bright but small; cleanness covers the whole face and the flats.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from visual_aid.evidence.frame import BEARING, RADIUS, Frame
from visual_aid.evidence.scene import Measured, Measurement, Scene, robust_centre_and_spread
from visual_aid.model import NotJudged

LEAST_NUTS = 3
"""A nut and two neighbours: with one neighbour nobody can say which of the two is the odd one."""

# Spread below which nuts of one group count as equal, in CIELAB units: camera noise and slight shading.
SPREAD_FLOOR = 2.0

_FACE = (RADIUS > 0.35) & (RADIUS < 0.85)
_FLATS = (RADIUS >= 0.85) & (RADIUS < 1.2)
_SURFACE = (RADIUS > 1.6) & (RADIUS < 2.6)
_PARTS = {"face": _FACE, "flats": _FLATS, "surface": _SURFACE}
_QUARTERS = [_FACE & (np.abs((BEARING - b + 180) % 360 - 180) < 45) for b in (0, 90, 180, -90)]


def measure(scene: Scene) -> Measured:
    """Compare every nut of the scene with the others."""
    frames = scene.in_place
    if len(frames) < LEAST_NUTS:
        return Measured(not_judged=(NotJudged("clean_outlier", "fewer than three like nuts"),))
    rows = [_colours(frame) for frame in frames]
    names = list(rows[0])
    table = np.array([[row[name] for name in names] for row in rows])
    return Measured(tuple(_compare(frame, names, table, i) for i, frame in enumerate(frames)))


def _colours(frame: Frame) -> dict[str, float]:
    out: dict[str, float] = {}
    light = frame.lab[..., 0]
    for part, mask in _PARTS.items():
        lab = frame.lab[mask & frame.valid]
        if len(lab) < 20:
            lab = frame.lab[mask]
        middle = np.median(lab, axis=0)
        low, high = np.percentile(lab[:, 0], (10, 90))
        out |= {
            f"{part}_l": float(middle[0]),
            f"{part}_a": float(middle[1]),
            f"{part}_b": float(middle[2]),
            f"{part}_chroma": float(np.hypot(middle[1], middle[2])),
            f"{part}_range_l": float(high - low),
            f"{part}_uneven_ab": float(np.median(np.abs(lab[:, 1:] - middle[1:]).sum(axis=1))),
        }
    out["darkest_quarter_l"] = float(min(np.median(light[q]) for q in _QUARTERS))
    out["face_to_surface_de"] = float(np.linalg.norm([out[f"face_{c}"] - out[f"surface_{c}"] for c in "lab"]))
    out["flats_to_surface_de"] = float(
        np.linalg.norm([out[f"flats_{c}"] - out[f"surface_{c}"] for c in "lab"])
    )
    return out


def _compare(frame: Frame, names: list[str], table: NDArray[np.float64], row: int) -> Measurement:
    own = dict(zip(names, table[row], strict=True))
    others = np.delete(table, row, axis=0)
    centre, spread = {}, {}
    for k, name in enumerate(names):
        centre[name], spread[name] = robust_centre_and_spread(others[:, k], SPREAD_FLOOR)
    features = dict(own)
    for name in names:
        # Modified z-score (Iglewicz and Hoaglin 1993), the nut itself left out of its own reference.
        features[f"{name}_z"] = (own[name] - centre[name]) / spread[name]
    for part in _PARTS:
        features[f"{part}_de"] = float(
            np.linalg.norm([own[f"{part}_{c}"] - centre[f"{part}_{c}"] for c in "lab"])
        )
    spread_de = float(np.median([np.linalg.norm([spread[f"face_{c}"] for c in "lab"])]))
    features |= {
        "face_less_surface_de": features["face_de"] - features["surface_de"],
        "face_odd": features["face_de"] / spread_de,
        "others": float(len(others)),
        "others_face_to_surface_de": centre["face_to_surface_de"],
    }
    lighter = own["face_l"] - centre["face_l"]
    difference = features["face_de"]
    tone = "lighter" if lighter > 0 else "darker"
    reason = (
        f"face differs by {difference:.0f} colour units from the middle of its {len(others)} neighbours, "
        f"whose own spread is {spread_de:.0f}; it is {abs(lighter):.0f} units {tone}"
    )
    measures = {
        "difference_de": difference,
        "flats_difference_de": features["flats_de"],
        "neighbours_spread_de": spread_de,
        "neighbours": float(len(others)),
    }
    circle = np.radians(np.arange(0, 360, 30))
    outline = frame.outline(1.15 * np.column_stack([np.cos(circle), np.sin(circle)]))
    return Measurement(frame.fastener, features, measures, outline, reason)
