"""What the store hands out: frozen, plain, free of the database."""

from __future__ import annotations

import dataclasses
import datetime as dt
import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal, get_args

from visual_aid.model import Candidate, Change, Cue, Screening, Sign

Outcome = Literal["confirmed", "ruled_out", "cannot_tell"]
OUTCOMES: tuple[Outcome, ...] = get_args(Outcome)

Source = Literal["engine", "person"]
Side = Literal["left", "right", "centre"]
SIDES: tuple[Side, ...] = get_args(Side)
Spot = tuple[int, Side, str]
"""A place on any unit: axle, side, component."""
OdometerUnit = Literal["km", "mi"]
ODOMETER_UNITS: tuple[OdometerUnit, ...] = get_args(OdometerUnit)

WEAK_SCORE = 0.25
"""Candidates under this score wait behind the others: three in four of them would be ruled out (common
practice, no source). A store starts with it; its people may set another working threshold."""

Stage = Literal["to_decide", "weak_only", "take_again", "nothing_flagged", "decided"]
"""Where a photo stands.

``to_decide``: at least one candidate that is not weak waits for a person. ``decided``: a person has
decided, and nothing but weak candidates waits. Of the others, ``take_again`` are not fit to judge,
``weak_only`` have weak candidates, and on ``nothing_flagged`` the engine stayed silent.
"""
STAGES: tuple[Stage, ...] = get_args(Stage)

Fitness = Literal["good", "hard", "unusable"]
"""How well a photo can be judged: without a problem; with problems; not at all."""
FITNESSES: tuple[Fitness, ...] = get_args(Fitness)


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

    @property
    def spot(self) -> Spot:
        """The place, whichever unit it is on."""
        return self.axle, self.side, self.component


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
    ``current`` is False where the photo's last screening no longer flags it. The score is the one that
    the calibration in use gives; ``threshold`` is the store's working threshold. What a comparison
    flagged has the id of the photo that it was compared with in ``before``.
    """

    id: int
    photo: str
    source: Source
    candidate: Candidate
    current: bool
    decision: Decision | None
    threshold: float = WEAK_SCORE
    before: str | None = None

    @property
    def outcome(self) -> Outcome | None:
        """The outcome that stands, None where a person has yet to decide."""
        return None if self.decision is None else self.decision.outcome

    @property
    def is_weak(self) -> bool:
        """Whether this is the engine's, unlikely to stand, and nobody has decided on it."""
        return self.source == "engine" and self.outcome is None and self.candidate.score < self.threshold

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
    """One line of the worklist; ``undecided`` leaves out the ``weak``.

    Attributes
    ----------
    priority : float
        Chance that at least one candidate stands, by the calibration in use.
    top : Candidate or None
        The likeliest candidate of the last screening, with its score by the calibration in use.
    like : int
        Shots of the same burst for which this photo stands.
    """

    photo: StoredPhoto
    stage: Stage
    undecided: int
    weak: int
    decided: int
    findings: int
    priority: float = 0.0
    top: Candidate | None = None
    like: int = 0


LineKind = Literal[
    "hand_check", "torque_sheet", "follow_up", "placed", "visit_edit", "joint", "duty_done", "interval"
]
"""What a line of the logbook is about.

``hand_check``, ``torque_sheet`` and ``follow_up`` belong to a finding or a visit; ``placed`` says where on
the unit a photo was taken; ``visit_edit`` what was put right about a visit; ``joint``, ``duty_done`` and
``interval`` are a unit's: a joint that was disturbed, a duty carried out, an interval of the maker's.
"""


@dataclass(frozen=True, slots=True)
class Line:
    """A line of the logbook.

    Attributes
    ----------
    unit : str or None
        Number of the unit that it is about.
    visit, photo, candidate : optional
        Ids of what it is about.
    body : mapping
        What was written down, as plain JSON; empty where a line before was taken back.
    supersedes : int or None
        The line that this one took the place of.
    """

    id: int
    kind: LineKind
    unit: str | None
    visit: int | None
    photo: str | None
    candidate: int | None
    body: Mapping[str, Any]
    by: str
    at: dt.datetime
    supersedes: int | None


@dataclass(frozen=True, slots=True)
class Event:
    """One thing that a person did, of whatever kind, for the list of all of them.

    Attributes
    ----------
    kind : str
        ``decision``, or the kind of the logbook's line.
    about : str
        The photo's name, or empty.
    sign : str or None
        The cue or kind of wear that it is about.
    body : mapping
        ``outcome`` and ``note`` of a decision, else what the line holds.
    takes_back : bool
        Whether it took back what was written before.
    """

    at: dt.datetime
    by: str
    kind: Literal["decision"] | LineKind
    unit: str | None
    about: str
    sign: Sign | None
    body: Mapping[str, Any]
    takes_back: bool


@dataclass(frozen=True, slots=True)
class Pattern:
    """How often one sign was found at one place of one unit, on how many visits, and when last.

    ``axle``, ``side`` and ``component`` are None where nobody said where on the unit it was.
    """

    unit: str
    axle: int | None
    side: Side | None
    component: str | None
    sign: Sign
    findings: int
    visits: int
    last: dt.date


class OvertakenError(Exception):
    """Somebody else decides or has decided on the same thing meanwhile; the message says who."""


@dataclass(frozen=True, slots=True)
class Lease:
    """A photo that is kept for one person until a moment."""

    photo: str
    by: str
    until: dt.datetime


@dataclass(frozen=True, slots=True)
class Bulk:
    """Many candidates ruled out at once: what to undo it by, and how far it went.

    ``held`` counts photos that were left alone because somebody else is at work on them.
    """

    id: str
    photos: int
    candidates: int
    held: int


@dataclass(frozen=True, slots=True)
class Filter:
    """Which photos of a worklist to show; what is left empty filters nothing.

    Attributes
    ----------
    units : tuple of str
        Unit numbers.
    visit, component : int or str
        One visit, by its id; one component of a position.
    axle, side : int or str
        Of the position.
    cues : tuple of str
        Photos on which at least one of these is flagged, weak ones left out, or confirmed.
    since, until : date
        Day of the visit, or where none is known the day on which the photo was taken; both included.
    fitness : tuple of str
    every_shot : bool
        Show also the shots of a burst for which another photo stands.
    """

    units: tuple[str, ...] = ()
    visit: int | None = None
    axle: int | None = None
    side: Side | None = None
    component: str | None = None
    cues: tuple[Cue | Change, ...] = ()
    since: dt.date | None = None
    until: dt.date | None = None
    fitness: tuple[Fitness, ...] = ()
    every_shot: bool = False


EVERYTHING = Filter()


@dataclass(frozen=True, slots=True)
class Calibration:
    """Scores put right by a shop's own decisions, by a straight line between their logits.

    The line rises, so the order of candidates is kept (Platt, Probabilistic Outputs for Support Vector
    Machines, 1999). ``decided`` is the number of decisions that it was learned from.
    """

    name: str
    slope: float
    intercept: float
    decided: int
    by: str
    at: dt.datetime

    def __call__(self, score: float) -> float:
        """Give the chance that a candidate of this raw score stands."""
        score = min(max(score, 1e-6), 1 - 1e-6)
        return 1 / (1 + math.exp(-self.slope * math.log(score / (1 - score)) - self.intercept))


@dataclass(frozen=True, slots=True)
class Tuning:
    """The working threshold and the calibration in use."""

    threshold: float = WEAK_SCORE
    calibration: Calibration | None = None

    def score(self, raw: float) -> float:
        """Give the score that counts."""
        return raw if self.calibration is None else self.calibration(raw)

    def candidate(self, raw: Candidate) -> Candidate:
        """Give a candidate with the score that counts."""
        return (
            raw if self.calibration is None else dataclasses.replace(raw, score=self.calibration(raw.score))
        )
