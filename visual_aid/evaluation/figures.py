"""Figures of accuracy over judged photos."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence, Set
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from visual_aid.evaluation.judging import GRADES, EvidenceKey, Judged, JudgedPhoto
from visual_aid.model import CUES, Cue

FALSE_PER_PHOTO = (0.25, 0.5, 1.0)
FALSE_PER_PHOTO_GRADE = 0.5
FALSE_PER_PHOTO_CUE = 0.1
BINS = 10


@dataclass(frozen=True, slots=True)
class FastenerFigures:
    """How well nuts and bolt heads are found; errors are medians over the matched ones."""

    labels: int
    precision: float
    recall: float
    f1: float
    centre_error_r: float
    radius_error_share: float


@dataclass(frozen=True, slots=True)
class RecallFigures:
    """Share of labels found when the score threshold leaves so many false candidates a photo.

    ``recall`` maps false candidates a photo to recall (NaN where there are no labels).
    """

    labels: int
    recall: Mapping[float, float]


@dataclass(frozen=True, slots=True)
class Evaluation:
    """Every figure of one comparison. A figure that the labels cannot give is NaN.

    Attributes
    ----------
    evidence : RecallFigures
        Labelled evidence found by its own cue, all cues in one pool.
    places : RecallFigures
        Fasteners with evidence that any cue flagged.
    grades : mapping of str to RecallFigures
        As ``evidence``, by how plainly the picture shows it.
    cues : mapping of Cue to RecallFigures
        As ``evidence``, with only that cue's candidates in the pool.
    candidates : mapping of Cue to int
        How many candidates of each cue count.
    photos_auc : float
        Chance that a photo with evidence has the higher priority of two, one with and one without.
    first_third : float
        Share of the photos with evidence that the first third of the worklist holds, of those that fit
        into it.
    calibration_error : float
        Mean distance between the score and the share that stands, over ten bins of equal count.
    look_alikes_flagged : float
        Share of labelled look-alikes under a false candidate scored 0.5 or more.
    """

    photos: int
    photos_without_record: int
    photos_with_error: int
    fasteners: FastenerFigures
    evidence: RecallFigures
    places: RecallFigures
    grades: Mapping[str, RecallFigures]
    cues: Mapping[Cue, RecallFigures]
    candidates: Mapping[Cue, int]
    photos_auc: float
    first_third: float
    calibration_error: float
    look_alikes: int
    look_alikes_flagged: float

    def to_dict(self) -> dict[str, Any]:
        """Give the figures as plain lists and dicts; NaN, which JSON lacks, becomes None."""
        plain: dict[str, Any] = _without_nan(asdict(self))
        return plain


@dataclass(frozen=True, slots=True)
class Curve:
    """Precision against recall while the score threshold falls, one point for each candidate."""

    labels: int
    recall: tuple[float, ...]
    precision: tuple[float, ...]


def evaluate(photos: Sequence[JudgedPhoto]) -> Evaluation:
    """Work out all figures over judged photos (at least one)."""
    pool = [j for photo in photos for j in photo.candidates]
    labels = {key: cue for photo in photos for key, cue in photo.evidence.items()}
    places = {key[:2] for key in labels}
    n = len(photos)

    def recall(keys: Set[EvidenceKey], among: Sequence[Judged], *rates: float) -> RecallFigures:
        ranked = [(j.candidate.score, j.evidence) for j in among if j.evidence is None or j.evidence in keys]
        return RecallFigures(len(keys), {rate: recall_at(ranked, len(keys), rate * n) for rate in rates})

    of_cue = {cue: {key for key, c in labels.items() if c.cue == cue} for cue in CUES}
    of_grade = {grade: {key for key, c in labels.items() if c.grade == grade} for grade in GRADES}
    by_cue = {cue: [j for j in pool if j.candidate.cue == cue] for cue in CUES}
    anywhere = [(j.candidate.score, j.place) for j in pool]
    look_alikes = sum(photo.look_alikes for photo in photos)
    with_evidence = [bool(photo.evidence) for photo in photos]
    priorities = [photo.priority for photo in photos]
    return Evaluation(
        photos=n,
        photos_without_record=sum(photo.screening is None for photo in photos),
        photos_with_error=sum(
            photo.screening is not None and photo.screening.error is not None for photo in photos
        ),
        fasteners=_fastener_figures(photos),
        evidence=recall(labels.keys(), pool, *FALSE_PER_PHOTO),
        places=RecallFigures(
            len(places), {rate: recall_at(anywhere, len(places), rate * n) for rate in FALSE_PER_PHOTO}
        ),
        grades={grade: recall(of_grade[grade], pool, FALSE_PER_PHOTO_GRADE) for grade in GRADES},
        cues={cue: recall(of_cue[cue], by_cue[cue], FALSE_PER_PHOTO_CUE) for cue in CUES},
        candidates={cue: len(by_cue[cue]) for cue in CUES},
        photos_auc=ranking_chance(priorities, with_evidence),
        first_third=first_third(priorities, with_evidence),
        calibration_error=calibration_error(
            [j.candidate.score for j in pool], [j.evidence is not None for j in pool]
        ),
        look_alikes=look_alikes,
        look_alikes_flagged=_share(sum(photo.look_alikes_flagged for photo in photos), look_alikes),
    )


def recall_at(ranked: Iterable[tuple[float, object | None]], labels: int, allowed: float) -> float:
    """Give the share of labels found until ``allowed`` false candidates are exceeded, best score first.

    Parameters
    ----------
    ranked : iterable of (score, label or None)
        None marks a false candidate. A label that comes up again counts once.
    labels : int
        How many labels there are.

    Returns
    -------
    float
        0 to 1; NaN without labels.
    """
    if not labels:
        return math.nan
    false, found = 0, set()
    for _, label in sorted(ranked, key=lambda pair: -pair[0]):
        if label is not None:
            found.add(label)
            continue
        false += 1
        if false > allowed:
            break
    return len(found) / labels


def ranking_chance(scores: Sequence[float], positive: Sequence[bool]) -> float:
    """Give the area under the ROC curve: the chance that a positive outranks a negative, a tie counting half.

    NaN if one of the two sides is empty.
    """
    values, is_positive = np.asarray(scores, float), np.asarray(positive, bool)
    ahead = values[is_positive][:, None] - values[~is_positive][None, :]
    return float(np.mean((ahead > 0) + 0.5 * (ahead == 0))) if ahead.size else math.nan


def first_third(priorities: Sequence[float], with_evidence: Sequence[bool]) -> float:
    """Give the share of photos with evidence in the worklist's first third, of those that fit into it."""
    length = max(1, len(priorities) // 3)
    worklist = sorted(range(len(priorities)), key=lambda i: -priorities[i])
    return _share(sum(with_evidence[i] for i in worklist[:length]), min(length, sum(with_evidence)))


def calibration_error(scores: Sequence[float], stands: Sequence[bool]) -> float:
    """Give the expected calibration error over ten bins of equal count; NaN under twenty candidates."""
    if len(scores) < 2 * BINS:
        return math.nan
    score, outcome = np.asarray(scores), np.asarray(stands, float)
    bins = np.array_split(np.argsort(score), BINS)
    return float(sum(b.size * abs(score[b].mean() - outcome[b].mean()) for b in bins) / score.size)


def precision_recall(photos: Sequence[JudgedPhoto], cue: Cue | None = None) -> Curve:
    """Follow precision and recall of one cue, or of all cues in one pool, down the scores."""
    labels = sum(cue in (None, c.cue) for photo in photos for c in photo.evidence.values())
    pool = [j for photo in photos for j in photo.candidates if cue in (None, j.candidate.cue)]
    standing, found = 0, set()
    recall, precision = [], []
    for count, judged in enumerate(sorted(pool, key=lambda j: -j.candidate.score), start=1):
        if judged.evidence is not None:
            standing += 1
            found.add(judged.evidence)
        recall.append(_share(len(found), labels))
        precision.append(standing / count)
    return Curve(labels, tuple(recall), tuple(precision))


def _fastener_figures(photos: Sequence[JudgedPhoto]) -> FastenerFigures:
    found, missed, false = (sum(getattr(p, name) for p in photos) for name in ("found", "missed", "false"))
    precision = found / (found + false) if found + false else 0.0
    recall = found / (found + missed) if found + missed else 0.0
    centre = [e for photo in photos for e in photo.centre_errors]
    size = [e for photo in photos for e in photo.size_errors]
    return FastenerFigures(
        labels=found + missed,
        precision=precision,
        recall=recall,
        f1=2 * precision * recall / (precision + recall) if precision + recall else 0.0,
        centre_error_r=float(np.median(centre)) if centre else math.nan,
        radius_error_share=float(np.expm1(np.median(size))) if size else math.nan,
    )


def _share(part: int, whole: int) -> float:
    return part / whole if whole else math.nan


def _without_nan(value: Any) -> Any:  # noqa: ANN401 - walks plain data of any shape
    if isinstance(value, dict):
        return {str(key): _without_nan(item) for key, item in value.items()}
    return None if isinstance(value, float) and math.isnan(value) else value
