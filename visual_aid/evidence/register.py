"""The one list of cues, and the search for all of them."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

from visual_aid.evidence import (
    clean_outlier,
    dust_trail,
    gap,
    missing_nut,
    paint_break,
    rust_trail,
    stripe_offset,
)
from visual_aid.evidence.frame import box_of
from visual_aid.evidence.scene import Measured, Measurement, Scene
from visual_aid.evidence.score import score
from visual_aid.model import Candidate, Cue, NotJudged

LEAST_SCORE = 0.05
"""Candidates less probable than this are left out of the record: nineteen in twenty would waste a look."""

SURE = 0.7
"""From this score on a fastener counts as one: training has seen the finder's slips above it too. With 0.5
scores are further from the shares that stand, 0.13 against 0.12 on the samples."""

MEASURE: Mapping[Cue, Callable[[Scene], Measured]] = MappingProxyType(
    {
        "rust_trail": rust_trail.measure,
        "dust_trail": dust_trail.measure,
        "paint_break": paint_break.measure,
        "clean_outlier": clean_outlier.measure,
        "stripe_offset": stripe_offset.measure,
        "gap": gap.measure,
        "missing_nut": missing_nut.measure,
    }
)


@dataclass(frozen=True, slots=True)
class Evidence:
    """What all cues found at the fasteners of a photo.

    Attributes
    ----------
    candidates : tuple of Candidate
        Most probable first, ids from 1.
    not_judged : tuple of NotJudged
        The cues on which the engine stayed silent, and why.
    best : mapping of Cue to float
        Highest score of each cue that measured anything, be it too low for a candidate: it still tells
        photos apart on which nothing better is seen.
    """

    candidates: tuple[Candidate, ...]
    not_judged: tuple[NotJudged, ...]
    best: Mapping[Cue, float]


def find_evidence(scene: Scene) -> Evidence:
    """Look for every cue at every fastener."""
    found: list[tuple[float, Cue, Measurement]] = []
    silent: list[NotJudged] = []
    best: dict[Cue, float] = {}
    for cue, measure in MEASURE.items():
        measured = measure(scene)
        silent.extend(measured.not_judged)
        for stands, m in zip(score(cue, measured.measurements), measured.measurements, strict=True):
            # What lies at a thing that may be no fastener may be no evidence either.
            probability = float(stands)
            if m.of_fastener and m.fastener is not None and m.fastener.score < SURE:
                probability *= m.fastener.score
            best[cue] = max(best.get(cue, 0.0), probability)
            if probability >= LEAST_SCORE:
                found.append((probability, cue, m))
    found.sort(key=lambda f: (-f[0], f[1], f[2].outline))
    candidates = tuple(
        Candidate(
            id=number,
            cue=cue,
            fastener=None if m.fastener is None else m.fastener.id,
            box=box_of(m.outline),
            outline=m.outline,
            score=probability,
            measures=m.measures,
            reason=m.reason,
        )
        for number, (probability, cue, m) in enumerate(found, 1)
    )
    return Evidence(candidates, tuple(silent), best)
