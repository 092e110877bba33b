"""Train the cues' scores on labelled photos: ``python -m visual_aid.training.cues FOLDER... --out FILE``.

The photos are screened as they will be in use, with the fasteners that the finder finds, so that a score
allows for the finder's slips. Fasteners that it missed are added from the labels, slightly displaced, for
more examples. Photos that were picked or made for their evidence teach what it looks like, but not how
often it is met: name them with ``--picked``, and the scores are calibrated on the others. The same photos
give the same weights.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType
from typing import Any

import click
import numpy as np
from numpy.typing import NDArray
from sklearn.linear_model import LogisticRegression
from sklearn.metrics import average_precision_score

from visual_aid.evaluation.truth import TruthPhoto, read_truths
from visual_aid.evidence.register import MEASURE
from visual_aid.evidence.scene import Details, Scene
from visual_aid.evidence.score import CueModel, asked, feature_table, load_models, stacked
from visual_aid.fasteners.regression import Regression, StandardRegression
from visual_aid.fasteners.trees import Trees
from visual_aid.model import Cue
from visual_aid.photo import read_photo
from visual_aid.training import resemblance, vacancy
from visual_aid.training.boosting import classifier
from visual_aid.training.learned import write_arrays
from visual_aid.training.views import label, views

FOLDS = 6
STRENGTHS = (0.003, 0.01, 0.03, 0.1, 0.3, 1.0)
"""Inverse strengths of the ridge penalty to choose from by cross-validated log loss."""

TREES, TREE_DEPTH = 350, 4
"""Twice as many, or trees as deep as the finder's, do as well on photos held out."""

Floats = NDArray[np.float64]
Command = Callable[..., None]


@dataclass(frozen=True, slots=True)
class Examples:
    """Measurements of one cue with their labels.

    Attributes
    ----------
    names : tuple of str, length F
    table : ndarray of shape (N, F)
    stands : ndarray of bool, shape (N,)
    photo : ndarray of int, shape (N,)
        Number of the photo, by which folds are made.
    usual : ndarray of bool, shape (N,)
        As met in use: the fastener came from the finder, and the photo was not picked for its evidence.
    details : ndarray of float32, shape (N, G), or None
        What trees are asked beside the features; None for a cue without trees.
    """

    names: tuple[str, ...]
    table: Floats
    stands: NDArray[np.bool_]
    photo: NDArray[np.intp]
    usual: NDArray[np.bool_]
    details: Details | None = None

    @property
    def suffice(self) -> bool:
        """Whether there is something that stands and something that does not, whichever fold is held out."""
        parts = [self.usual, *(train for train, _ in folds(self.photo))]
        return all(len(np.unique(self.stands[part])) == 2 for part in parts)


def collect(
    truths: Sequence[TruthPhoto],
    picked: Sequence[TruthPhoto] = (),
    resembling: Mapping[Path, Regression] = MappingProxyType({}),
    vacancies: Mapping[Path, StandardRegression] = MappingProxyType({}),
    cues: Iterable[Cue] = tuple(MEASURE),
) -> dict[Cue, Examples]:
    """Measure cues on every labelled photo.

    Parameters
    ----------
    picked : sequence of TruthPhoto
        Photos that were chosen for their evidence.
    resembling : mapping
        What gaps and vacant places look like, for photos on which what the package knows was learned: from
        the other photos (``resemblance.without_each``).
    vacancies : mapping
        The same for vacant places in all that the finder sees (``vacancy.without_each``).
    cues : iterable of str
        Which to measure; all without it.
    """
    rows: dict[Cue, list[tuple[Floats, bool, int, bool, Details | None]]] = {cue: [] for cue in cues}
    names: dict[Cue, tuple[str, ...]] = {}
    for number, truth in enumerate([*truths, *picked]):
        photo = read_photo(truth.path)
        for overview, fasteners, is_found in views(photo, truth, number):
            learned, vacant = resembling.get(truth.path), vacancies.get(truth.path)
            scene = Scene.build(photo, fasteners, overview, learned, vacant)
            for cue in rows:
                measurements = MEASURE[cue](scene).measurements
                if not measurements:
                    continue
                columns, table = feature_table(measurements)
                names[cue] = tuple(columns)
                labels = label(cue, measurements, fasteners, photo, truth)
                rows[cue] += [
                    (table[i], stands, number, is_found and number < len(truths), measurements[i].details)
                    for i, stands in enumerate(labels)
                    if stands is not None
                ]
    return {
        cue: Examples(
            names[cue],
            np.array([r[0] for r in found_rows]),
            np.array([r[1] for r in found_rows], bool),
            np.array([r[2] for r in found_rows]),
            np.array([r[3] for r in found_rows], bool),
            stacked([r[4] for r in found_rows]),
        )
        for cue, found_rows in rows.items()
        if found_rows
    }


def fit(examples: Examples) -> tuple[CueModel, Floats]:
    """Fit a cue's model.

    Returns
    -------
    model : CueModel
    held_out : ndarray of shape (N,)
        Calibrated probability of each example by a model that did not see its photo.
    """
    best: tuple[float, Floats, float] | None = None
    for strength in STRENGTHS:
        odds = np.zeros(len(examples.stands))
        for train, test in folds(examples.photo):
            odds[test] = _fit(examples, train, strength).log_odds(examples.table[test])
        calibration = _calibrate(odds, examples.stands)
        loss = _log_loss(calibration[0] * odds + calibration[1], examples.stands)
        if best is None or loss < best[0]:
            best = (loss, odds, strength)
    assert best is not None
    _, odds, strength = best
    trees = None
    if examples.details is not None:
        rows = asked(examples.table, examples.details)
        for train, test in folds(examples.photo):
            odds[test] += grow(rows[train], examples.stands[train])(rows[test])
        trees = grow(rows, examples.stands)
    usual = examples.usual
    calibration = _calibrate(odds[usual], examples.stands[usual])
    model = _fit(examples, np.arange(len(examples.stands)), strength)
    return dataclasses.replace(model, calibration=calibration, trees=trees), 1 / (
        1 + np.exp(-(calibration[0] * odds + calibration[1]))
    )


def folds(photo: NDArray[np.intp]) -> Iterable[tuple[NDArray[np.intp], NDArray[np.intp]]]:
    """Split examples into training and held-out part, photo by photo, ``FOLDS`` times."""
    fold = np.random.default_rng(0).permutation(int(photo.max()) + 1)[photo] % FOLDS
    for k in range(FOLDS):
        yield np.nonzero(fold != k)[0], np.nonzero(fold == k)[0]


def _fit(examples: Examples, rows: NDArray[np.intp], strength: float) -> CueModel:
    table = examples.table[rows]
    known = np.isfinite(table).any(axis=0)
    filled = np.where(known, table, 0.0)
    low, high = np.nanpercentile(filled, (2, 98), axis=0)
    clipped = np.clip(filled, low, high)
    centre, scale = np.nanmean(clipped, axis=0), np.nanstd(clipped, axis=0)
    scale = np.where(scale > 1e-9, scale, 1.0)
    z = (clipped - centre) / scale
    regression: Any = LogisticRegression(C=strength, max_iter=2000)
    regression.fit(np.where(np.isfinite(z), z, 0.0), examples.stands[rows])
    return CueModel(
        names=np.array(examples.names),
        low=low,
        high=high,
        centre=centre,
        scale=scale,
        weights=regression.coef_[0],
        bias=regression.intercept_[0],
        calibration=np.array([1.0, 0.0]),
    )


def grow(rows: Details, stands: NDArray[np.bool_]) -> Trees:
    """Boost trees for the log odds that evidence stands, on rows of ``score.asked``."""
    return classifier(
        rows,
        stands,
        TREES,
        max_depth=TREE_DEPTH,
        learning_rate=0.03,
        max_features=0.2,
        min_samples_leaf=30,
        l2_regularization=5.0,
    )


def _calibrate(odds: Floats, stands: NDArray[np.bool_]) -> Floats:
    """Slope and intercept of a logistic regression of the labels on the log odds (Platt 1999)."""
    regression: Any = LogisticRegression(C=10.0, max_iter=2000).fit(odds[:, None], stands)
    return np.array([regression.coef_[0, 0], regression.intercept_[0]])


def _log_loss(odds: Floats, stands: NDArray[np.bool_]) -> float:
    return float(np.mean(np.logaddexp(0, np.where(stands, -odds, odds))))


def _folders(name: str, say: str) -> Callable[[Command], Command]:
    """Give an option that names folders of labelled photos."""
    return click.option(name, multiple=True, type=click.Path(exists=True, path_type=Path), help=say)


@click.command()
@click.argument("folders", nargs=-1, required=True, type=click.Path(exists=True, path_type=Path))
@_folders("--picked", "A folder of photos that were picked for their evidence.")
@_folders("--alike", "A folder on which the resemblance was trained; all of them have to be named.")
@_folders("--vacant", "A folder on which the look of vacant places was trained.")
@click.option(
    "--only",
    multiple=True,
    type=click.Choice(list(MEASURE)),
    help="A cue to train; without it all are. The others keep the weights in use.",
)
@click.option("--out", required=True, type=click.Path(path_type=Path), help="Where the weights go (.npz).")
def main(
    folders: Sequence[Path],
    picked: Sequence[Path],
    alike: Sequence[Path],
    vacant: Sequence[Path],
    only: Sequence[Cue],
    out: Path,
) -> None:
    """Train the scores of all cues on FOLDERS of labelled photos."""
    truths, rich, seen, looked_at = (
        [t for folder in group for t in read_truths(folder)] for group in (folders, picked, alike, vacant)
    )
    arrays: dict[str, NDArray[np.generic]] = {}
    cues = only or tuple(MEASURE)
    collected = collect(
        truths,
        rich,
        resemblance.without_each(seen) if seen else {},
        vacancy.without_each(looked_at) if looked_at else {},
        cues,
    )
    for cue, used in load_models().items():
        arrays |= used.arrays(cue)
    for cue in cues:
        examples = collected.get(cue)
        if examples is None or not examples.suffice:
            click.echo(f"{cue}: too few examples to learn from; the weights in use are kept")
            continue
        model, held_out = fit(examples)
        arrays |= model.arrays(cue)
        click.echo(_summary(cue, examples, held_out))
    write_arrays(out, arrays)


def _summary(cue: Cue, examples: Examples, held_out: Floats) -> str:
    stands = examples.stands[examples.usual]
    precision = average_precision_score(stands, held_out[examples.usual])
    return f"{cue}: {stands.sum()} of {len(stands)} stand, average precision held out {precision:.2f}"


if __name__ == "__main__":
    main()
