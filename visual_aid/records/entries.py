"""What the store hands out: frozen, plain, free of the database."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Literal, get_args

from visual_aid.model import Candidate, Screening

Outcome = Literal["confirmed", "ruled_out", "cannot_tell"]
OUTCOMES: tuple[Outcome, ...] = get_args(Outcome)

Source = Literal["engine", "person"]
Side = Literal["left", "right", "centre"]
SIDES: tuple[Side, ...] = get_args(Side)
OdometerUnit = Literal["km", "mi"]
ODOMETER_UNITS: tuple[OdometerUnit, ...] = get_args(OdometerUnit)

WEAK_SCORE = 0.25
"""Candidates under this score wait behind the others: three in four of them would be ruled out (common
practice, no source)."""

Stage = Literal["to_decide", "weak_only", "take_again", "nothing_flagged", "decided"]
"""Where a photo stands.

``to_decide``: at least one candidate that is not weak waits for a person. ``decided``: a person has
decided, and nothing but weak candidates waits. Of the others, ``take_again`` are not fit to judge,
``weak_only`` have weak candidates, and on ``nothing_flagged`` the engine stayed silent.
"""
STAGES: tuple[Stage, ...] = get_args(Stage)


@dataclass(frozen=True, slots=True)
class Visit:
    """One inspection of one unit."""

    id: int
    unit: str
    date: dt.date
    odometer: float | None
    odometer_unit: OdometerUnit | None
    inspector: str


@dataclass(frozen=True, slots=True)
class Position:
    """Where on a unit; axles count from 1 at the front."""

    id: int
    unit: str
    axle: int
    side: Side
    component: str


@dataclass(frozen=True, slots=True)
class Decision:
    """What a person said of a candidate.

    Attributes
    ----------
    outcome : str or None
        None where the decision before was taken back and none stood before that.
    supersedes : int or None
        The decision on the same candidate that this one took the place of.
    undoes : int or None
        The decision that this one took back, where it is an undo.
    """

    id: int
    candidate: int
    outcome: Outcome | None
    by: str
    note: str
    at: dt.datetime
    supersedes: int | None
    undoes: int | None


@dataclass(frozen=True, slots=True)
class StoredCandidate:
    """Something flagged on a stored photo, by the engine or by a person, and the decision that stands.

    ``id`` is the store's; it stays the same when a later screening flags the same thing again.
    ``current`` is False where the photo's last screening no longer flags it.
    """

    id: int
    photo: str
    source: Source
    candidate: Candidate
    current: bool
    decision: Decision | None

    @property
    def outcome(self) -> Outcome | None:
        """The outcome that stands, None where a person has yet to decide."""
        return None if self.decision is None else self.decision.outcome

    @property
    def is_weak(self) -> bool:
        """Whether this is the engine's, unlikely to stand, and nobody has decided on it."""
        return self.source == "engine" and self.outcome is None and self.candidate.score < WEAK_SCORE

    @property
    def is_finding(self) -> bool:
        """Whether this is a confirmed candidate or a mark that a person added and kept."""
        return self.outcome == "confirmed"


@dataclass(frozen=True, slots=True)
class StoredPhoto:
    """A photo in the store with its last screening.

    ``path`` is where the photo was found, or for a copy its place within the store's photo folder;
    ``Store.file`` gives the file either way.
    """

    id: str
    name: str
    path: str
    screening: Screening
    visit: Visit | None
    position: Position | None
    added_at: dt.datetime


@dataclass(frozen=True, slots=True)
class WorklistEntry:
    """One line of the worklist; ``undecided`` leaves out the ``weak``."""

    photo: StoredPhoto
    stage: Stage
    undecided: int
    weak: int
    decided: int
    findings: int
