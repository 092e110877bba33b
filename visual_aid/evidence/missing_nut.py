"""An empty hole or a bare stud where a pattern of fasteners expects a nut.

Every fastener found beside a nut of like size is asked whether it is a nut at all, because a finder takes a
bore with its washer's mark for a nut easily; places that the finder was in doubt of, and those that a row or
ring expects and where nothing was found, are asked the same. A nut shows a hexagon with its own colour and
edges near one radius; a bore is dark inside and shows the plate outside; a bare stud is a round end with the
plate or a washer's mark around it.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from visual_aid.evidence.bores import APART, round_edges
from visual_aid.evidence.frame import (
    BEARING,
    LEFT,
    PIXELS_PER_RADIUS,
    RADIUS,
    TOP,
    Frame,
    build_frames,
)
from visual_aid.evidence.scene import Details, Measured, Measurement, Scene
from visual_aid.fasteners.beside import SURE
from visual_aid.fasteners.find import left_out
from visual_aid.fasteners.groups import beside, expected_places
from visual_aid.model import NOT_IN_PLACE, Fastener, NotJudged, Outline
from visual_aid.quantiles import median

Values = NDArray[np.floating | np.integer]

REACH = 2.4
RINGS = 16
LEAST_IN_VIEW = 0.75
"""Share of the disc of 1.2 nut radii that must lie inside the photo."""
LIKE_SIZE = 2.0
"""A stud is 2/3 of the radius of its nut (ISO 4032), a hole for it little more, and perspective adds 1.35."""
NO_PATTERN = "no place has a nut or bolt head of its size beside it"
LEAST_FIND_SCORE = 0.02
"""Places that the finder was less sure of are not asked: of 28 labelled places 22 are at this or more."""

ROOM = 1.8
"""Nearer to a sure nut than this, in radii, no other has room: two hexagons touch at 2, seats are not found
exactly. What looks vacant there is the nut's own shadow."""
ROUND_ASKED = 3
"""Round edges that nothing else has come upon are asked, so many a photo: of 15 vacant places that were not
asked before on 210 made photos the first three hold 6, the first ten 6 or 7."""

_SPAN = slice(round((-REACH - TOP) * PIXELS_PER_RADIUS), round((REACH - TOP) * PIXELS_PER_RADIUS))
_WIDE = slice(round((-REACH - LEFT) * PIXELS_PER_RADIUS), round((REACH - LEFT) * PIXELS_PER_RADIUS))
_R = RADIUS[_SPAN, _WIDE]
_B = np.radians(BEARING[_SPAN, _WIDE])
_RING = np.minimum((_R / REACH * RINGS).astype(np.int64), RINGS)
_OUT_U, _OUT_V = np.cos(_B), np.sin(_B)

_RIM = np.column_stack([np.cos(np.radians(np.arange(0, 360, 15))), np.sin(np.radians(np.arange(0, 360, 15)))])

_BORE = _R < 0.5
_INSIDE = _R < 0.65
_FACE = (_R > 0.8) & (_R < 1.1)
_PLATE = (_R > 1.65) & (_R < REACH)
_NEAR = _R < 1.2
_HEX_EDGE = (_R > 0.85) & (_R < 1.3)


@dataclass(frozen=True, slots=True)
class _Look:
    """What is seen at one place.

    ``rings`` holds the means of lightness (in 25 L*) and of log edge strength ring by ring, against the
    plate's, for comparison with other places.
    """

    features: dict[str, float]
    measures: dict[str, float]
    rings: NDArray[np.float64]

    def unlike(self, others: Sequence[_Look]) -> NDArray[np.float64]:
        """How its rings differ from the middle of other places'; NaN where there are none."""
        if not others:
            return np.full_like(self.rings, math.nan)
        away: NDArray[np.float64] = self.rings - median(np.array([other.rings for other in others]), axis=0)
        return away


@dataclass(frozen=True, slots=True)
class Place:
    """Where a nut is asked for.

    Attributes
    ----------
    frame : Frame
        The place rectified; its fastener is what stands there, or a stand-in of the size that is due.
    found : bool
        Whether it is a fastener of the scene.
    due : bool
        Whether a pattern expects a nut there, and nothing was found.
    nuts_beside : float
        Nuts and bolt heads of its size in reach, each counted by its score.
    """

    frame: Frame
    found: bool
    due: bool
    nuts_beside: float

    @property
    def fastener(self) -> Fastener | None:
        """What was found there."""
        return self.frame.fastener if self.found else None

    @property
    def outline(self) -> Outline:
        """A circle on the nut's rim, in full-photo pixels."""
        return self.frame.outline(_RIM)


def places_asked(scene: Scene) -> tuple[Place, ...]:
    """Give the places in view that have a nut or bolt head of their size beside them."""
    doubtful, due = _doubtful(scene), _due(scene)
    bare = _round(scene, [frame.origin for frame in (*doubtful, *due)])
    every = (
        *((frame, True, False) for frame in scene.frames),
        *((frame, False, False) for frame in (*doubtful, *bare)),
        *((frame, False, True) for frame in due),
    )
    places = [Place(*one, _nuts_beside(one[0].fastener, scene.fasteners)) for one in every]
    return tuple(place for place in places if place.nuts_beside and _in_view(place.frame))


def measure(scene: Scene) -> Measured:
    """Measure at every place beside a nut how far it looks like a hole or a bare stud.

    Returns
    -------
    Measured
        One measurement per place, see ``places_asked``; ``fastener`` is None where none was found.
        ``dark_de`` (CIELAB lightness of the plate above that of the middle), ``rim_de`` (colour difference of
        the nut's rim to the plate), ``hexagon_share`` (how far the edges around the rim follow a hexagon,
        0 to 1) and ``vacant_share`` (how much the place looks as labelled vacant ones do, 0 to 1, see
        ``evidence.vacancy``) are shown to people.
    """
    places = places_asked(scene)
    if not places:
        return Measured((), (NotJudged("missing_nut", NO_PATTERN),))
    looks = [_look(place.frame) for place in places]
    fasteners = [place.frame.fastener for place in places]
    patches = scene.patches(fasteners)
    vacant = scene.vacancy(fasteners, patches)
    measurements = []
    for i, (place, look) in enumerate(zip(places, looks, strict=True)):
        # Places where nothing was found are no reference for the others.
        others = [k for k, other in enumerate(places) if other.found and k != i]
        unlike = look.unlike([looks[k] for k in others])
        features = (
            look.features
            | _against(unlike, fasteners[i], [fasteners[k] for k in others])
            | {
                "nuts_beside": math.log1p(place.nuts_beside),
                "in_group": float(fasteners[i].group is not None),
                "nothing_found": float(place.due),
                "vacancy": float(vacant[i]),
            }
        )
        seen = look.measures | {"vacant_share": float(np.clip(vacant[i], 0.0, 1.0))}
        details = np.concatenate([look.rings, unlike, list(look.measures.values())]).astype(np.float32)
        measurements.append(_measurement(place, features, seen, details))
    return Measured(tuple(measurements))


def _nuts_beside(place: Fastener, fasteners: Sequence[Fastener]) -> float:
    """How many nuts and bolt heads of its size a place has beside it, each counted by its score."""
    return sum(f.score for f in beside(place, fasteners, LIKE_SIZE) if f.kind not in NOT_IN_PLACE)


def _against(unlike: NDArray[np.float64], place: Fastener, others: Sequence[Fastener]) -> dict[str, float]:
    """How a place differs from the others found, in its rings and in size; NaN where there are none."""
    away = np.abs(unlike)
    radii = np.array([f.radius for f in others])
    size = math.log(place.radius / float(median(radii))) if others else math.nan
    return {
        "unlike_lightness": float(away[:RINGS].mean()),
        "unlike_edges": float(away[RINGS:].mean()),
        "size_to_others": size,
    }


def _doubtful(scene: Scene) -> tuple[Frame, ...]:
    """Frames at what the finder saw beside a nut and was not sure enough of."""
    if scene.overview is None:
        return ()
    doubted = left_out(scene.photo, scene.overview, scene.fasteners, LEAST_FIND_SCORE)
    asked = [place for place in doubted if _nuts_beside(place, scene.fasteners)]
    frames = build_frames(scene.photo, asked, among=doubted)
    seats = _sure_seats(scene)
    return tuple(f for f in frames if all(math.hypot(*f.from_photo(*seat)) >= ROOM for seat in seats))


def _due(scene: Scene) -> tuple[Frame, ...]:
    """Frames at the places where a pattern expects a fastener, where its axis meets the surface."""
    places = expected_places(scene.fasteners)
    if not places:
        return ()
    leaning = [f for f in scene.fasteners if f.seat is not None]
    made = []
    for x, y, radius in places:
        if leaning:
            ways = [((f.seat[0] - f.cx) / f.radius, (f.seat[1] - f.cy) / f.radius) for f in leaning if f.seat]
            lean_x, lean_y = median(np.array(ways), axis=0) * radius
            x, y = x + float(lean_x), y + float(lean_y)
        made.append(_stand_in(scene, x, y, radius))
    return build_frames(scene.photo, made)


def _round(scene: Scene, asked: Sequence[tuple[float, float]]) -> tuple[Frame, ...]:
    """Frames at the roundest edges beside the nuts that nothing else has come upon."""
    edges = round_edges(scene.photo, scene.octaves, scene.fasteners)
    if edges is None:
        return ()
    seen = [at for f in scene.fasteners for at in ((f.cx, f.cy), f.seat) if at is not None]
    taken = [*((x, y, APART) for x, y in (*seen, *asked)), *((x, y, ROOM) for x, y in _sure_seats(scene))]
    nuts = [f for f in scene.fasteners if f.kind not in NOT_IN_PLACE]
    radius = float(median(np.array([f.radius for f in nuts])))
    places = edges.strongest(ROUND_ASKED, taken)
    return build_frames(scene.photo, [_stand_in(scene, x, y, radius) for x, y in places])


def _sure_seats(scene: Scene) -> list[tuple[float, float]]:
    """Where nuts and bolt heads surely stand on the surface, in full-photo pixels."""
    nuts = [f for f in scene.fasteners if f.score >= SURE and f.kind not in NOT_IN_PLACE]
    return [f.seat or (f.cx, f.cy) for f in nuts]


def _stand_in(scene: Scene, x: float, y: float, radius: float) -> Fastener:
    """Make a fastener of a place where none was found; the nearest tells its view, not what stands there."""
    near = min(scene.fasteners, key=lambda f: math.hypot(f.cx - x, f.cy - y))
    return dataclasses.replace(near, id=0, kind="hex_nut", cx=x, cy=y, radius=radius, seat=(x, y))


def _in_view(frame: Frame) -> bool:
    return bool(frame.valid[_SPAN, _WIDE][_NEAR].mean() >= LEAST_IN_VIEW)


def _ring_means(values: Values, weights: Values) -> NDArray[np.float64]:
    total = np.bincount(_RING.ravel(), (values * weights).ravel(), RINGS + 1)[:RINGS]
    count = np.bincount(_RING.ravel(), weights.ravel(), RINGS + 1)[:RINGS]
    means: NDArray[np.float64] = total / np.maximum(count, 1e-6)
    # Rings out of the photo go on as the last one seen.
    seen = np.maximum.accumulate(np.where(count > 4, np.arange(RINGS), 0))
    return means[seen]


def _look(frame: Frame) -> _Look:
    lab = frame.lab[_SPAN, _WIDE]
    valid = frame.valid[_SPAN, _WIDE]
    lightness = cv2.GaussianBlur(lab[..., 0], (0, 0), 1.2)
    gu = cv2.Sobel(lightness, cv2.CV_32F, 1, 0, scale=0.125)
    gv = cv2.Sobel(lightness, cv2.CV_32F, 0, 1, scale=0.125)
    strength = np.hypot(gu, gv)
    outwards = gu * _OUT_U + gv * _OUT_V
    weights = valid.astype(np.float32)

    plate = lab[_PLATE & valid]
    if len(plate) < 50:
        plate = lab[_PLATE]
    ground = median(plate, axis=0)
    ground_edges = float(median(strength[_PLATE])) + 0.3
    light = _ring_means(lightness, weights)
    edges = _ring_means(strength, weights)
    steps = _ring_means(outwards, weights)
    hexagon, pull = _hexagon(gu, gv, strength)
    # An edge all around at one radius pulls one way; a hexagon's or a stain's does not.
    agreed = np.abs(steps) / (edges + 0.3)
    # Few and telling: more features learn the pictures at hand by heart.
    features = {
        "read_as_missing": float(frame.fastener.kind in NOT_IN_PLACE),
        "inner_roundness_share": float(agreed[3:6].max()),
        "rim_roundness_share": float(agreed[6:9].max()),
        "hexagon_strength": hexagon * pull * math.log1p(float(np.mean(edges[6:9])) / ground_edges),
        "dark_share": float((lab[_INSIDE][:, 0] < ground[0] - 20.0).mean()),
    }
    measures = {
        "dark_de": float(ground[0] - median(lab[_BORE][:, 0])),
        "rim_de": float(np.sqrt(((median(lab[_FACE], axis=0) - ground) ** 2).sum())),
        "hexagon_share": hexagon,
    }
    rings = np.concatenate([(light - ground[0]) / 25.0, np.log((edges + 0.3) / ground_edges)])
    return _Look(features, measures, rings)


def _hexagon(gu: Values, gv: Values, strength: Values) -> tuple[float, float]:
    """Sixth circular harmonic of the rim's gradients that point along the radius, and the share that does.

    1 for the edges of a hexagon, about 0 for a circle's (orientation consistency of a regular polygon as in
    Barnes, Loy and Shaw, "The regular polygon detector").
    """
    u, v, g = gu[_HEX_EDGE], gv[_HEX_EDGE], strength[_HEX_EDGE]
    along = (u * _OUT_U[_HEX_EDGE] + v * _OUT_V[_HEX_EDGE]) / np.maximum(g, 1e-6)
    weight = g * np.clip((np.abs(along) - 0.7) / 0.2, 0.0, 1.0)
    turn = 6.0 * np.arctan2(v, u)
    total = float(weight.sum()) + 1e-6
    sixth = math.hypot(float((weight * np.cos(turn)).sum()), float((weight * np.sin(turn)).sum()))
    return sixth / total, total / (float(g.sum()) + 1e-6)


def _measurement(
    place: Place, features: dict[str, float], measures: dict[str, float], details: Details
) -> Measurement:
    dark, rim, hexagon = measures["dark_de"], measures["rim_de"], measures["hexagon_share"]
    darker = f"darker than the plate by {dark:.0f} of 100 in lightness"
    middle = darker if dark > 0 else "not darker than the plate"
    reason = (
        f"resembles known empty holes and bare studs to {100 * measures['vacant_share']:.0f} %; "
        f"middle {middle}, rim {rim:.0f} colour units off the plate, "
        f"edges follow a hexagon to {100 * hexagon:.0f} %"
    )
    # Whether it is a fastener is what is asked.
    return Measurement(
        place.fastener, features, measures, place.outline, reason, of_fastener=False, details=details
    )
