"""A labelled photo as the finder sees it, and completed by its labels."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Protocol

import numpy as np

from visual_aid import __version__
from visual_aid.evaluation.judging import judge
from visual_aid.evaluation.truth import TruthPhoto
from visual_aid.evidence.frame import box_of
from visual_aid.fasteners.channels import ANY_SIZE
from visual_aid.fasteners.find import Overview, find_fasteners, look_over
from visual_aid.fasteners.lean import add_lean
from visual_aid.model import Candidate, Cue, Fastener, Outline, Quality, Screening
from visual_aid.photo import Photo
from visual_aid.training.completed import with_labels


class Marked(Protocol):
    """A place on a photo, of a fastener or not."""

    @property
    def fastener(self) -> Fastener | None:
        """What was found there."""

    @property
    def outline(self) -> Outline:
        """In full-photo pixels."""


def views(
    photo: Photo, truth: TruthPhoto, seed: int
) -> Iterator[tuple[Overview, tuple[Fastener, ...], bool]]:
    """Give what is found on a photo, and, if that is more, with what is labelled; the last tells which."""
    overview = look_over(photo, ANY_SIZE)
    found = find_fasteners(photo, overview=overview)
    yield overview, found, True
    completed = add_lean(photo, with_labels(found, truth, np.random.default_rng([seed, 1])))
    if len(completed) > len(found):
        yield overview, completed, False


def label(
    cue: Cue,
    places: Sequence[Marked],
    fasteners: Sequence[Fastener],
    photo: Photo,
    truth: TruthPhoto,
) -> list[bool | None]:
    """Say of every place whether it is labelled evidence; None where it counts neither way."""
    candidates = tuple(
        Candidate(i, cue, m.fastener.id if m.fastener else None, box_of(m.outline), m.outline, 0.5)
        for i, m in enumerate(places)
    )
    record = Screening(__version__, photo.info, Quality(True), tuple(fasteners), candidates)
    verdicts = {j.candidate.id: j.evidence is not None for j in judge(truth, record).candidates}
    return [verdicts.get(c.id) for c in candidates]
