"""How fasteners lean: from the seat on the surface to the top that is found, and so the tilt of the view.

Seen at a tilt, a nut's top lies beside its seat by up to a nut radius and more. Flats, studs and shadows
show which way (see ``refine``). Fasteners of one part stand parallel, so all of a photo settle one common
direction, and perspective adds what the distance from the photo's centre asks for. Where most of them sit on
a ring, the ellipse as which it is seen tells the tilt better than they do.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from visual_aid.fasteners.groups import rings
from visual_aid.fasteners.patches import Octaves, working_octaves
from visual_aid.fasteners.refine import leans
from visual_aid.fasteners.search import MIN_SCORE
from visual_aid.model import Fastener
from visual_aid.photo import Photo

HEIGHTS = {"hex_nut": 1.3, "flange_nut": 1.3, "bolt_head": 1.0, "bare_stud": 0.0, "empty_hole": 0.0}
"""Height of the top above the seat in r: ISO 4032 nuts (M12 to M24) are 1.20 to 1.23 r high and ISO 4014
heads 0.83 to 0.87 r, here with a washer of 0.1 to 0.2 r."""

OWN_SHARE = 0.25
"""Weight of a fastener's own reading against the photo's median (best of three tried on labelled photos)."""

WIDTHS_AWAY = 1.1
"""Usual distance of the part from the camera in widths of the picture: a phone's main lens, 26 to 28 mm
equivalent, sees 65 degrees across; close-ups are taken with a crop or a longer lens."""

# The regression draws long leans towards the mean; readings are stretched back by this.
STRETCH = 1.06
MOST_TILT = 60.0

LEAST_OF_RING, OFF_RING = 6, 0.03
"""So many fasteners that are off an ellipse by no more than that share of its radius, on the root mean
square, lie on a ring: five lie on one whatever they show."""
CONTRARY = 0.6
"""A ring's lean, each r of height, that is further than this from the fasteners' own readings is none of
theirs."""

Floats = NDArray[np.float32]


def add_lean(photo: Photo, fasteners: Sequence[Fastener]) -> tuple[Fastener, ...]:
    """Give every fastener its tilt, tilt axis and seat."""
    if not fasteners:
        return ()
    return lean_in(working_octaves(photo), photo, fasteners)


def lean_in(octaves: Octaves, photo: Photo, fasteners: Sequence[Fastener]) -> tuple[Fastener, ...]:
    """As ``add_lean``, with the CIELAB octaves of the working image at hand."""
    if not fasteners:
        return ()
    circles = np.array(
        [
            (photo.to_working(f.cx), photo.to_working(f.cy), max(f.radius / photo.scale, 2.0))
            for f in fasteners
        ],
        np.float32,
    )
    read = STRETCH * leans(octaves, circles)
    height = np.array([HEIGHTS[f.kind] for f in fasteners])
    outward = _outward(photo, np.array([(f.cx, f.cy) for f in fasteners]))
    stands = height > 0
    if not stands.any():
        return tuple(fasteners)
    normal = read[stands] / height[stands, None] - outward[stands]
    common = np.median(normal, axis=0)
    ringed = _ring_normal(photo, fasteners, common)
    slope = outward + (common if ringed is None else ringed)
    if ringed is None:
        slope[stands] += OWN_SHARE * (normal - common)
    return tuple(seated(fastener, way, h) for fastener, way, h in zip(fasteners, slope, height, strict=True))


def _outward(photo: Photo, points: NDArray[np.float64]) -> NDArray[np.float64]:
    """Give what perspective adds to the lean at points of the full photo (N, 2), in r per r of height."""
    width, height = photo.info.width, photo.info.height
    away: NDArray[np.float64] = (points - (width / 2, height / 2)) / (WIDTHS_AWAY * max(width, height))
    return away


def _ring_normal(
    photo: Photo, fasteners: Sequence[Fastener], read: NDArray[np.float64]
) -> NDArray[np.float64] | None:
    """Give the common lean, without perspective, of most fasteners on one ring; None where they are on none.

    A ring is seen as an ellipse, whose axes tell the tilt but for which side is up. That is ``read`` off the
    fasteners themselves.
    """
    sure = [f for f in fasteners if HEIGHTS[f.kind] > 0 and f.score >= MIN_SCORE]
    points = np.array([(f.cx, f.cy) for f in sure]).reshape(-1, 2)
    for ring in rings(sure):
        members = list(ring.members)
        off = float(np.sqrt((ring.off(points[members]) ** 2).mean()))
        if len(members) < max(LEAST_OF_RING, len(sure) / 2) or off > OFF_RING:
            continue
        outward = _outward(photo, ring.centre[None])[0]
        axes, (long, short), _ = np.linalg.svd(ring.matrix)
        cosine = short / long
        slope = axes[:, 1] * math.sqrt((1 - cosine**2) / cosine)
        normal: NDArray[np.float64] = (
            min(slope, -slope, key=lambda way: math.dist(way, read + outward)) - outward
        )
        return normal if math.dist(normal, read) < CONTRARY else None
    return None


def seated(fastener: Fastener, slope: NDArray[np.float64], height: float) -> Fastener:
    """Turn a lean (in r, seen, per r of height) into tilt, tilt axis and seat.

    A circle of radius R under tilt t has the seen radius r = R sqrt(cos t), and a height h R is seen as
    h R sin t: the lean for each r of height is sin t / sqrt(cos t).
    """
    lean = float(np.hypot(*slope))
    # Solve lean^2 = (1 - c^2) / c for c = cos t.
    cosine = (-(lean**2) + math.sqrt(lean**4 + 4)) / 2
    tilt = min(math.degrees(math.acos(min(cosine, 1.0))), MOST_TILT)
    axis = (math.degrees(math.atan2(slope[1], slope[0])) + 90.0) % 180.0
    shift = slope * height * fastener.radius
    return dataclasses.replace(
        fastener,
        tilt=tilt,
        tilt_axis=axis,
        seat=(fastener.cx - float(shift[0]), fastener.cy - float(shift[1])),
    )
