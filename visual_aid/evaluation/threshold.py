"""What a working threshold costs, and scores put right, both from a shop's own decisions."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize

Numbers = NDArray[np.float64]

BINS = 20
DRAWS = 2000
SURE = 0.90
"""Share of the draws that lie within an interval."""
FEW = 30
"""With fewer confirmed or fewer ruled-out candidates a curve is a guess (common practice, no source)."""
PULL = 2.0
"""How hard a calibration is held to leaving scores as they are: the log loss, in nats, that a slope or an
intercept off by one has to win back over all decisions (common practice, no source)."""
FOLDS = 5


@dataclass(frozen=True, slots=True)
class Flags:
    """What the engine flagged, one entry a candidate.

    Attributes
    ----------
    photo : ndarray of int
        Which photo it is on.
    score : ndarray of float
        0 to 1.
    outcome : ndarray of int
        1 confirmed, 0 ruled out, -1 undecided or cannot tell.
    """

    photo: NDArray[np.int64]
    score: Numbers
    outcome: NDArray[np.int64]

    @property
    def confirmed(self) -> int:
        """Number of candidates that people confirmed."""
        return int((self.outcome == 1).sum())

    @property
    def ruled_out(self) -> int:
        """Number of candidates that people ruled out."""
        return int((self.outcome == 0).sum())

    @property
    def are_few(self) -> bool:
        """Whether there are too few decisions to go by."""
        return min(self.confirmed, self.ruled_out) < FEW


@dataclass(frozen=True, slots=True)
class Cost:
    """What each threshold costs.

    Attributes
    ----------
    threshold : ndarray of shape (T,)
        Rising, from 0 to 1.
    photos : ndarray of shape (T,)
        Photos with a candidate at or above the threshold: those to look at.
    missed, low, high : ndarray of shape (T,)
        Share of the flagged evidence that lies under the threshold, likeliest and interval, 0 to 1.
    """

    threshold: Numbers
    photos: NDArray[np.int64]
    missed: Numbers
    low: Numbers
    high: Numbers


def cost(flags: Flags, seed: int = 0) -> Cost:
    """Work out what each threshold costs.

    People decide on what scores high and rarely on what scores low, so counting what they confirmed would
    make a high threshold look free. Instead the share that stands is estimated bin by bin of score, and
    applied to all candidates of the bin, decided or not. Where nobody decided, the share can be nearly
    anything, and the interval says so. Evidence that the engine did not flag at all is in no figure.

    The share of a bin has the beta posterior of a binomial proportion, with the engine's own scores as a
    prior that is worth one decision, as weak as Jeffreys' (Brown, Cai and DasGupta, Interval Estimation for
    a Binomial Proportion, 2001). The interval holds the middle ``SURE`` of the draws from it.
    """
    edges = np.linspace(0, 1, BINS + 1)
    at = np.clip(np.digitize(flags.score, edges) - 1, 0, BINS - 1)
    every = np.bincount(at, minlength=BINS)
    stood = np.bincount(at[flags.outcome == 1], minlength=BINS)
    fell = np.bincount(at[flags.outcome == 0], minlength=BINS)
    left = every - stood - fell
    middle_of_bin = (edges[:-1] + edges[1:]) / 2
    claimed = np.where(every, np.bincount(at, flags.score, BINS) / np.maximum(every, 1), middle_of_bin)
    claimed = np.clip(claimed, 0.01, 0.99)
    rng = np.random.default_rng(seed)
    share = rng.beta(stood + claimed, fell + 1 - claimed, (DRAWS, BINS))
    evidence = stood + rng.binomial(left, share)
    under = np.concatenate([np.zeros((DRAWS, 1)), np.cumsum(evidence, axis=1)], axis=1)
    missed = under / np.maximum(under[:, -1:], 1e-12)
    low, middle, high = np.quantile(missed, [(1 - SURE) / 2, 0.5, (1 + SURE) / 2], axis=0)
    best = np.zeros(int(flags.photo.max(initial=-1)) + 1)
    np.maximum.at(best, flags.photo, flags.score)
    photos = np.array([(best >= edge).sum() for edge in edges])
    photos[0] = len(np.unique(flags.photo))
    return Cost(edges, photos, middle, low, high)


@dataclass(frozen=True, slots=True)
class Fit:
    """A straight line between logits that puts scores right, and whether it helps.

    Attributes
    ----------
    before, after : float
        Mean log loss of the decisions, in nats: as scored, and by lines that were fitted without the
        photos on which they are judged.
    """

    slope: float
    intercept: float
    decided: int
    before: float
    after: float

    @property
    def helps(self) -> bool:
        """Whether photos that the line has not seen are scored better with it."""
        return self.after < self.before


def calibrate(flags: Flags) -> Fit:
    """Fit scores to a shop's decisions.

    Logistic regression of the outcomes on the logit of the score (Platt, Probabilistic Outputs for Support
    Vector Machines, 1999), held towards leaving the scores as they are. Whether it helps is judged on
    folds of whole photos.

    Raises
    ------
    ValueError
        Nothing was confirmed, or nothing ruled out.
    """
    known = flags.outcome >= 0
    score, outcome, photo = flags.score[known], flags.outcome[known], flags.photo[known]
    if flags.confirmed == 0 or flags.ruled_out == 0:
        raise ValueError("scores are put right by confirmed and ruled-out marks: there have to be both")
    logit = _logit(score)
    fold = np.unique(photo, return_inverse=True)[1] % FOLDS
    after = np.empty(len(outcome))
    for one in range(FOLDS):
        held = fold == one
        slope, intercept = _line(logit[~held], outcome[~held])
        after[held] = _loss(slope * logit[held] + intercept, outcome[held])
    slope, intercept = _line(logit, outcome)
    return Fit(slope, intercept, len(outcome), float(_loss(logit, outcome).mean()), float(after.mean()))


def _line(logit: Numbers, outcome: NDArray[np.int64]) -> tuple[float, float]:
    def objective(line: Numbers) -> float:
        held = PULL * ((line[0] - 1) ** 2 + line[1] ** 2)
        return float(_loss(line[0] * logit + line[1], outcome).sum() + held)

    found = minimize(objective, np.array([1.0, 0.0]), method="L-BFGS-B", bounds=[(0.05, 20), (-20, 20)])
    return float(found.x[0]), float(found.x[1])


def _loss(logit: Numbers, outcome: NDArray[np.int64]) -> Numbers:
    return np.asarray(np.logaddexp(0, logit) - outcome * logit)


def _logit(score: Numbers) -> Numbers:
    clipped = np.clip(score, 1e-6, 1 - 1e-6)
    return np.asarray(np.log(clipped / (1 - clipped)))


def flags_of(rows: Sequence[tuple[str, float, str | None]]) -> Flags:
    """Make flags of rows of photo, score and outcome as the records give them."""
    number: dict[str, int] = {}
    photo = np.array([number.setdefault(row[0], len(number)) for row in rows], np.int64)
    score = np.array([row[1] for row in rows], np.float64)
    meaning = {"confirmed": 1, "ruled_out": 0}
    outcome = np.array([meaning.get(row[2] or "", -1) for row in rows], np.int64)
    return Flags(photo, score, outcome)
