"""From what a cue measured to the probability that the evidence stands.

A fastener is judged by its features and by how they differ from those of the photo's other fasteners, which
share its light, paint and dirt. A logistic model per cue weighs them. Most cues get a second opinion: trees
that are asked the same and details, such as what the surface around looks like, zone by zone. Training fits
both and calibrates their sum.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from functools import cache
from importlib.resources import files
from typing import Any, cast

import numpy as np
from numpy.typing import NDArray

from visual_aid.evidence.scene import Details, Measurement
from visual_aid.fasteners.trees import Trees
from visual_aid.model import Cue
from visual_aid.quantiles import nanmedian

LEAST_NEIGHBOURS = 2
"""With fewer others there is no middle to differ from."""

UNKNOWN = -1000.0
"""What trees are told where something is not measured: below all that is, so that one question tells it."""

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class CueModel:
    """A logistic model on F features, their differences to the neighbours included.

    Attributes
    ----------
    names : ndarray of str, shape (F,)
    low, high : ndarray, shape (F,)
        Values are clipped to this range: beyond what training saw, more is not more probable.
    centre, scale : ndarray, shape (F,)
        Mean and standard deviation; a feature that cannot be measured counts as its mean.
    weights : ndarray, shape (F,)
    bias : ndarray, shape ()
    calibration : ndarray, shape (2,)
        Slope and intercept from the log odds of both opinions together to those of the score.
    trees : Trees or None
        The second opinion, on rows of ``asked``.
    """

    names: NDArray[np.str_]
    low: Floats
    high: Floats
    centre: Floats
    scale: Floats
    weights: Floats
    bias: Floats
    calibration: Floats
    trees: Trees | None = None

    def log_odds(self, table: Floats, details: Details | None = None) -> Floats:
        """Log odds before calibration.

        Parameters
        ----------
        table : ndarray, shape (N, F)
            Rows of features.
        details : ndarray of float32, shape (N, G), optional
            What else is known of the same places; a model with trees needs it.
        """
        z = (np.clip(table, self.low, self.high) - self.centre) / self.scale
        out: Floats = np.where(np.isfinite(z), z, 0.0) @ self.weights + self.bias
        if self.trees is not None and details is not None:
            out += self.trees(asked(table, details))
        return out

    def probability(self, table: Floats, details: Details | None = None) -> Floats:
        """Calibrated probability of the same rows."""
        slope, intercept = self.calibration
        out: Floats = 1 / (1 + np.exp(-(slope * self.log_odds(table, details) + intercept)))
        return out

    def arrays(self, cue: Cue) -> dict[str, NDArray[Any]]:
        """Name the arrays for an .npz file."""
        logistic = {f"{cue}.{name}": getattr(self, name) for name in _LOGISTIC}
        return logistic if self.trees is None else logistic | self.trees.arrays(f"{cue}.trees")

    @classmethod
    def from_arrays(cls, arrays: Mapping[str, NDArray[Any]], cue: Cue) -> CueModel:
        """Take a cue's arrays out of an opened .npz file.

        Raises
        ------
        KeyError
            The file holds no model of this cue.
        """
        trees = Trees.from_arrays(arrays, f"{cue}.trees") if f"{cue}.trees.base" in arrays else None
        return cls(**{name: arrays[f"{cue}.{name}"] for name in _LOGISTIC}, trees=trees)


_LOGISTIC = tuple(f.name for f in fields(CueModel) if f.name != "trees")


def asked(table: Floats, details: Details) -> Details:
    """Put features and details into the rows that trees are asked, shape (N, F + G)."""
    rows: Details = np.nan_to_num(np.hstack([table, details]), nan=UNKNOWN).astype(np.float32)
    return rows


def stacked(details: Sequence[Details | None]) -> Details | None:
    """Put the details of measurements into rows; None for a cue without trees."""
    known = [d for d in details if d is not None]
    return np.stack(known) if known else None


def feature_table(measurements: Sequence[Measurement]) -> tuple[list[str], Floats]:
    """Put the features of one photo's measurements into rows, differences to the neighbours appended.

    Returns
    -------
    names : list of str, length 2 K
    table : ndarray of shape (N, 2 K)
        The second half holds each value less the median of the other measurements, NaN with fewer than
        ``LEAST_NEIGHBOURS`` of them.
    """
    names = list(measurements[0].features)
    own = np.array([[m.features[name] for name in names] for m in measurements], float)
    others = own - _middle_of_others(own)
    return [*names, *(f"{name} less neighbours" for name in names)], np.hstack([own, others])


def _middle_of_others(own: Floats) -> Floats:
    """Median, column by column, of all rows but each one; NaN with fewer than ``LEAST_NEIGHBOURS`` known."""
    rows = len(own)
    rest = np.broadcast_to(own, (rows, *own.shape)).copy()
    rest[np.arange(rows), np.arange(rows)] = np.nan
    known = np.isfinite(rest).sum(axis=1)
    middle: Floats = np.where(known >= LEAST_NEIGHBOURS, nanmedian(rest, axis=1), np.nan)
    return middle


def score(cue: Cue, measurements: Sequence[Measurement]) -> Floats:
    """Probability that each measurement is evidence that stands, shape (N,)."""
    if not measurements:
        return np.zeros(0)
    names, table = feature_table(measurements)
    model = load_models()[cue]
    if list(model.names) != names:
        raise RuntimeError(f"{cue}: the trained model and the cue's features differ; train the cues again")
    return model.probability(table, stacked([m.details for m in measurements]))


@cache
def load_models() -> Mapping[Cue, CueModel]:
    """Read the trained models of all cues from the package."""
    with np.load(str(files("visual_aid.evidence") / "cues.npz")) as arrays:
        cues = sorted({name.split(".")[0] for name in arrays.files})
        return {cast("Cue", cue): CueModel.from_arrays(arrays, cast("Cue", cue)) for cue in cues}
