"""How a fastener's body leans in the picture: from the top that is seen to the seat below it.

A nut's top edge stands about 1.2 r above the seat (ISO 4032: M16 has 24 mm across flats and is 14.8 mm
high). Seen at a tilt its base is displaced from its top by the height times the tangent of the tilt, in the
frame's units, across the tilt axis. The tilt ellipse leaves open to which of the two sides; the flats that
are seen on that side, and the stud on the other, tell.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from visual_aid.evidence.frame import LEFT, MOST_TILT, PIXELS_PER_RADIUS, SMOOTH, TOP, Frame

HEIGHT_OF_NUT = 1.2
"""Usual height of a nut's top above its seat in r (ISO 4032, M12 to M24: 1.20 to 1.23)."""

# Half sizes of the strip along the axis: sideways and towards the base, in r.
_SIDE, _ALONG = 1.5, 3.0
_COLUMNS, _ROWS = round(2 * _SIDE * PIXELS_PER_RADIUS), round(2 * _ALONG * PIXELS_PER_RADIUS)
_ASIDE = np.abs(-_SIDE + (np.arange(_COLUMNS) + 0.5) / PIXELS_PER_RADIUS)
_TOWARD = -_ALONG + (np.arange(_ROWS) + 0.5) / PIXELS_PER_RADIUS
_RIGHT = np.arange(_COLUMNS) >= _COLUMNS // 2
_MIDDLE = _ASIDE < 0.5
# Lateral places of the flats' silhouette (a hexagon is 1 to 1.155 r wide either way) and of the stud's
# (0.67 r: ISO 4032 nuts are 1.5 thread diameters across flats).
_FLATS = [(_ASIDE >= 0.9) & (_ASIDE < 1.25) & side for side in (_RIGHT, ~_RIGHT)]
_STUD = [(_ASIDE >= 0.55) & (_ASIDE < 0.78) & side for side in (_RIGHT, ~_RIGHT)]
# Log odds per r by which the seat is told to lie beside the top.
_WEIGHT_SEAT = 12.0
# Log odds per unit of difference between the two sides: logistic regression on labelled pictures.
_WEIGHT_FLATS, _WEIGHT_STUD, _WEIGHT_CORNERS = 2.4, -1.4, 2.1


@dataclass(frozen=True, slots=True)
class Stance:
    """The way from a fastener's top to its seat.

    Attributes
    ----------
    toward : (float, float)
        Unit vector in the frame from the top to the base.
    slope : float
        Frame units by which a point one r lower is displaced along ``toward``: the tangent of the tilt.
    certainty : float
        Log odds, at least 0, that ``toward`` is not the opposite of the true direction.
    """

    toward: tuple[float, float]
    slope: float
    certainty: float

    def at(self, height: float) -> tuple[float, float]:
        """Centre, in the frame, of what lies ``height`` (in r) below the top."""
        return height * self.slope * self.toward[0], height * self.slope * self.toward[1]

    def likely(self, height: float) -> tuple[float, float]:
        """As ``at``, the mean of both directions weighted by how probable they are."""
        return self.at(height * math.tanh(self.certainty / 2))

    @property
    def axes(self) -> NDArray[np.float64]:
        """Matrix from (aside, toward) to the frame's (u, v), both in r."""
        u, v = self.toward
        return np.array([[-v, u], [u, v]])


def find_stances(frames: Sequence[Frame]) -> tuple[Stance, ...]:
    """Estimate for every frame where its fastener's base lies.

    Fasteners of one photo mostly stand on one surface, so all vote on the direction of each: a vote counts
    as far as the two directions across the tilt axis agree.
    """
    if not frames:
        return ()
    across = np.radians([(f.fastener.tilt_axis or 0.0) + 90.0 for f in frames])
    ways = np.column_stack([np.cos(across), np.sin(across)])
    tilts = np.radians([min(f.fastener.tilt or 0.0, MOST_TILT) for f in frames])
    in_frame = [np.linalg.solve(f.matrix, way) for f, way in zip(frames, ways, strict=True)]
    units = [way / np.hypot(*way) for way in in_frame]
    own = np.array([_odds(f, unit, math.tan(t)) for f, unit, t in zip(frames, units, tilts, strict=True)])
    agreement = ways @ ways.T
    votes = (np.sign(agreement) * np.clip(2 * np.abs(agreement) - 1, 0, 1)) @ own
    votes += [_told(f, unit) for f, unit in zip(frames, units, strict=True)]
    stances = []
    for unit, tilt, vote in zip(units, tilts, votes, strict=True):
        sign = 1.0 if vote >= 0 else -1.0
        stances.append(Stance((sign * unit[0], sign * unit[1]), math.tan(tilt), abs(float(vote))))
    return tuple(stances)


def _told(frame: Frame, toward: NDArray[np.float64]) -> float:
    """Log odds from the fastener's own seat, where the finder has set it."""
    if frame.fastener.seat is None:
        return 0.0
    along = float(np.dot(frame.from_photo(*frame.fastener.seat), toward))
    return _WEIGHT_SEAT * min(max(along, -2.0), 2.0)


def _odds(frame: Frame, toward: NDArray[np.float64], slope: float) -> float:
    """Log odds that the base lies along ``toward`` rather than against it, from this frame alone."""
    axes = Stance((toward[0], toward[1]), slope, 0.0).axes
    start = axes @ (-_SIDE + 0.5 / PIXELS_PER_RADIUS, -_ALONG + 0.5 / PIXELS_PER_RADIUS)
    warp = np.column_stack([axes, (start - (LEFT, TOP)) * PIXELS_PER_RADIUS - 0.5])
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    light = cv2.warpAffine(frame.lab[..., 0], warp, (_COLUMNS, _ROWS), flags=flags)
    known = cv2.warpAffine(frame.valid.astype(np.float32), warp, (_COLUMNS, _ROWS), flags=flags) > 0.99
    light = cv2.GaussianBlur(light, (0, 0), SMOOTH * PIXELS_PER_RADIUS)
    sideways = np.abs(cv2.Sobel(light, cv2.CV_32F, 1, 0)) * known
    lengthways = np.abs(cv2.Sobel(light, cv2.CV_32F, 0, 1)) * known
    usual = float(sideways.mean() + lengthways.mean()) + 0.1
    body = _rows(0.25, 0.25 + max(0.35, slope))
    front = _rows(1.05, 1.15 + 0.8 * slope)

    def lines(rows: NDArray[np.bool_], places: list[NDArray[np.bool_]]) -> float:
        profile = sideways[rows].mean(axis=0)
        return float(np.mean([profile[place].max() for place in places]))

    def corners(rows: NDArray[np.bool_]) -> float:
        return float(sideways[rows][:, _MIDDLE].mean())

    difference = (
        _WEIGHT_FLATS * (lines(body, _FLATS) - lines(body[::-1], _FLATS))
        + _WEIGHT_STUD * (lines(body, _STUD) - lines(body[::-1], _STUD))
        + _WEIGHT_CORNERS * (corners(front) - corners(front[::-1]))
    )
    # Near head on the two sides differ by chance.
    return difference / usual * min(slope, 1.0)


def _rows(near: float, far: float) -> NDArray[np.bool_]:
    """Rows of the strip that lie between two distances towards the base."""
    return (near <= _TOWARD) & (far > _TOWARD)
