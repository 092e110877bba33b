"""Records as rows: the worklist, and one row a candidate for a spreadsheet."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from visual_aid.model import Candidate, Quality, Screening
from visual_aid.outputs.palette import SIGN_STYLE
from visual_aid.records.entries import WEAK_SCORE, WorklistEntry


@dataclass(frozen=True, slots=True)
class WorklistRow:
    """One photo of the worklist.

    Attributes
    ----------
    priority : float or None
        None where the photo could not be screened.
    candidates, weaker : int
        Candidates likely enough to be shown, and those that are not: by ``WEAK_SCORE``, or of photos in the
        records by their threshold, with those on which nobody has decided.
    cue, score : str, float or None
        The best-scored candidate's cue in words and its score; None where nothing was flagged.
    reason : str
        Why that candidate was flagged; why the photo could not be screened or is hard to judge; else
        that nothing was flagged.
    """

    photo: str
    priority: float | None
    fasteners: int
    candidates: int
    weaker: int
    cue: str | None
    score: float | None
    reason: str


CANDIDATE_COLUMNS = (
    "photo",
    "sha256",
    "taken",
    "priority",
    "candidate",
    "cue",
    "score",
    "fastener",
    "x",
    "y",
    "width",
    "height",
    "reason",
)


def worklist(screenings: Iterable[Screening]) -> list[WorklistRow]:
    """Give photos in the order in which a person should look at them: highest priority first.

    Photos that could not be screened come last.
    """
    rows = []
    for screening in sorted(screenings, key=lambda s: (s.error is not None, -s.priority)):
        likely = sum(c.score >= WEAK_SCORE for c in screening.candidates)
        best = max(screening.candidates, key=lambda c: c.score, default=None)
        rows.append(_row(screening, screening.priority, best, likely, len(screening.candidates) - likely))
    return rows


def waiting(entries: Iterable[WorklistEntry]) -> list[WorklistRow]:
    """Give photos of the records in the order at hand, by the threshold and calibration in use there."""
    return [_row(e.photo.screening, e.priority, e.top, e.undecided, e.weak) for e in entries]


def candidates_csv(screenings: Iterable[Screening]) -> str:
    """Give one CSV row (RFC 4180) a candidate, in the order of the records, best score first.

    Pixels are of the full upright photo. A text that a spreadsheet would take for a formula is kept
    from it by a leading apostrophe.
    """
    text = io.StringIO()
    writer = csv.writer(text)
    writer.writerow(CANDIDATE_COLUMNS)
    for screening in screenings:
        photo = screening.photo
        for c in sorted(screening.candidates, key=lambda c: -c.score):
            row = [photo.path or photo.name, photo.sha256, photo.taken, round(screening.priority, 4)]
            row += [c.id, SIGN_STYLE[c.cue].label, round(c.score, 4), c.fastener]
            row += [round(v, 1) for v in c.box]
            writer.writerow(harmless([*row, c.reason]))
    return text.getvalue()


def harmless(row: Sequence[object]) -> list[object]:
    """Keep a spreadsheet from running a text: a leading = + - @, tab or return starts a formula there."""
    return [f"'{cell}" if isinstance(cell, str) and cell[:1] in tuple("=+-@\t\r") else cell for cell in row]


def _nothing(quality: Quality) -> str:
    """Say why a photo has no candidates: nothing was seen, or nothing could be."""
    problems = "; ".join(problem.say for problem in quality.problems)
    if not quality.usable:
        return f"Not judged: {problems}."
    return f"Nothing flagged. Hard to judge: {problems}." if problems else "Nothing flagged."


def _row(
    screening: Screening, priority: float, best: Candidate | None, candidates: int, weaker: int
) -> WorklistRow:
    if screening.error:
        reason = screening.error.say
    elif best:
        reason = best.reason
    else:
        reason = _nothing(screening.quality)
    return WorklistRow(
        photo=screening.photo.path or screening.photo.name,
        priority=None if screening.error else priority,
        fasteners=len(screening.fasteners),
        candidates=candidates,
        weaker=weaker,
        cue=SIGN_STYLE[best.cue].label if best else None,
        score=best.score if best else None,
        reason=reason,
    )
