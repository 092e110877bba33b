"""Trains the look of gaps: python -m visual_aid.training.resemblance FOLDER... --out FILE.

Its readings are features of cues. On the photos that it was trained on they would be better than they are in
use, so the training of the cues is told of these photos, and reads each off what the others teach.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from pathlib import Path

import click
import numpy as np

from visual_aid.evaluation.judging import match_fasteners
from visual_aid.evaluation.truth import TruthPhoto, read_truths
from visual_aid.evidence.resemblance import patches
from visual_aid.fasteners.find import find_fasteners
from visual_aid.fasteners.lean import add_lean
from visual_aid.fasteners.patches import working_octaves
from visual_aid.fasteners.regression import Image, Regression
from visual_aid.photo import read_photo
from visual_aid.training.completed import with_labels
from visual_aid.training.kernels import NONE, Truths, leaving_out, together
from visual_aid.training.learned import write_arrays

RIDGE = 1.0
WIDER = 1.0
"""Width of the likeness as a share of the usual squared distance of two patches."""


def examples(truth: TruthPhoto, seed: int) -> tuple[Image, Truths]:
    """Describe all that is found or labelled on a photo.

    Returns
    -------
    described : ndarray of uint8, shape (N, F)
    shows : ndarray of bool, shape (N, 1)
        Whether it is a gap.
    """
    photo = read_photo(truth.path)
    found = add_lean(photo, with_labels(find_fasteners(photo), truth, np.random.default_rng(seed)))
    labels = {i: truth.fasteners[j] for i, j in match_fasteners(truth.fasteners, found).items()}
    kept = [i for i in range(len(found)) if i not in labels or not labels[i].ignore]
    shows = []
    for i in kept:
        label = labels.get(i)
        shows.append(label is not None and any(c.cue == "gap" for c in label.cues if c.visible))
    described = patches(working_octaves(photo), photo, [found[i] for i in kept])
    return described, np.array(shows, bool)[:, None]


def _photo_by_photo(truths: Sequence[TruthPhoto]) -> list[tuple[Image, Truths]]:
    """Describe photo by photo, with seeds of their own."""
    return [examples(truth, number) for number, truth in enumerate(truths)]


def fit(described: Image, shows: Truths) -> Regression:
    """Fit the regression, rare things weighing as much as common ones."""
    return leaving_out(described, shows, NONE, RIDGE, WIDER)[0]


def without_each(truths: Sequence[TruthPhoto]) -> dict[Path, Regression]:
    """Fit for each photo what all the others teach."""
    parts = _photo_by_photo(truths)
    ends = np.cumsum([0, *(len(described) for described, _ in parts)])
    left_out = [np.arange(start, end) for start, end in itertools.pairwise(ends)]
    learned = leaving_out(*together(parts), left_out, RIDGE, WIDER)
    return {truth.path: one for truth, one in zip(truths, learned, strict=True)}


@click.command()
@click.argument("folders", nargs=-1, required=True, type=click.Path(exists=True, path_type=Path))
@click.option("--out", required=True, type=click.Path(path_type=Path), help="Where the weights go (.npz).")
def main(folders: Sequence[Path], out: Path) -> None:
    """Train the resemblance on FOLDERS of labelled photos."""
    truths = [truth for folder in folders for truth in read_truths(folder)]
    described, shows = together(_photo_by_photo(truths))
    write_arrays(out, fit(described, shows).arrays())
    click.echo(f"{len(shows)} places, {shows.sum()} gaps")


if __name__ == "__main__":
    main()
