"""The scale card: a printed pattern that gives millimetres and the plane it lies in.

A chequered board whose white squares carry fiducial marks. The marks say which square is which, however
much of the card is hidden; the places are taken from the crossings of the squares, which blur and a thick
print do not move.
"""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from visual_aid.measure.scale import FOCAL, FOCAL_SPREAD, Floats, Scale, project
from visual_aid.photo import Photo

COLUMNS, ROWS = 8, 5
MARK_SHARE = 0.72
"""Share of a white square's side that its mark takes: six cells, in a white rim."""


@dataclass(frozen=True, slots=True)
class Board:
    """One size of the card: the side of its squares in millimetres and the number of its first mark."""

    name: str
    square: float
    first: int

    @property
    def size(self) -> tuple[float, float]:
        """Width and height in millimetres."""
        return COLUMNS * self.square, ROWS * self.square


LARGE, SMALL = Board("large", 22.5, 0), Board("small", 11.25, COLUMNS * ROWS // 2)
BOARDS = (LARGE, SMALL)
"""The large card is for a wheel arch or an air spring, the small one for a rod end or a hole."""
RULER = 150.0
"""Millimetres of the ruler printed below the card, by which the print is checked."""
PRINT = 0.002
"""Share by which a print that was checked by its ruler may still be wrong: 0.3 mm in 150, what a rule
tells."""

LOOK_AT = (1600, 3200)
"""Longest sides at which marks are looked for, the cheap one first."""
LEAST_POINTS = 8
"""Corners and crossings without which no plane is fitted: two marks' corners. Four settle it, the others
tell how well."""
LEAST_MARKS = 2
LEAST_SQUARE = 7.0
"""Full pixels of a square's side under which the marks cannot be told."""
MOST_TILT = 70.0
_MIDDLE_SPREAD = 0.08
"""How far off the photo's middle the line of sight may be, as a share of the longer side: cropped photos."""
_CORNER_ERROR = 3.0
"""How many times the error of a crossing a mark's corner has: blur and exposure move corners, not
crossings."""
_FLOOR = 0.12
"""Full pixels of error that a crossing has at least: what rounding and noise leave of the finest fits."""
_MODEL = 0.004
"""Share of a length that the plane's fit may be wrong by beyond its scatter: bent paper, a curved lens."""

_PAPER = 0.4
"""Squares of paper around the card's pattern: more than its cutting line leaves, as scissors go."""

Grey = NDArray[Any]


@dataclass(frozen=True, eq=False, slots=True)
class Card:
    """A scale card found in a photo.

    Attributes
    ----------
    board : Board
        Which of the cards it is.
    scale : Scale
        The plane it lies in; millimetres run from the card's upper left corner, right and down.
    outline : ndarray of shape (4, 2)
        Its corners in full pixels, from the upper left one on, clockwise on the card.
    seen : float
        Share of its crossings that show.
    """

    board: Board
    scale: Scale
    outline: Floats
    seen: float


def black_parts(board: Board) -> list[tuple[float, float, float, float]]:
    """Give what is black on a card as rectangles (left, top, width, height) in millimetres.

    Returns
    -------
    list of tuple of 4 floats
        The same for the print and for drawn cards.
    """
    parts = []
    side = board.square
    cell = MARK_SHARE * side / 6
    inset = (1 - MARK_SHARE) / 2 * side
    for mark, (row, column) in enumerate(_white_squares(), board.first):
        bits = _dictionary().generateImageMarker(mark, 6, borderBits=1)
        for y, x in np.argwhere(bits == 0):
            parts.append((column * side + inset + x * cell, row * side + inset + y * cell, cell, cell))
    for row in range(ROWS):
        for column in range(row % 2, COLUMNS, 2):
            parts.append((column * side, row * side, side, side))
    return parts


def corners_of_marks(board: Board = LARGE) -> dict[int, Floats]:
    """Give the corners (4, 2) of each mark by its number, clockwise from the upper left, in millimetres."""
    return dict(_mark_corners(board))


def paper_of(scale: Scale) -> Floats | None:
    """Give the corners (4, 2) in full pixels of the paper that a card's pattern is printed on.

    Returns
    -------
    ndarray or None
        None where the scale does not come from a card.
    """
    if scale.outline is None:
        return None
    pattern = scale.to_mm(scale.outline)
    rim = _PAPER * float(np.ptp(pattern[:, 0])) / COLUMNS
    return project(scale.to_px, pattern + rim * np.sign(pattern - pattern.mean(axis=0)))


def _white_squares() -> list[tuple[int, int]]:
    return [(row, column) for row in range(ROWS) for column in range(COLUMNS) if (row + column) % 2]


def find_card(photo: Photo, ruler: float = RULER) -> Card | str:
    """Find the scale card in a photo.

    Parameters
    ----------
    ruler : float
        What the card's ruler measures on the print, in millimetres.

    Returns
    -------
    Card or str
        The card, or why there is none to measure with, in words.

    Raises
    ------
    ValueError
        The ruler is less than half or more than twice as long as it should be.

    References
    ----------
    Garrido-Jurado et al., Pattern Recognition 47 (2014), for the marks; from memory.
    """
    if not 0.5 * RULER < ruler < 2 * RULER:
        raise ValueError(
            f"a ruler of {ruler:g} mm cannot be right: measure all {RULER:g} mm of it on the print"
        )
    grey = cv2.cvtColor(photo.full, cv2.COLOR_RGB2GRAY)
    marks = _marks(grey)
    if not marks:
        return "no scale card is to be seen: lay the card flat beside the part, in its plane"
    found = [_measured(grey, board, mm, px, ruler) for board, (mm, px) in marks.items()]
    cards = [card for card in found if isinstance(card, Card)]
    return max(cards, key=lambda card: card.seen) if cards else found[0]


def _measured(grey: Grey, board: Board, mm: Floats, px: Floats, ruler: float) -> Card | str:
    """Settle the plane from the marks' corners, in millimetres and full pixels, and the crossings."""
    too_little = "too little of the scale card is to be seen: uncover more of it"
    rough: Floats | None = cv2.findHomography(mm, px, cv2.RANSAC, max(2.0, 0.15 * _side(board, mm, px)))[0]
    if rough is None:
        return too_little
    crossings_mm, crossings_px = _crossings(grey, board, rough)
    points_mm, points_px = np.concatenate([crossings_mm, mm]), np.concatenate([crossings_px, px])
    trust = np.concatenate([np.ones(len(crossings_mm)), np.full(len(mm), 1 / _CORNER_ERROR)])
    if len(points_mm) < LEAST_POINTS:
        return too_little
    fitted = fit_plane(points_mm, points_px, trust, (grey.shape[1], grey.shape[0]))
    if fitted is None:
        return "the scale card does not lie flat: fix it to something stiff"
    to_px, covariance = fitted
    grown = ruler / RULER
    to_px = to_px @ np.diag([1 / grown, 1 / grown, 1.0])
    change = np.array([1 / grown, 1 / grown, 1] * 2 + [1 / grown, 1 / grown])
    width, height = board.size
    outline = project(to_px, grown * np.array([(0, 0), (width, 0), (width, height), (0, height)]))
    scale = Scale(
        to_px,
        covariance * np.outer(change, change),
        math.hypot(PRINT, _MODEL),
        True,
        f"the {board.name} scale card",
        outline,
    )
    middle = outline.mean(axis=0)
    if grown * board.square / scale.mm_per_px((middle[0], middle[1])) < LEAST_SQUARE:
        return "the scale card is too small in the photo: go nearer"
    if scale.tilt((middle[0], middle[1])) > MOST_TILT:
        return (
            f"the scale card is seen more than {MOST_TILT:.0f} degrees from the side: take it from "
            f"nearer to head on"
        )
    return Card(board, scale, outline, len(crossings_mm) / ((COLUMNS - 1) * (ROWS - 1)))


def fit_plane(mm: Floats, px: Floats, trust: Floats, size: tuple[int, int]) -> tuple[Floats, Floats] | None:
    """Fit the plane of points to where they are seen, leaving out what misses.

    The plane is seen by a camera: with what phones' focal lengths are like, a small card settles its tilt,
    and with it lengths far beyond its rim, much better than eight free numbers of a homography would.

    Parameters
    ----------
    mm, px : ndarray of shape (N, 2)
        The same points on the plane and in the photo.
    trust : ndarray of shape (N,)
        Their weights: the inverse of their relative error.
    size : (int, int)
        Width and height of the photo.

    Returns
    -------
    homography, covariance : ndarray of shapes (3, 3) and (8, 8), or None
        None where too few points agree on any plane.
    """
    longest = max(size)
    middle = (size[0] - 1) / 2, (size[1] - 1) / 2
    inner = np.array([[FOCAL * longest, 0, middle[0]], [0, FOCAL * longest, middle[1]], [0, 0, 1]])
    flat = np.column_stack([mm, np.zeros(len(mm))])
    found, turns, shifts, _ = cv2.solvePnPGeneric(flat, px, inner, None, flags=cv2.SOLVEPNP_IPPE)
    cameras = []
    for turn, shift in zip(turns[:found], shifts[:found], strict=True):
        start = np.concatenate([turn.ravel(), shift.ravel(), [math.log(FOCAL * longest)], middle])
        settled = _settled(flat, px, trust, start, longest)
        if settled is not None:
            cameras.append(settled)
    if not cameras:
        return None
    # Far away or small, a card that leans to the left looks much like one that leans to the right: both are
    # laid beside the same scatter, that of the better one.
    spread = min(camera.spread for camera in cameras)
    cameras.sort(key=lambda camera: camera.cost(spread))
    best, *others = cameras
    camera, covariance = best.camera, best.covariance
    homography = _homography(camera)
    slope = np.empty((8, len(camera)))
    for k in range(len(camera)):
        step = np.zeros(len(camera))
        step[k] = 1e-5 * max(abs(camera[k]), 1e-2)
        ahead, behind = _homography(camera + step), _homography(camera - step)
        slope[:, k] = (ahead - behind).ravel()[:8] / (2 * step[k])
    doubt = slope @ covariance @ slope.T
    for other in others:
        chance = 1 / (1 + math.exp(min((other.cost(spread) - best.cost(spread)) / 2, 50.0)))
        off = (_homography(other.camera) - homography).ravel()[:8]
        doubt = doubt + chance * np.outer(off, off)
    return homography, doubt


@dataclass(frozen=True, eq=False, slots=True)
class _Settled:
    """A camera (turn, shift, logarithm of focal length, middle) that sees the points where they are.

    ``misses`` are pixels, weighted; ``odd`` is how unlike a phone it is, as a sum of squares.
    """

    camera: Floats
    covariance: Floats
    misses: Floats
    spread: float
    odd: float

    def cost(self, spread: float) -> float:
        """Give how badly it fits where points scatter by ``spread``; what misses widely counts alike."""
        return float((np.minimum(self.misses / spread, 6.0) ** 2).sum()) + self.odd


def _settled(flat: Floats, px: Floats, trust: Floats, camera: Floats, longest: int) -> _Settled | None:
    """Fit a camera by weighted least squares, from a start near it; None where too few points agree."""
    start = camera
    expected = np.array([FOCAL_SPREAD, _MIDDLE_SPREAD * longest, _MIDDLE_SPREAD * longest])
    held = np.zeros((3, 9))
    held[range(3), range(6, 9)] = 1 / expected
    damp = 1e-3
    misses, slope = _misses(flat, px, trust, camera)
    spread, kept, normal = np.inf, np.ones(len(px), bool), held.T @ held
    for turn in range(60):
        size = np.hypot(*misses.T)
        spread = max(1.4826 * float(np.median(size)) / 1.18, _FLOOR)
        # From afar everything misses: what stays behind shows once most of it has come near.
        kept = size < (3.5 if turn > 15 else 8.0) * spread
        if kept.sum() < 5:
            return None
        rows = np.vstack([slope.reshape(-1, 2, 9)[kept].reshape(-1, 9) / spread, held])
        off = np.concatenate([misses[kept].ravel() / spread, (start - camera)[6:] / expected])
        normal = rows.T @ rows
        change = np.linalg.solve(normal + damp * np.diag(np.diag(normal)), rows.T @ off)
        ahead = camera + change
        new_misses, new_slope = _misses(flat, px, trust, ahead)
        new_off = np.concatenate([new_misses[kept].ravel() / spread, (start - ahead)[6:] / expected])
        if not (new_off @ new_off <= off @ off):
            damp = min(10 * damp, 1e6)
            continue
        camera, misses, slope, damp = ahead, new_misses, new_slope, max(damp / 5, 1e-9)
        if turn > 18 and np.abs(change / np.maximum(np.abs(camera), 1e-3)).max() < 1e-7:
            break
    if not np.isfinite(camera).all() or camera[5] <= 0:
        return None
    odd = float((((start - camera)[6:] / expected) ** 2).sum())
    return _Settled(camera, np.linalg.inv(normal), np.hypot(*misses.T), spread, odd)


def _misses(flat: Floats, px: Floats, trust: Floats, camera: Floats) -> tuple[Floats, Floats]:
    """Give by how much points miss a camera's view of them (N, 2), and how that view changes (2 N, 9)."""
    inner = _inner(camera)
    seen, slope = cv2.projectPoints(flat, camera[:3], camera[3:6], inner, None)
    by_focal = inner[0, 0] * (slope[:, 6] + slope[:, 7])
    by_camera = np.column_stack([slope[:, :6], by_focal, slope[:, 8:10]])
    weight = np.repeat(trust, 2)[:, None]
    return (px - seen.reshape(-1, 2)) * trust[:, None], by_camera * weight


def _inner(camera: Floats) -> Floats:
    focal = math.exp(camera[6])
    return np.array([[focal, 0, camera[7]], [0, focal, camera[8]], [0, 0, 1]])


def _homography(camera: Floats) -> Floats:
    turned, _ = cv2.Rodrigues(camera[:3])
    homography: Floats = _inner(camera) @ np.column_stack([turned[:, 0], turned[:, 1], camera[3:6]])
    homography /= homography[2, 2]
    return homography


def _marks(grey: Grey) -> dict[Board, tuple[Floats, Floats]]:
    """Find the marks of each card; give their corners on the card and in full pixels."""
    best: dict[Board, tuple[Floats, Floats]] = {}
    longest = max(grey.shape)
    for side in LOOK_AT:
        shrink = min(1.0, side / longest)
        how = cv2.INTER_AREA
        seen = grey if shrink == 1 else cv2.resize(grey, None, fx=shrink, fy=shrink, interpolation=how)
        corners, ids, _ = _detector().detectMarkers(seen)
        numbers = np.empty(0, int) if ids is None else ids.ravel()
        places = [(c.reshape(4, 2).astype(float) + 0.5) / shrink - 0.5 for c in corners]
        for board in BOARDS:
            known = _mark_corners(board)
            pairs = [(known[int(i)], c) for i, c in zip(numbers, places, strict=True) if int(i) in known]
            if len(pairs) >= LEAST_MARKS and 4 * len(pairs) > len(best.get(board, ((),))[0]):
                best[board] = np.concatenate([m for m, _ in pairs]), np.concatenate([c for _, c in pairs])
        most = max((len(mm) // 4 for mm, _ in best.values()), default=0)
        if shrink == 1 or most >= COLUMNS * ROWS // 4:
            break
    return best


def _crossings(grey: Grey, board: Board, rough: Floats) -> tuple[Floats, Floats]:
    """Settle the crossings of the squares to a fraction of a pixel; give those that show."""
    inner = board.square * np.array([(c, r) for r in range(1, ROWS) for c in range(1, COLUMNS)], float)
    expected = project(rough, inner)
    side = [
        _side(board, m + board.square * _AROUND, project(rough, m + board.square * _AROUND)) for m in inner
    ]
    height, width = grey.shape
    kept_mm, kept_px = [], []
    for mm, place, px in zip(inner, expected, side, strict=True):
        # The white rim around a mark is 0.14 of a square; the window stays clear of the mark.
        half = int(np.clip(0.13 * px, 2, 12))
        reach = 2 * half + 3
        if not (reach < place[0] < width - reach and reach < place[1] < height - reach):
            continue
        settled = np.array(
            cv2.cornerSubPix(
                grey,
                place.astype(np.float32).reshape(1, 1, 2),
                (half, half),
                (-1, -1),
                (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_COUNT, 40, 0.005),
            ),
            float,
        ).reshape(2)
        off = settled - place
        if np.hypot(*off) < max(1.5, 0.12 * px) and _crosses(grey, board, rough, mm, off):
            kept_mm.append(mm)
            kept_px.append(settled)
    return np.array(kept_mm).reshape(-1, 2), np.array(kept_px).reshape(-1, 2)


_AROUND = np.array([(-0.5, -0.5), (0.5, -0.5), (0.5, 0.5), (-0.5, 0.5)])
_NEAR = np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)]) * 0.095


def _crosses(grey: Grey, board: Board, rough: Floats, mm: Floats, off: Floats) -> bool:
    """Tell whether two opposite squares are dark and two light: nothing lies over the crossing."""
    places = np.round(project(rough, mm + board.square * _NEAR) + off).astype(int)
    rows, columns = places[:, 1].clip(0, grey.shape[0] - 1), places[:, 0].clip(0, grey.shape[1] - 1)
    light = grey[rows, columns].astype(float)
    even = (round(mm[0] / board.square) + round(mm[1] / board.square)) % 2 == 0
    dark, bright = (light[[0, 2]], light[[1, 3]]) if even else (light[[1, 3]], light[[0, 2]])
    return bool(bright.min() - dark.max() > 12)


def _side(board: Board, mm: Floats, px: Floats) -> float:
    """Give the pixels of a square's side: the root of the ratio of areas about some points."""
    areas = [cv2.contourArea(cv2.convexHull(points.astype(np.float32))) for points in (mm, px)]
    return board.square * math.sqrt(areas[1] / max(areas[0], 1e-9))


@functools.cache
def _mark_corners(board: Board) -> dict[int, Floats]:
    inset = (1 - MARK_SHARE) / 2
    low, high = inset, 1 - inset
    inner = np.array([(low, low), (high, low), (high, high), (low, high)])
    return {
        mark: board.square * (inner + np.array([column, row]))
        for mark, (row, column) in enumerate(_white_squares(), board.first)
    }


@functools.cache
def _dictionary() -> cv2.aruco.Dictionary:
    return cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)


@functools.cache
def _detector() -> cv2.aruco.ArucoDetector:
    settings = cv2.aruco.DetectorParameters()
    settings.adaptiveThreshWinSizeMin, settings.adaptiveThreshWinSizeMax = 5, 45
    settings.adaptiveThreshWinSizeStep = 8
    settings.minMarkerPerimeterRate = 0.02
    settings.perspectiveRemovePixelPerCell = 6
    settings.errorCorrectionRate = 0.4
    settings.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    return cv2.aruco.ArucoDetector(_dictionary(), settings)
