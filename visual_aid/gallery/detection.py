"""How well someone tells evidence from none: hits, false alarms, sensitivity and criterion.

The task is yes or no, trial by trial. With z the inverse of the normal distribution function, H the share
of hits among trials with evidence and F the share of false alarms among trials without:

    d' = z(H) - z(F)        c = -(z(H) + z(F)) / 2

d' is 0 for someone who guesses. c is above 0 for someone who overlooks rather than raises a false alarm,
below 0 for the opposite, 0 for someone who errs to both sides alike.

References
----------
Macmillan, Creelman: Detection Theory, a User's Guide, 2nd ed. (2005), chapters 1, 2 and 13.
Stanislaw, Todorov: Calculation of signal detection theory measures, Behavior Research Methods,
Instruments, & Computers 31 (1999), 137-149.
Hautus: Corrections for extreme proportions, same journal 27 (1995), 46-51.
Gourevitch, Galanter: A significance test for one parameter isosensitivity functions, Psychometrika 32
(1967), 25-33.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from statistics import NormalDist

_NORMAL = NormalDist()
SPREAD_95 = _NORMAL.inv_cdf(0.975)
"""Half the width of a 95 % interval in standard errors."""


@dataclass(frozen=True, slots=True)
class Counts:
    """What came of the trials: with evidence (hits, misses) and without (false alarms, rejections)."""

    hits: int = 0
    misses: int = 0
    false_alarms: int = 0
    rejections: int = 0

    @property
    def with_evidence(self) -> int:
        """Number of trials with evidence."""
        return self.hits + self.misses

    @property
    def without(self) -> int:
        """Number of trials without evidence."""
        return self.false_alarms + self.rejections

    def __add__(self, other: Counts) -> Counts:
        """Give the counts of two runs of trials by the same person."""
        return Counts(
            self.hits + other.hits,
            self.misses + other.misses,
            self.false_alarms + other.false_alarms,
            self.rejections + other.rejections,
        )


@dataclass(frozen=True, slots=True)
class Estimate:
    """A figure and its standard error."""

    value: float
    error: float

    @property
    def interval(self) -> tuple[float, float]:
        """The 95 % interval."""
        return self.value - SPREAD_95 * self.error, self.value + SPREAD_95 * self.error


@dataclass(frozen=True, slots=True)
class Skill:
    """Sensitivity d' and criterion c."""

    sensitivity: Estimate
    criterion: Estimate


def total(counts: Iterable[Counts]) -> Counts:
    """Add up the counts of one person's runs."""
    return sum(counts, Counts())


def rates(counts: Counts) -> tuple[float, float]:
    """Give the shares of hits and false alarms by the log-linear rule.

    Half a trial is added to hits and to false alarms and one to the trials of each kind, whether or not a
    share is 0 or 1 (Hautus 1995): d' of a clean sheet is finite then, and its bias smallest.
    """
    return (counts.hits + 0.5) / (counts.with_evidence + 1), (counts.false_alarms + 0.5) / (
        counts.without + 1
    )


def skill_at(hit_rate: float, false_alarm_rate: float) -> tuple[float, float]:
    """Give d' and c at given shares, both between 0 and 1 exclusive."""
    hit, false = _NORMAL.inv_cdf(hit_rate), _NORMAL.inv_cdf(false_alarm_rate)
    return hit - false, -(hit + false) / 2


def skill(counts: Counts) -> Skill | None:
    """Estimate d' and c from counts; None without trials of both kinds.

    The standard errors are those of Gourevitch and Galanter (1967) at the log-linear shares:

        var d' = H (1 - H) / (n phi(z(H))^2) + F (1 - F) / (m phi(z(F))^2),   var c = var d' / 4

    with phi the normal density and n and m the numbers of trials of the two kinds.
    """
    if not counts.with_evidence or not counts.without:
        return None
    hit, false = rates(counts)
    variance = _variance(hit, counts.with_evidence) + _variance(false, counts.without)
    error = math.sqrt(variance)
    sensitivity, criterion = skill_at(hit, false)
    return Skill(Estimate(sensitivity, error), Estimate(criterion, error / 2))


def mean(skills: Sequence[Skill]) -> Skill | None:
    """Give the mean skill of several people; None of nobody.

    People's estimates are averaged, not their counts pooled: pooled shares of people who differ in
    criterion understate d' (Macmillan and Creelman 2005, chapter 13).
    """
    if not skills:
        return None
    return Skill(_mean([s.sensitivity for s in skills]), _mean([s.criterion for s in skills]))


def _mean(estimates: Sequence[Estimate]) -> Estimate:
    count = len(estimates)
    error = math.sqrt(sum(e.error**2 for e in estimates)) / count
    return Estimate(sum(e.value for e in estimates) / count, error)


def _variance(share: float, trials: int) -> float:
    return share * (1 - share) / (trials * _NORMAL.pdf(_NORMAL.inv_cdf(share)) ** 2)
