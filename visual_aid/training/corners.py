"""Train where a nut's corners point: ``python -m visual_aid.training.corners FOLDER... --out FILE``.

Nuts whose six corners are labelled teach it, shown as roughly as a comparison of two visits knows where they
lie. The template that is learned is the one under which the labelled bearing is likeliest among all.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import click
import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize
from scipy.special import log_softmax

from visual_aid.evaluation.truth import TruthPhoto, read_truths
from visual_aid.measure.corners import BEARINGS, DIRECTIONS, SHAPE, edges_around, laid_on, spread_about
from visual_aid.measure.nut_view import NutView, grey_octaves
from visual_aid.model import NOT_IN_PLACE, Outline
from visual_aid.photo import read_photo
from visual_aid.training.learned import write_arrays

VIEWS = 3
"""How often each nut is shown."""
MOVED, GROWN, SKEWED = 0.08, 0.06, 0.06
"""How far off: standard deviations of the middle in nut radii, of the logarithm of the radius, and of the
entries of the plane's slope."""
NO_HEXAGON = 0.03
"""Mean distance of labelled corners from a hexagon's, in nut radii, from which they are none."""
SHARP = 1.5
"""Standard deviation in degrees of the bearings that a label stands for."""
RIDGE = 3e-5
"""What the template's square costs; a tenth and ten times as much are no better on photos held out."""
ROUNDS = 300

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Hexagon:
    """How a hexagon lies in a photo.

    Attributes
    ----------
    centre : ndarray of shape (2,)
        Full pixels.
    matrix : ndarray of shape (2, 2)
        From nut radii in the part's plane to full pixels: symmetric, so it turns nothing.
    corner : float
        Bearing of a corner in the plane, degrees modulo 60, clockwise as seen.
    """

    centre: Floats
    matrix: Floats
    corner: float

    @classmethod
    def of(cls, outline: Outline) -> Hexagon | None:
        """Fit to six labelled corners; None where they make no hexagon seen at a slant."""
        if len(outline) != 6:
            return None
        corners = np.array(outline)
        centre = corners.mean(axis=0)
        plain = 2 / math.sqrt(3) * _sixfold(0.0)
        if cv2.contourArea(corners.astype(np.float32), oriented=True) < 0:
            corners = corners[::-1]
        slope = np.linalg.lstsq(plain, corners - centre, rcond=None)[0].T
        left, size, right = np.linalg.svd(slope)
        if np.abs(plain @ slope.T + centre - corners).mean() > NO_HEXAGON * math.sqrt(size.prod()):
            return None
        turned = left @ right
        return cls(centre, left * size @ left.T, math.degrees(math.atan2(turned[1, 0], turned[0, 0])) % 60)

    def seen_in(self, matrix: Floats) -> float:
        """Give the bearing of a corner, degrees modulo 60, in a plane that is taken to lie otherwise."""
        x, y = np.linalg.solve(matrix, self.matrix @ _sixfold(self.corner).T)
        return math.degrees(np.angle(np.exp(6j * np.arctan2(y, x)).sum())) / 6 % 60


def _sixfold(degrees: float) -> Floats:
    """Give the directions of six corners, shape (6, 2), from that of the first."""
    around = np.radians(degrees + 60.0 * np.arange(6))
    return np.column_stack([np.cos(around), np.sin(around)])


def examples(truth: TruthPhoto, seed: int) -> tuple[NDArray[np.float32], Floats]:
    """Show every labelled nut of a photo that is in its place.

    Returns
    -------
    counts : ndarray of float32, shape (N, *SHAPE)
        ``edges_around``.
    corners : ndarray of shape (N,)
        Bearings of a corner, degrees modulo 60.
    """
    photo = read_photo(truth.path)
    grey = grey_octaves(photo)
    by_chance = np.random.default_rng(seed)
    counts, corners = [], []
    for label in truth.fasteners:
        lies = Hexagon.of(label.outline)
        if lies is None or not label.teaches or label.kind in NOT_IN_PLACE:
            continue
        for _ in range(VIEWS):
            skew = by_chance.normal(0, SKEWED, (2, 2))
            matrix = lies.matrix @ (np.eye(2) + (skew + skew.T) / 2) * math.exp(by_chance.normal(0, GROWN))
            centre = photo.to_working(lies.centre + lies.matrix @ by_chance.normal(0, MOVED, 2))
            counts.append(edges_around(NutView(grey, centre, matrix / photo.scale, np.zeros(2))))
            corners.append(lies.seen_in(matrix))
    return np.reshape(counts, (-1, *SHAPE)).astype(np.float32), np.array(corners)


def fit(counts: NDArray[np.float32], corners: Floats) -> NDArray[np.float32]:
    """Find the template under which the labelled bearings are likeliest, with a ridge (conditional logit).

    Returns
    -------
    ndarray of float32, shape ``SHAPE``
        The same seen in a mirror.
    """
    wanted = spread_about(corners, SHARP)
    spectra = np.fft.rfft(counts, axis=-1).astype(np.complex64)

    def cost(flat: Floats) -> tuple[float, Floats]:
        template = _mirrored(flat.reshape(SHAPE))
        odds = log_softmax(laid_on(template, counts), axis=1)
        excess = np.fft.rfft(np.exp(odds) - wanted, axis=1) / len(counts)
        slope = np.fft.irfft(np.einsum("nrdf,nf->rdf", spectra, excess.conj()), BEARINGS, axis=-1)
        loss = -(wanted * odds).sum() / len(counts) + RIDGE * (flat**2).sum()
        return float(loss), (_mirrored(slope) + 2 * RIDGE * flat.reshape(SHAPE)).ravel()

    start = np.zeros(math.prod(SHAPE))
    found = minimize(cost, start, jac=True, method="L-BFGS-B", options={"maxiter": ROUNDS})
    return _mirrored(found.x.reshape(SHAPE)).astype(np.float32)


def _mirrored(template: Floats) -> Floats:
    """Average a template with what it is in a mirror."""
    other = template[:, -np.arange(DIRECTIONS)][:, :, -np.arange(BEARINGS)]
    return np.asarray((template + other) / 2)


@click.command()
@click.argument("folders", nargs=-1, required=True, type=click.Path(exists=True, path_type=Path))
@click.option("--out", required=True, type=click.Path(path_type=Path), help="Where the weights go (.npz).")
def main(folders: Sequence[Path], out: Path) -> None:
    """Train where a nut's corners point on FOLDERS of labelled photos."""
    truths = [t for folder in folders for t in read_truths(folder)]
    parts = [examples(truth, number) for number, truth in enumerate(truths)]
    counts, corners = (np.concatenate(part) for part in zip(*parts, strict=True))
    if not len(counts):
        raise click.ClickException("no label gives the six corners of a nut: add an outline to them")
    write_arrays(out, {"template": fit(counts, corners)})
    click.echo(f"{len(counts)} views of nuts whose corners are labelled")


if __name__ == "__main__":
    main()
