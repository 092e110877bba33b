"""Train the closer look at fasteners: ``python -m visual_aid.training.refine FOLDER... --out FILE``.

Centre and radius are learned from any labels, the lean from those that carry the homography of the part's
plane, from which the camera, and so the seat of every fastener, follow.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path

import click
import numpy as np
from numpy.typing import NDArray

from visual_aid.evaluation.truth import SMALL, TruthFastener, TruthPhoto, read_truths
from visual_aid.fasteners.lean import HEIGHTS
from visual_aid.fasteners.patches import working_octaves
from visual_aid.fasteners.refine import LOOKS, PATCH_X, PATCH_Y, patch_features, shifted
from visual_aid.fasteners.regression import Image, Regression, centred, likeness, shares, squared_distances
from visual_aid.photo import read_photo
from visual_aid.training.kernels import halves, principal
from visual_aid.training.learned import write_arrays

TURNS = 16
MOVED, GROWN = 0.17, 0.13
"""How far off rough circles are shown: standard deviations in radii and of the logarithm of the radius."""
LEAST_LEAN = 0.4
ASTRAY = ((0.25, -1.0, (0.1, 0.5)), (0.15, 0.7, (-0.7, -0.2)))
"""Of fasteners that lean so far, in r: share shown astray, whither (along the lean, in its length) and range
of the logarithm of the growth. What a search takes for a nut at a tilt is its whole body with the washer, or
the end of its stud. With 0.15 and 0.1 F1 on the samples, 37 made photos held out and 28 real ones is 0.84,
0.90 and 0.62, with these 0.87, 0.90 and 0.64, with 0.4 and 0.25 of wider ranges 0.84, 0.91 and 0.60, and
with none 0.84, 0.89 and 0.61."""
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
    """From the seat to the labelled top of a fastener, in its seen radii, shape (2,).

    Raises
    ------
    ValueError
        The labels have no homography, or the fastener stands where it leaves the seat open.
    """
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
        area = abs(np.linalg.det(scale))
        if area == 0:
            raise ValueError(f"{truth.path}: the seat of fastener {fastener.id} runs off to the horizon")
        height = HEIGHTS[fastener.kind] * fastener.radius / math.sqrt(area)
        wrong = top - seen(x, y, height)
        dx, dy = np.linalg.solve(scale, wrong)
        x, y = x + dx, y + dy
    lean: Floats = (top - seen(x, y, 0.0)) / fastener.radius
    return lean


def examples(truths: Sequence[TruthPhoto], looks: Sequence[Regression] = ()) -> tuple[Image, Floats]:
    """Show every labelled fastener turned, mirrored, moved and sized as a finder may have found it.

    Parameters
    ----------
    looks : sequence of Regression
        Those that move the rough circles before they are shown.

    Returns
    -------
    patches : ndarray of uint8, shape (N, F)
        From ``patch_features``.
    readings : ndarray of float, shape (N, 5)
        What is to be read off them, as ``refine.looks`` give it; the lean is NaN where no label tells.
    """
    rng = np.random.default_rng(0)
    patches, readings = [], []
    for truth in truths:
        photo = read_photo(truth.path)
        octaves = working_octaves(photo)
        taught = [f for f in truth.fasteners if f.teaches and f.radius / photo.scale >= SMALL]
        labels = np.array(
            [(photo.to_working(f.cx), photo.to_working(f.cy), f.radius / photo.scale) for f in taught]
        ).reshape(-1, 3)
        leans = np.array([_lean(truth, f) for f in taught]).reshape(-1, 2)
        for turn in range(TURNS if taught else 0):
            angle = rng.uniform(0, 2 * math.pi) if turn else 0.0
            cosine, sine = math.cos(angle), math.sin(angle)
            way = np.array([[cosine, -sine], [sine, cosine]]) @ np.diag([-1.0 if turn % 2 else 1.0, 1.0])
            x, y = (np.asarray(a * PATCH_X + b * PATCH_Y, np.float32) for a, b in way)
            circles = _rough(labels, leans, rng)
            for look in looks:
                seen = look(patch_features(octaves, circles, x, y))
                circles = shifted(circles, np.column_stack([seen[:, :2] @ way.T, seen[:, 2]]))
            patches.append(patch_features(octaves, circles, x, y))
            larger = labels[:, 2:] / circles[:, 2:]
            off = (labels[:, :2] - circles[:, :2]) / circles[:, 2:]
            readings.append(np.column_stack([off @ way, np.log(larger), leans * larger @ way]))
    return np.concatenate(patches), np.concatenate(readings)


def _lean(truth: TruthPhoto, fastener: TruthFastener) -> Floats:
    if truth.plane is not None and HEIGHTS[fastener.kind] > 0:
        with suppress(ValueError):
            return lean_of(truth, fastener)
    return np.full(2, np.nan)


def _rough(labels: Floats, leans: Floats, rng: np.random.Generator) -> Array32:
    """Move and size circles at random, as a finder may: some of those seen at a tilt onto body or stud."""
    circles = labels.copy()
    chance = rng.random(len(labels))
    along, growth = rng.uniform(0.2, 0.9, len(labels)), rng.random(len(labels))
    tilted = np.hypot(*leans.T) >= LEAST_LEAN
    for share, way, (least, most) in ASTRAY:
        moved = tilted & (chance >= 0) & (chance < share)
        chance -= share
        circles[moved, :2] += (way * along[:, None] * leans * labels[:, 2:])[moved]
        circles[moved, 2] *= np.exp(least + (most - least) * growth[moved])
    shift, grown = rng.normal(0, MOVED, (len(circles), 2)), rng.normal(0, GROWN, (len(circles), 1))
    return np.concatenate(
        [circles[:, :2] + shift * circles[:, 2:], circles[:, 2:] * np.exp(grown)], axis=1, dtype=np.float32
    )


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
    parts = [[truth for truth, of in zip(truths, half_of, strict=True) if of == half] for half in (0, 1)]
    if not all(parts):
        raise click.UsageError("too few photos: half of them are held out in turn; name more folders")
    taught: tuple[list[Regression], list[Regression]] = [], []
    looks = []
    for look in range(LOOKS):
        # Circles lie as far off as on new photos where those who moved them did not learn from the photo.
        shown = [examples(part, taught[1 - half]) for half, part in enumerate(parts)]
        for half in (0, 1):
            taught[half].append(fit(*shown[half]))
        for half in (0, 1):
            patches, readings = shown[half]
            wrong = taught[1 - half][look](patches) - readings
            centre, lean = np.hypot(wrong[:, 0], wrong[:, 1]), np.hypot(wrong[:, 3], wrong[:, 4])
            click.echo(
                f"look {look + 1}, on the half left out, medians: centre {np.median(centre):.3f} r, "
                f"radius {np.median(np.abs(wrong[:, 2])):.1%}, lean {np.nanmedian(lean):.3f} r"
            )
        looks.append(fit(*(np.concatenate(part) for part in zip(*shown, strict=True))))
    write_arrays(out, {k: v for n, look in enumerate(looks) for k, v in look.arrays(f"{n}.").items()})
    click.echo(f"{len(truths)} photos, {sum(len(part[0]) for part in shown)} views")


if __name__ == "__main__":
    main()
