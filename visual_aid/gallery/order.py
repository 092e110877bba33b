"""Orders in which examples teach: by cue, evidence beside its look-alike, faint to obvious."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from visual_aid.gallery.alike import distances, fastener_at
from visual_aid.model import SIGNS
from visual_aid.records.gallery import Looks
from visual_aid.records.teaching import GRADES, Example, Grade, Role

_ROLES: tuple[Role, ...] = ("evidence", "look_alike", "unsettled", "clean")
_DRAFT_LIMITS: tuple[tuple[float, Grade], ...] = ((0.8, "obvious"), (0.5, "moderate"))


def draft_grade(score: float, *, by_person: bool) -> Grade:
    """Guess how plain something is, for a trainer to correct.

    The engine's score tells how sure it is, not how plain the evidence: its limits are a first draft
    (common practice, no source). What a person marked has no score that means anything.
    """
    if by_person:
        return "moderate"
    return next((grade for limit, grade in _DRAFT_LIMITS if score >= limit), "faint")


def by_cue(examples: Sequence[Example]) -> list[Example]:
    """Sort by cue, within it evidence first, faint to obvious; clean photos come last."""
    return sorted(examples, key=lambda e: (_cue(e), _ROLES.index(e.role), *_strength(e)))


def ladder(examples: Sequence[Example]) -> list[Example]:
    """Sort evidence from faint to obvious, whatever the cue; nothing else climbs the ladder."""
    return sorted((e for e in examples if e.role == "evidence"), key=_strength)


def contrast_pairs(examples: Sequence[Example], looks: Looks) -> list[tuple[Example, Example]]:
    """Pair evidence with what resembles it and is none: of the same cue and the most like look.

    Each look-alike serves once, as long as there are others. Pairs come by cue, the most alike first; a
    pair of which a look is not known comes after those.
    """
    pairs: list[tuple[Example, Example]] = []
    for cue in SIGNS:
        evidence = [e for e in examples if e.cue == cue and e.role == "evidence"]
        others = [e for e in examples if e.cue == cue and e.role == "look_alike"]
        if evidence and others:
            pairs += _paired(evidence, others, looks)
    return pairs


def _paired(
    evidence: Sequence[Example], others: Sequence[Example], looks: Looks
) -> list[tuple[Example, Example]]:
    own = {i: at for i, e in enumerate(evidence) if (at := _look(e, looks)) is not None}
    theirs = {j: at for j, e in enumerate(others) if (at := _look(e, looks)) is not None}
    away = np.full((len(evidence), len(others)), np.inf)
    if own and theirs:
        known = distances(looks.vectors[[*own.values()]], looks.vectors[[*theirs.values()]])
        away[np.ix_([*own], [*theirs])] = known
    nearest = [divmod(int(k), len(others)) for k in np.argsort(away, axis=None, kind="stable")]
    pairs: list[tuple[Example, Example]] = []
    paired: set[int] = set()
    while len(paired) < len(evidence):  # once through, each look-alike serves once
        served: set[int] = set()
        for i, j in nearest:
            if i not in paired and j not in served:
                paired.add(i)
                served.add(j)
                pairs.append((evidence[i], others[j]))
    return pairs


def _look(example: Example, looks: Looks) -> int | None:
    return None if example.candidate is None else fastener_at(looks, example.photo, example.candidate.box)


def _cue(example: Example) -> int:
    return len(SIGNS) if example.cue is None else SIGNS.index(example.cue)


def _strength(example: Example) -> tuple[int, float, int]:
    score = 0.0 if example.candidate is None or example.source == "person" else example.candidate.score
    return GRADES.index(example.wording.grade), score, example.id
