"""Trains the look of vacant places: python -m visual_aid.training.vacancy FOLDER... --out FILE.

It learns from the places that the cue asks, the doubtful ones too. With ``--onto`` it learns on from what the
package knows. As with the resemblance, the training of the cues is told of these photos, by ``--vacant``, and
reads each off what the others teach.
"""

from __future__ import annotations

import zlib
from collections.abc import Sequence
from pathlib import Path

import click
import numpy as np

from visual_aid.evaluation.truth import TruthPhoto, read_truths
from visual_aid.evidence.missing_nut import places_asked
from visual_aid.evidence.scene import Scene
from visual_aid.evidence.vacancy import KNOWN, describe
from visual_aid.fasteners.regression import Floats, StandardRegression
from visual_aid.photo import read_photo
from visual_aid.training.kernels import Taught, Truths, most_telling, together
from visual_aid.training.learned import write_arrays
from visual_aid.training.views import label, views

RIDGE = 0.3
WIDER = 0.5
"""Of 0.5, 1 and 2 and of ridges of 0.3 and 1 on photos held out, all within 0.03 average precision."""

PLAIN_KEPT = 0.3
"""Share of the examples that are not vacant which is kept, those that weigh most: as telling as all are on
photos held out (average precision 0.70 and 0.69), where 0.15 is less (0.68), and so any 0.3 (0.66)."""


def examples(truth: TruthPhoto, seed: int) -> tuple[Floats, Truths]:
    """Describe all places asked on a photo.

    Returns
    -------
    described : ndarray of float32, shape (N, F)
    vacant : ndarray of bool, shape (N, 1)
    """
    photo = read_photo(truth.path)
    described, vacant = [], []
    for overview, fasteners, _ in views(photo, truth, seed):
        scene = Scene.build(photo, fasteners, overview)
        places = places_asked(scene)
        labels = label("missing_nut", places, fasteners, photo, truth)
        kept = [
            (p.frame.fastener, stands) for p, stands in zip(places, labels, strict=True) if stands is not None
        ]
        asked = [place for place, _ in kept]
        described.append(describe(scene.octaves, photo, asked, scene.patches(asked)))
        vacant += [stands for _, stands in kept]
    return np.concatenate(described), np.array(vacant, bool)[:, None]


def without_each(truths: Sequence[TruthPhoto]) -> dict[Path, StandardRegression]:
    """Give for each photo what the package knows but for what that photo taught."""
    known = Taught.load(KNOWN)
    learned = known.without([described for described, _ in _parts(truths)], RIDGE)
    return {truth.path: one for truth, one in zip(truths, learned, strict=True)}


def fit(parts: Sequence[tuple[Floats, Truths]], onto: Taught | None = None) -> Taught:
    """Fit to the examples of photos, and to earlier ones; plain examples that weigh little go."""
    return most_telling(*together(parts), RIDGE, WIDER, PLAIN_KEPT, onto)


def _parts(truths: Sequence[TruthPhoto]) -> list[tuple[Floats, Truths]]:
    # By its name, so that a photo is described the same whatever others are named with it.
    return [examples(truth, zlib.crc32(truth.name.encode())) for truth in truths]


@click.command()
@click.argument("folders", nargs=-1, required=True, type=click.Path(exists=True, path_type=Path))
@click.option("--onto", is_flag=True, help="Learn on from what the package knows instead of anew.")
@click.option("--out", required=True, type=click.Path(path_type=Path), help="Where the weights go (.npz).")
def main(folders: Sequence[Path], onto: bool, out: Path) -> None:
    """Train the look of vacant places on FOLDERS of labelled photos."""
    parts = _parts([t for folder in folders for t in read_truths(folder)])
    write_arrays(out, fit(parts, Taught.load(KNOWN) if onto else None).arrays())
    vacant = np.concatenate([there for _, there in parts])
    click.echo(f"{len(vacant)} places, {vacant.sum()} vacant")


if __name__ == "__main__":
    main()
