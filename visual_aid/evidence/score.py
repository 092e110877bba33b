"""From what a cue measured to the probability that the evidence stands.

A fastener is judged by its features and by how they differ from those of the photo's other fasteners, which
share its light, paint and dirt. A logistic model per cue weighs them; training fits and calibrates it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from functools import cache
from importlib.resources import files
from typing import Any, cast

import numpy as np
from numpy.typing import NDArray

from visual_aid.evidence.scene import Measurement
from visual_aid.model import Cue

LEAST_NEIGHBOURS = 2
"""With fewer others there is no middle to differ from."""

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
        Slope and intercept from the model's log odds to those of the score.
    """

    names: NDArray[np.str_]
    low: Floats
    high: Floats
    centre: Floats
    scale: Floats
    weights: Floats
    bias: Floats
    calibration: Floats

    def log_odds(self, table: Floats) -> Floats:
        """Log odds before calibration for rows of features, shape (N, F)."""
        z = (np.clip(table, self.low, self.high) - self.centre) / self.scale
        out: Floats = np.where(np.isfinite(z), z, 0.0) @ self.weights + self.bias
        return out

    def probability(self, table: Floats) -> Floats:
        """Calibrated probability for rows of features, shape (N, F)."""
        slope, intercept = self.calibration
        out: Floats = 1 / (1 + np.exp(-(slope * self.log_odds(table) + intercept)))
        return out

    def arrays(self, cue: Cue) -> dict[str, NDArray[np.generic]]:
        """Name the arrays for an .npz file."""
        return {f"{cue}.{f.name}": getattr(self, f.name) for f in fields(self)}

    @classmethod
    def from_arrays(cls, arrays: Mapping[str, NDArray[Any]], cue: Cue) -> CueModel:
        """Take a cue's arrays out of an opened .npz file.

        Raises
        ------
        KeyError
            The file holds no model of this cue.
        """
        return cls(**{f.name: arrays[f"{cue}.{f.name}"] for f in fields(cls)})


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
    """Median, column by column, of all rows but each one; NaN with fewer than ``LEAST_NEIGHBOURS`` known.

    One sort for all rows: ``np.nanmedian`` on small arrays costs more than the rest of a cue.
    """
    rows = len(own)
    rest = np.broadcast_to(own, (rows, *own.shape)).copy()
    rest[np.arange(rows), np.arange(rows)] = np.nan
    rest.sort(axis=1)  # NaN last
    known = np.isfinite(rest).sum(axis=1, keepdims=True)
    low, high = (
        np.take_along_axis(rest, np.maximum(middle, 0), axis=1)
        for middle in ((known - 1) // 2, np.minimum(known // 2, rows - 1))
    )
    middle: Floats = np.where(known >= LEAST_NEIGHBOURS, (low + high) / 2, np.nan)[:, 0]
    return middle


def score(cue: Cue, measurements: Sequence[Measurement]) -> Floats:
    """Probability that each measurement is evidence that stands, shape (N,)."""
    if not measurements:
        return np.zeros(0)
    names, table = feature_table(measurements)
    model = load_models()[cue]
    if list(model.names) != names:
        raise RuntimeError(f"{cue}: the trained model and the cue's features differ; train the cues again")
    return model.probability(table)


@cache
def load_models() -> Mapping[Cue, CueModel]:
    """Read the trained models of all cues from the package."""
    with np.load(str(files("visual_aid.evidence") / "cues.npz")) as arrays:
        cues = sorted({name.split(".")[0] for name in arrays.files})
        return {cast("Cue", cue): CueModel.from_arrays(arrays, cast("Cue", cue)) for cue in cues}
