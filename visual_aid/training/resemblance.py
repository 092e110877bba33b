"""Trains the look of gaps and vacant places: python -m visual_aid.training.resemblance FOLDER... --out FILE.

Its readings are features of cues, so the cues have to be trained on other photos: on these the readings
would be better than they are in use.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import click
import numpy as np
from numpy.typing import NDArray

from visual_aid.evaluation.judging import match_fasteners
from visual_aid.evidence.resemblance import patches
from visual_aid.fasteners.find import find_fasteners
from visual_aid.fasteners.lean import add_lean
from visual_aid.fasteners.patches import working_octaves
from visual_aid.fasteners.regression import Image, Regression, centred, likeness, shares
from visual_aid.model import NOT_IN_PLACE
from visual_aid.photo import read_photo
from visual_aid.training.cues import with_labels
from visual_aid.training.learned import write_arrays
from visual_aid.training.truth import TruthPhoto, read_truths

RIDGE = 1.0
WIDER = 1.0
"""Width of the likeness as a share of the usual squared distance of two patches."""

Truths = NDArray[np.bool_]


def examples(truths: Sequence[TruthPhoto]) -> tuple[Image, Truths]:
    """Describe all that is found or labelled.

    Returns
    -------
    described : ndarray of uint8, shape (N, F)
    shows : ndarray of bool, shape (N, 2)
        Whether it is a gap, and whether it is an empty hole or a bare stud.
    """
    described, shows = [], []
    for number, truth in enumerate(truths):
        photo = read_photo(truth.path)
        found = add_lean(photo, with_labels(find_fasteners(photo), truth, np.random.default_rng(number)))
        labels = {i: truth.fasteners[j] for i, j in match_fasteners(truth.fasteners, found).items()}
        kept = [i for i in range(len(found)) if i not in labels or not labels[i].ignore]
        octaves = working_octaves(photo)
        described.append(patches(octaves, photo, [found[i] for i in kept]))
        for i in kept:
            label = labels.get(i)
            cues = () if label is None else tuple(c.cue for c in label.cues if c.visible)
            shows.append(("gap" in cues, label is not None and label.kind in NOT_IN_PLACE))
    return np.concatenate(described), np.array(shows, bool)


def fit(described: Image, shows: Truths) -> Regression:
    """Fit the regression, rare things weighing as much as common ones."""
    apart = ((shares(described)[:300, None] - shares(described)[None, ::10]) ** 2).sum(axis=2)
    width = np.asarray(WIDER * np.median(apart), np.float32)
    alike = likeness(centred(described), centred(described), width).astype(float)
    weights = np.empty(shows.shape, np.float32)
    for k, there in enumerate(shows.T):
        counts = np.where(there, 1 / there.mean(), 1 / (1 - there.mean()))
        # In balance, half of all is there.
        penalty = np.diag(RIDGE * counts.mean() / counts)
        weights[:, k] = np.linalg.solve(alike + penalty, there - 0.5)
    slopes = np.zeros((described.shape[1], shows.shape[1]), np.float32)
    return Regression(described, width, weights, slopes, np.full(shows.shape[1], 0.5, np.float32))


@click.command()
@click.argument("folders", nargs=-1, required=True, type=click.Path(exists=True, path_type=Path))
@click.option("--out", required=True, type=click.Path(path_type=Path), help="Where the weights go (.npz).")
def main(folders: Sequence[Path], out: Path) -> None:
    """Train the resemblance on FOLDERS of labelled photos that the cues are not trained on."""
    described, shows = examples([truth for folder in folders for truth in read_truths(folder)])
    write_arrays(out, fit(described, shows).arrays())
    gaps, vacant = shows.sum(axis=0)
    click.echo(f"{len(shows)} places, {gaps} gaps, {vacant} vacant")


if __name__ == "__main__":
    main()
