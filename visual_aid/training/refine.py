"""Train the closer look at fasteners: ``python -m visual_aid.training.refine FOLDER... --out FILE``.

Centre and radius are learned from any labels, the lean from those that carry the homography of the part's
plane, from which the camera, and so the seat of every fastener, follow.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path

import click
import numpy as np
from numpy.typing import NDArray

from visual_aid.evaluation.truth import SMALL, TruthFastener, TruthPhoto, read_truths
from visual_aid.fasteners.lean import HEIGHTS
from visual_aid.fasteners.patches import working_octaves
from visual_aid.fasteners.refine import PATCH_X, PATCH_Y, patch_features
from visual_aid.fasteners.regression import Image, Regression, centred, likeness, shares, squared_distances
from visual_aid.photo import read_photo
from visual_aid.training.kernels import halves, principal
from visual_aid.training.learned import write_arrays

TURNS = 16
MOVED, GROWN = 0.17, 0.13
"""How far off rough circles are shown: standard deviations in radii and of the logarithm of the radius."""
COMPARED = 4000
"""Examples that patches are compared with."""
NARROWER = 0.25
"""Width of the likeness as a share of the usual squared distance of two patches."""
RIDGE, PLAIN_RIDGE = 0.1, 100.0
FOCAL_WIDTHS = (0.65, 2.2)
"""Plausible focal lengths in picture widths; a nearly head-on view leaves it open."""

Floats = NDArray[np.float64]
Array32 = NDArray[np.float32]


def camera(truth: TruthPhoto) -> tuple[float, Floats, Floats]:
    """Recover focal length (pixels), rotation columns and translation from the plane's homography.

    The two axes of the plane stay orthogonal and of one length only for the true focal length (Zhang
    2000), with the principal point in the middle of the photo.

    Raises
    ------
    ValueError
        The labels have no homography.
    """
    if truth.plane is None:
        raise ValueError(f"{truth.path}: labels lack plate_mm_to_px, which the lean is learnt from")
    shift = np.array([[1, 0, -truth.width / 2], [0, 1, -truth.height / 2], [0, 0, 1]])
    plane = shift @ np.array(truth.plane, float)
    a, b = plane[:, 0], plane[:, 1]
    numerators = np.array([-(a[:2] @ b[:2]), -(a[:2] @ a[:2] - b[:2] @ b[:2])])
    denominators = np.array([a[2] * b[2], a[2] ** 2 - b[2] ** 2])
    weight = np.abs(denominators).sum()
    squared = float((numerators * np.sign(denominators)).sum() / weight) if weight > 0 else 0.0
    shortest, longest = (w * max(truth.width, truth.height) for w in FOCAL_WIDTHS)
    focal = min(max(math.sqrt(max(squared, 0.0)), shortest), longest)
    pose = np.diag([1 / focal, 1 / focal, 1]) @ plane
    pose /= math.sqrt(np.linalg.norm(pose[:, 0]) * np.linalg.norm(pose[:, 1]))
    pose *= math.copysign(1.0, pose[2, 2])
    return focal, np.column_stack([pose[:, 0], pose[:, 1], np.cross(pose[:, 0], pose[:, 1])]), pose[:, 2]


def lean_of(truth: TruthPhoto, fastener: TruthFastener) -> Floats:
    """From the seat to the labelled top of a fastener, in its seen radii, shape (2,)."""
    focal, axes, origin = camera(truth)
    middle = np.array([truth.width / 2, truth.height / 2])
    top = np.array([fastener.cx, fastener.cy])

    def seen(x: float, y: float, z: float) -> Floats:
        point = axes @ (x, y, z) + origin
        out: Floats = middle + focal * point[:2] / point[2]
        return out

    x, y, w = np.linalg.solve(np.array(truth.plane, float), (*top, 1.0))
    x, y = x / w, y / w
    step = 1e-2
    for _ in range(8):
        here = seen(x, y, 0.0)
        scale = np.column_stack([seen(x + step, y, 0.0) - here, seen(x, y + step, 0.0) - here]) / step
        height = HEIGHTS[fastener.kind] * fastener.radius / math.sqrt(abs(np.linalg.det(scale)))
        wrong = top - seen(x, y, height)
        dx, dy = np.linalg.solve(scale, wrong)
        x, y = x + dx, y + dy
    lean: Floats = (top - seen(x, y, 0.0)) / fastener.radius
    return lean


def examples(truths: Sequence[TruthPhoto]) -> tuple[Image, Floats]:
    """Show every labelled fastener turned, mirrored, moved and sized as a finder may have found it.

    Returns
    -------
    patches : ndarray of uint8, shape (N, F)
        From ``patch_features``.
    readings : ndarray of float, shape (N, 5)
        What is to be read off them, as ``refine.reader`` gives it; the lean is NaN where no label tells.
    """
    rng = np.random.default_rng(0)
    patches, readings = [], []
    for truth in truths:
        photo = read_photo(truth.path)
        octaves = working_octaves(photo)
        for fastener in truth.fasteners:
            if not fastener.teaches or fastener.radius / photo.scale < SMALL:
                continue
            lean = np.full(2, np.nan)
            if truth.plane is not None and HEIGHTS[fastener.kind] > 0:
                lean = lean_of(truth, fastener)
            centre = photo.to_working(fastener.cx), photo.to_working(fastener.cy)
            circle = np.array([[*centre, fastener.radius / photo.scale]], np.float32)
            for turn in range(TURNS):
                angle = rng.uniform(0, 2 * math.pi) if turn else 0.0
                cosine, sine = math.cos(angle), math.sin(angle)
                growth = rng.normal(0, GROWN)
                matrix = math.exp(growth) * np.array([[cosine, -sine], [sine, cosine]])
                matrix = matrix @ np.diag([-1.0 if turn % 2 else 1.0, 1.0])
                shift = rng.normal(0, MOVED, 2)
                x = matrix[0, 0] * PATCH_X + matrix[0, 1] * PATCH_Y + shift[0]
                y = matrix[1, 0] * PATCH_X + matrix[1, 1] * PATCH_Y + shift[1]
                patches.append(patch_features(octaves, circle, x.astype(np.float32), y.astype(np.float32))[0])
                back = np.linalg.inv(matrix)
                readings.append((*(back @ -shift), -growth, *(back @ lean)))
    return np.array(patches), np.array(readings)


def fit(patches: Image, readings: Floats) -> Regression:
    """Fit the regression on ``examples``."""
    rng = np.random.default_rng(0)
    components = principal(patches)
    described = components(patches)
    kept = described[rng.choice(len(patches), min(COMPARED, len(patches)), replace=False)]
    some = centred(described[rng.choice(len(patches), min(200, len(patches)), replace=False)])
    width = np.asarray(NARROWER * np.median(squared_distances(some, some)), np.float32)
    parts = (centred(described[i : i + 4000]) for i in range(0, len(patches), 4000))
    compared = np.concatenate([likeness(part, centred(kept), width) for part in parts])
    plain = np.column_stack([shares(patches), np.ones(len(patches), np.float32)])
    known = np.isfinite(readings[:, 3])
    columns: list[tuple[Array32, Array32]] = []
    for rows, wanted in ((slice(None), readings[:, :3]), (known, readings[known, 3:])):
        linear = _ridge(plain[rows], wanted, PLAIN_RIDGE)
        columns.append((_ridge(compared[rows], wanted - plain[rows] @ linear, RIDGE), linear))
    weights, slopes = (np.concatenate(part, axis=1) for part in zip(*columns, strict=True))
    return Regression(components, kept, width, weights, slopes[:-1], slopes[-1])


def _ridge(rows: Array32, wanted: Floats, ridge: float) -> Array32:
    normal = (rows.T @ rows).astype(float) + ridge * np.eye(rows.shape[1])
    return np.asarray(np.linalg.solve(normal, rows.T.astype(float) @ wanted), np.float32)


@click.command()
@click.argument("folders", nargs=-1, required=True, type=click.Path(exists=True, path_type=Path))
@click.option("--out", required=True, type=click.Path(path_type=Path), help="Where the weights go (.npz).")
def main(folders: Sequence[Path], out: Path) -> None:
    """Train the closer look on FOLDERS of labelled photos."""
    truths = [truth for folder in folders for truth in read_truths(folder)]
    half_of = halves(truths)
    shown = [
        examples([truth for truth, of in zip(truths, half_of, strict=True) if of == half]) for half in (0, 1)
    ]
    for learn, ask in ((0, 1), (1, 0)):
        wrong = fit(*shown[learn])(shown[ask][0]) - shown[ask][1]
        centre, lean = np.hypot(wrong[:, 0], wrong[:, 1]), np.hypot(wrong[:, 3], wrong[:, 4])
        click.echo(
            f"on the half left out, medians: centre {np.median(centre):.3f} r, "
            f"radius {np.median(np.abs(wrong[:, 2])):.1%}, lean {np.nanmedian(lean):.3f} r"
        )
    write_arrays(out, fit(*(np.concatenate(part) for part in zip(*shown, strict=True))).arrays())
    click.echo(f"{len(truths)} photos, {sum(len(part[0]) for part in shown)} views")


if __name__ == "__main__":
    main()
