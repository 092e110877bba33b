"""What the finder found, completed by what is labelled: more examples to learn from."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from visual_aid.evaluation.judging import match_fasteners
from visual_aid.evaluation.truth import TruthPhoto
from visual_aid.fasteners.groups import group_fasteners
from visual_aid.model import IN_PLACE, Fastener

DISPLACED_R, RESIZED = 0.08, 0.07
"""Standard deviations of what labels are displaced by, in r, and of the logarithm of their radii."""


def with_labels(
    found: Sequence[Fastener], truth: TruthPhoto, rng: np.random.Generator
) -> tuple[Fastener, ...]:
    """Add the labelled fasteners that were not found, displaced as a finder would and read as nuts."""
    matched = set(match_fasteners(truth.fasteners, found).values())
    added = [
        Fastener(
            id=len(found) + 1 + j,
            kind=next((k for k in IN_PLACE if k == t.kind), "hex_nut"),
            cx=t.cx + rng.normal(0, DISPLACED_R) * t.radius,
            cy=t.cy + rng.normal(0, DISPLACED_R) * t.radius,
            radius=t.radius * float(np.exp(rng.normal(0, RESIZED))),
        )
        for j, t in enumerate(truth.fasteners)
        if j not in matched and not t.ignore
    ]
    return group_fasteners([*found, *added])
