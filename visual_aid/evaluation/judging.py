"""Lay a screening record beside the labels of its photo: what stands, what is missed, what is false.

Definitions:

- A found fastener stands on a label when their centres lie within half the label's radius and their radii
  differ by less than a factor of 1.6. Each label is taken once, by the best-scored fastener that fits;
  each fastener takes the nearest label that is left.
- A candidate stands when there is labelled evidence of the same cue on its own fastener, or evidence of
  the same cue whose box overlaps its own: intersection over union at least 0.2, or at least half of the
  smaller box inside the other. Where several fit, the label on its own fastener comes first, then the
  label with the largest overlap.
- Neither way count: labels marked to be ignored, evidence labelled as not visible (nor a candidate that
  overlaps it), and anything false inside an ignored region.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from visual_aid.evaluation.truth import TruthCue, TruthFastener, TruthPhoto
from visual_aid.model import NOT_IN_PLACE, Box, Candidate, Fastener, Screening

NEAREST_RADII = 0.5
MOST_SIZE_RATIO = 1.6
LEAST_UNION_SHARE = 0.2
LEAST_SMALLER_SHARE = 0.5
CONFIDENT = 0.5
GRADES = ("faint", "moderate", "obvious")

EvidenceKey = tuple[str, int, int]
"""Photo name, index of the labelled fastener, index of the cue on it."""


@dataclass(frozen=True, slots=True)
class Judged:
    """A candidate beside the labels.

    Attributes
    ----------
    evidence : EvidenceKey or None
        The labelled evidence on which it stands; None if it is false.
    place : tuple of (str, int) or None
        Photo name and index of a labelled fastener with evidence of any cue at this place.
    """

    candidate: Candidate
    evidence: EvidenceKey | None
    place: tuple[str, int] | None


@dataclass(frozen=True, slots=True)
class JudgedPhoto:
    """One record beside the labels of its photo.

    Attributes
    ----------
    evidence : mapping of EvidenceKey to TruthCue
        Labelled evidence that counts.
    candidates : tuple of Judged
        Candidates that count.
    found, missed, false : int
        Nuts and bolt heads (studs and holes left out).
    centre_errors : tuple of float
        Distance of matched centres in label radii.
    size_errors : tuple of float
        Absolute logarithm of the ratio of matched radii.
    look_alikes, look_alikes_flagged : int
        Labelled look-alikes, and those that a false candidate scored 0.5 or more covers.
    """

    truth: TruthPhoto
    screening: Screening | None
    evidence: Mapping[EvidenceKey, TruthCue]
    candidates: tuple[Judged, ...]
    found: int
    missed: int
    false: int
    centre_errors: tuple[float, ...]
    size_errors: tuple[float, ...]
    look_alikes: int
    look_alikes_flagged: int

    @property
    def priority(self) -> float:
        """The record's priority; 0 where there is no record."""
        return self.screening.priority if self.screening else 0.0


def judge_all(truths: Iterable[TruthPhoto], screenings: Iterable[Screening]) -> list[JudgedPhoto]:
    """Judge records against labels, matched by the photo's file name, in the order of the labels."""
    by_name = {screening.photo.name: screening for screening in screenings}
    return [judge(truth, by_name.get(truth.name)) for truth in truths]


def judge(truth: TruthPhoto, screening: Screening | None) -> JudgedPhoto:
    """Judge one record (None: there is none, so everything is missed) against the labels of its photo."""
    fasteners = screening.fasteners if screening else ()
    candidates = screening.candidates if screening else ()

    labels = [t for t in truth.fasteners if t.kind not in NOT_IN_PLACE]
    nuts = [f for f in fasteners if f.kind not in NOT_IN_PLACE]
    pairs = match_fasteners(labels, nuts)
    taken = set(pairs.values())
    matched = [(nuts[i], labels[j]) for i, j in pairs.items() if not labels[j].ignore]

    all_pairs = match_fasteners(truth.fasteners, fasteners)
    on_label: dict[int | None, int] = {fasteners[i].id: j for i, j in all_pairs.items()}
    evidence = {}
    hidden = []
    for j, label in enumerate(truth.fasteners):
        for k, cue in enumerate(label.cues):
            if label.ignore or not cue.visible:
                hidden.append(cue.box)
            else:
                evidence[truth.name, j, k] = cue
    judged = []
    for candidate in candidates:
        verdict = _judge_candidate(candidate, on_label.get(candidate.fastener), evidence)
        x, y, width, height = candidate.box
        unjudgeable = _in_ignored(truth, x + width / 2, y + height / 2) or any(
            overlaps(candidate.box, box) for box in hidden
        )
        if verdict.evidence is not None or not unjudgeable:
            judged.append(verdict)
    stray = [j.candidate.box for j in judged if j.place is None and j.candidate.score >= CONFIDENT]
    return JudgedPhoto(
        truth=truth,
        screening=screening,
        evidence=evidence,
        candidates=tuple(judged),
        found=sum(not t.ignore for j, t in enumerate(labels) if j in taken),
        missed=sum(not t.ignore for j, t in enumerate(labels) if j not in taken),
        false=sum(not _in_ignored(truth, f.cx, f.cy) for i, f in enumerate(nuts) if i not in pairs),
        centre_errors=tuple(math.hypot(f.cx - t.cx, f.cy - t.cy) / t.radius for f, t in matched),
        size_errors=tuple(abs(math.log(f.radius / t.radius)) for f, t in matched),
        look_alikes=len(truth.look_alikes),
        look_alikes_flagged=sum(
            any(overlaps(box, alike.box) for box in stray) for alike in truth.look_alikes
        ),
    )


def match_fasteners(labels: Sequence[TruthFastener], found: Sequence[Fastener]) -> dict[int, int]:
    """Match found fasteners to labels one to one, best score first.

    Returns
    -------
    dict of int to int
        Index of the found fastener to index of the label.
    """
    left = set(range(len(labels)))
    pairs = {}
    for i in sorted(range(len(found)), key=lambda i: -found[i].score):
        near = [(_apart(found[i], labels[j]), j) for j in left if _like_size(found[i], labels[j])]
        apart, j = min(near, default=(math.inf, -1))
        if apart <= NEAREST_RADII:
            left.remove(j)
            pairs[i] = j
    return pairs


def overlap(a: Box, b: Box) -> tuple[float, float]:
    """Give the intersection of two boxes over their union, and over the smaller of the two."""
    width = min(a[0] + a[2], b[0] + b[2]) - max(a[0], b[0])
    height = min(a[1] + a[3], b[1] + b[3]) - max(a[1], b[1])
    if width <= 0 or height <= 0:
        return 0.0, 0.0
    both, area_a, area_b = width * height, a[2] * a[3], b[2] * b[3]
    return both / (area_a + area_b - both), both / min(area_a, area_b)


def overlaps(a: Box, b: Box) -> bool:
    """Tell whether two boxes mean the same place."""
    of_union, of_smaller = overlap(a, b)
    return of_union >= LEAST_UNION_SHARE or of_smaller >= LEAST_SMALLER_SHARE


def misses(photos: Sequence[JudgedPhoto]) -> list[tuple[JudgedPhoto, TruthCue]]:
    """Labelled evidence under no candidate of its cue scored 0.5 or more, the plainest first."""
    missed = [
        (photo, cue)
        for photo in photos
        for key, cue in photo.evidence.items()
        if not any(j.evidence == key and j.candidate.score >= CONFIDENT for j in photo.candidates)
    ]
    plainness = {grade: i for i, grade in enumerate(GRADES)}
    return sorted(missed, key=lambda m: -plainness.get(m[1].grade or "", -1))


def false_alarms(photos: Sequence[JudgedPhoto]) -> list[tuple[JudgedPhoto, Candidate]]:
    """Candidates on no labelled evidence of any cue, the most confident first."""
    false = [(photo, j.candidate) for photo in photos for j in photo.candidates if j.place is None]
    return sorted(false, key=lambda f: -f[1].score)


def _judge_candidate(
    candidate: Candidate, own_label: int | None, evidence: Mapping[EvidenceKey, TruthCue]
) -> Judged:
    near = [
        (key[1] == own_label, overlap(candidate.box, cue.box)[0], key)
        for key, cue in evidence.items()
        if key[1] == own_label or overlaps(candidate.box, cue.box)
    ]
    # A stable sort: of equals, the label that comes first in the file.
    near.sort(key=lambda n: n[:2], reverse=True)
    same_cue = [key for _, _, key in near if evidence[key].cue == candidate.cue]
    return Judged(
        candidate,
        evidence=same_cue[0] if same_cue else None,
        place=near[0][2][:2] if near else None,
    )


def _in_ignored(truth: TruthPhoto, x: float, y: float) -> bool:
    return any(rx <= x <= rx + w and ry <= y <= ry + h for rx, ry, w, h in truth.ignore_regions)


def _apart(found: Fastener, label: TruthFastener) -> float:
    return math.hypot(found.cx - label.cx, found.cy - label.cy) / label.radius


def _like_size(found: Fastener, label: TruthFastener) -> bool:
    return 1 / MOST_SIZE_RATIO < found.radius / label.radius < MOST_SIZE_RATIO
