"""Others like a fastener that a person points out, among what the finder passed over."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence

from visual_aid.fasteners.find import circle_of, look_over, one_an_axis, posed
from visual_aid.fasteners.search import same_place
from visual_aid.model import Fastener
from visual_aid.photo import Photo

LIKE_SCORE = 0.02
"""Where a person has seen one fastener that the finder passed over, others are likelier than usual."""
LIKE_SIZE = 0.3
"""Natural logarithm of the ratio of the radii up to which two fasteners are like. On 28 real photos that the
finder was not trained on, with each fastener passed over pointed out in turn, the two bring back 21 of 100
others, and 45 of 100 brought back are fasteners. How alike the patches look added nothing to that."""


def others_like(photo: Photo, pointed: Fastener, known: Sequence[Fastener]) -> tuple[Fastener, ...]:
    """Find fasteners of about the size of one that was pointed out, among what the finder was unsure of.

    Parameters
    ----------
    pointed : Fastener
        In pixels of the full photo.
    known : sequence of Fastener
        All that are known, ``pointed`` among them or not; what stands on one of them is left out.

    Returns
    -------
    tuple of Fastener
        The surest first, ids above those known.
    """
    overview = look_over(photo)
    size = pointed.radius / photo.scale
    like = [f for f in overview.finds if f.score >= LIKE_SCORE and abs(math.log(f.radius / size)) < LIKE_SIZE]
    first = 1 + max((f.id for f in (*known, pointed)), default=0)
    taken = [circle_of(photo, f) for f in (*known, pointed)]
    found = [
        dataclasses.replace(f, id=number)
        for number, f in enumerate(posed(photo, overview.octaves, like), first)
        if not any(same_place(circle_of(photo, f), circle) for circle in taken)
    ]
    apart = one_an_axis([*known, *found])
    return tuple(f for f in found if any((f.cx, f.cy) == (a.cx, a.cy) for a in apart))
