"""Tell which candidates of two screenings of a photo are the same thing."""

from __future__ import annotations

from collections.abc import Sequence

from visual_aid.model import Box, Candidate

SAME_OVERLAP = 0.5
"""Least overlap (intersection over union of the boxes) at which two screenings flag the same thing;
the customary limit in object detection (Everingham and others, The PASCAL VOC Challenge, 2010)."""


def match_candidates(before: Sequence[Candidate], now: Sequence[Candidate]) -> dict[int, int]:
    """Pair candidates of two screenings that flag the same thing, largest overlap first.

    Returns
    -------
    dict of int to int
        ``Candidate.id`` in ``now`` to index in ``before``; each at most once.
    """
    pairs = sorted(
        (
            (_overlap(old.box, new.box), index, new.id)
            for index, old in enumerate(before)
            for new in now
            if old.cue == new.cue
        ),
        key=lambda pair: (-pair[0], pair[1], pair[2]),
    )
    same: dict[int, int] = {}
    for overlap, index, number in pairs:
        if overlap >= SAME_OVERLAP and number not in same and index not in same.values():
            same[number] = index
    return same


def _overlap(a: Box, b: Box) -> float:
    width = min(a[0] + a[2], b[0] + b[2]) - max(a[0], b[0])
    height = min(a[1] + a[3], b[1] + b[3]) - max(a[1], b[1])
    both = max(0.0, width) * max(0.0, height)
    either = a[2] * a[3] + b[2] * b[3] - both
    return both / either if either > 0 else 0.0
