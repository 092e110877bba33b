"""Finds the fasteners of a photo: searched, looked at more closely, weighed again, then pose and groups."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from visual_aid.fasteners.beside import search_beside, worth_keeping
from visual_aid.fasteners.channels import ANY_SIZE, LARGEST, Radii
from visual_aid.fasteners.groups import group_fasteners
from visual_aid.fasteners.lean import lean_in
from visual_aid.fasteners.opinion import reconsidered
from visual_aid.fasteners.patches import Octaves, working_octaves
from visual_aid.fasteners.pose import pose
from visual_aid.fasteners.refine import refined
from visual_aid.fasteners.search import MIN_SCORE, Circle, Find, apart, circles_of, same_place, search
from visual_aid.fasteners.weights import load
from visual_aid.model import NOT_IN_PLACE, Fastener
from visual_aid.photo import Photo

SOUGHT: Radii = (10.0, LARGEST)
"""What is sought on photos, in pixels of the working image. The finder has learned smaller ones as well; to
seek them takes more time and finds no more: F1 is 0.622 instead of 0.626 on 28 real photos held out, 0.863
instead of 0.868 on the samples."""
LEAST_SEARCHED = 0.01
"""What the search scores lower is not looked at again: of 864 such finds on 89 photos held out none is a
fastener."""

LEAST_LEAN = 0.2
"""Lean in r below which a view is as good as head on, and nothing on one axis is seen apart."""
AXIS_FROM, AXIS_TO, AXIS_ASIDE = 0.15, 1.7, 0.4
"""Along its lean, in r, from here to here and no further aside, the end of a nut's stud may be seen: studs
stand out by up to two diameters (1.3 r each; ISO 4032 nuts are 1.5 diameters across flats)."""


@dataclass(frozen=True, slots=True)
class Overview:
    """What a photo shows before anything is left out: its CIELAB octaves, and finds apart, best first."""

    octaves: Octaves
    finds: list[Find]


def look_over(photo: Photo, radii: Radii = SOUGHT) -> Overview:
    """Search a photo, the costly part of finding fasteners, for those who need finds of several scores.

    Parameters
    ----------
    radii : (float, float), optional
        Smallest and largest radius sought, in pixels of the working image.
    """
    octaves = working_octaves(photo)
    finds = reconsidered(octaves, searched(octaves, radii))
    beside = closer(octaves, search_beside(octaves, load(), finds, radii))
    if beside:
        finds = _with(worth_keeping(reconsidered(octaves, beside), finds), finds)
    return Overview(octaves, finds)


def _with(more: Sequence[Find], finds: Sequence[Find]) -> list[Find]:
    """Put finds and more of them together, best first; the later ones stand for what they stand on."""
    left = [find for find in finds if not any(same_place(find.circle, other.circle) for other in more)]
    return sorted([*left, *more], key=lambda find: -find.score)


def searched(octaves: Octaves, radii: Radii = ANY_SIZE) -> list[Find]:
    """Search CIELAB octaves and look more closely at what is worth it; scores are the search's alone."""
    return closer(
        octaves, [find for find in search(octaves, load(), radii) if find.searched >= LEAST_SEARCHED]
    )


def find_fasteners(
    photo: Photo, min_score: float = MIN_SCORE, overview: Overview | None = None
) -> tuple[Fastener, ...]:
    """Find the nuts, bolt heads, bare studs and empty holes of a photo.

    Parameters
    ----------
    photo : Photo
    min_score : float, 0 to 1
        Finds scored lower are left out.
    overview : Overview, optional
        Of this photo, where it has been looked over already.

    Returns
    -------
    tuple of Fastener
        In pixels of the full photo, best score first, ids from 1, with lean, angle and group.
    """
    overview = overview or look_over(photo)
    finds = [f for f in overview.finds if f.score >= min_score]
    return group_fasteners(one_an_axis(posed(photo, overview.octaves, finds)))


def left_out(
    photo: Photo, overview: Overview, fasteners: Sequence[Fastener], least_searched: float
) -> tuple[Fastener, ...]:
    """Give what the search scored at least so high and stands on none of the fasteners, with lean.

    Ids go on from those of the fasteners; what stands there is not fitted, since it may be no nut.
    """
    known = [circle_of(photo, f) for f in fasteners]
    finds = [f for f in overview.finds if f.searched >= least_searched]
    first = 1 + max((f.id for f in fasteners), default=0)
    others = [
        _fastener(photo, number, find)
        for number, find in enumerate(finds, first)
        if not any(same_place(find.circle, circle) for circle in known)
    ]
    return lean_in(overview.octaves, photo, [*fasteners, *others])[len(fasteners) :]


def circle_of(photo: Photo, fastener: Fastener) -> Circle:
    """Give the circle of a fastener in pixels of the working image."""
    return photo.to_working(fastener.cx), photo.to_working(fastener.cy), fastener.radius / photo.scale


def _fastener(photo: Photo, number: int, find: Find) -> Fastener:
    full = photo.to_full(find.x), photo.to_full(find.y), find.radius * photo.scale
    return Fastener(number, find.kind, *full, score=find.score)


def one_an_axis(fasteners: Sequence[Fastener]) -> tuple[Fastener, ...]:
    """Keep one fastener an axis, the best, and number what is left from 1.

    Seen at a tilt, the end of a stud and the washer under a nut look like fasteners beside it. They lie on
    the nut's own axis: along its lean from seat to top.
    """
    given_up: set[int] = set()
    for nut in fasteners:
        if nut.seat is None:
            continue
        lean = np.array([nut.cx - nut.seat[0], nut.cy - nut.seat[1]]) / nut.radius
        length = float(np.hypot(*lean))
        if length < LEAST_LEAN:
            continue
        for other in fasteners:
            if other.id == nut.id or other.radius > nut.radius:
                continue
            away = np.array([other.cx - nut.cx, other.cy - nut.cy]) / nut.radius
            along = float(away @ lean) / length
            aside = abs(float(away[0] * lean[1] - away[1] * lean[0])) / length
            if AXIS_FROM < along < AXIS_TO and aside < AXIS_ASIDE:
                given_up.add(min(nut, other, key=lambda f: f.score).id)
    left = [f for f in fasteners if f.id not in given_up]
    return tuple(dataclasses.replace(f, id=number) for number, f in enumerate(left, 1))


def closer(octaves: Octaves, finds: Sequence[Find]) -> list[Find]:
    """Look at finds more closely, and leave out those that turn out to stand on a better one."""
    if not finds:
        return []
    circles = refined(octaves, circles_of(finds))
    return [
        dataclasses.replace(
            finds[i], x=float(circles[i, 0]), y=float(circles[i, 1]), radius=float(circles[i, 2])
        )
        for i in apart(circles, np.array([f.score for f in finds], np.float32))
    ]


def posed(photo: Photo, octaves: Octaves, finds: Sequence[Find]) -> tuple[Fastener, ...]:
    """Turn finds into fasteners in full-photo pixels, with lean, angle and fitted circle."""
    leaning = lean_in(octaves, photo, [_fastener(photo, i, find) for i, find in enumerate(finds, 1)])
    fasteners = []
    for find, fastener in zip(finds, leaning, strict=True):
        if fastener.kind in NOT_IN_PLACE:
            fasteners.append(fastener)
            continue
        seen = pose(octaves, find.x, find.y, find.radius, fastener.tilt, fastener.tilt_axis)
        fasteners.append(
            dataclasses.replace(
                fastener,
                cx=photo.to_full(seen.cx),
                cy=photo.to_full(seen.cy),
                radius=seen.radius * photo.scale,
                angle=seen.angle,
            )
        )
    return tuple(fasteners)
