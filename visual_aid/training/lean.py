"""Train the lean of fasteners: ``python -m visual_aid.training.lean FOLDER... --out FILE``.

Needs labels with the homography of the part's plane, from which the camera, and so the seat of every
fastener, follow. Every patch is shown turned and mirrored, since a lean turns with it.
"""

from __future__ import annotations

import io
import math
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import click
import cv2
import numpy as np
from numpy.typing import NDArray

from visual_aid.fasteners.lean import HEIGHTS, PATCH_X, PATCH_Y, patch_features
from visual_aid.fasteners.patches import lab_octaves
from visual_aid.files import write_atomically
from visual_aid.photo import read_photo
from visual_aid.training.truth import TruthFastener, TruthPhoto, read_truths

TURNS = 12
RIDGE = 30.0
LEAST_RADIUS = 12.0
FOCAL_WIDTHS = (0.65, 2.2)
"""Plausible focal lengths in picture widths; a nearly head-on view leaves it open."""

Floats = NDArray[np.float64]


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


def examples(truths: Sequence[TruthPhoto]) -> tuple[Floats, Floats]:
    """Features and leans of all labelled fasteners in place, turned and mirrored, shapes (N, F), (N, 2)."""
    rng = np.random.default_rng(0)
    features, leans = [], []
    for truth in truths:
        photo = read_photo(truth.path)
        octaves = lab_octaves(cv2.cvtColor(photo.working, cv2.COLOR_RGB2Lab).astype(np.uint8, copy=False))
        for fastener in truth.fasteners:
            if fastener.ignore or HEIGHTS.get(fastener.kind, 0.0) == 0 or fastener.radius < LEAST_RADIUS:
                continue
            lean = lean_of(truth, fastener)
            circle = np.array(
                [
                    [
                        photo.to_working(fastener.cx),
                        photo.to_working(fastener.cy),
                        fastener.radius / photo.scale,
                    ]
                ],
                np.float32,
            )
            for turn in range(TURNS):
                angle = rng.uniform(0, 2 * math.pi) if turn else 0.0
                cosine, sine = math.cos(angle), math.sin(angle)
                matrix = np.array([[cosine, -sine], [sine, cosine]]) @ np.diag(
                    [-1.0 if turn % 2 else 1.0, 1.0]
                )
                size = math.exp(rng.normal(0, 0.06))
                shift = rng.normal(0, 0.06, 2)
                x = size * (matrix[0, 0] * PATCH_X + matrix[0, 1] * PATCH_Y) + shift[0]
                y = size * (matrix[1, 0] * PATCH_X + matrix[1, 1] * PATCH_Y) + shift[1]
                features.append(
                    patch_features(octaves, circle, x.astype(np.float32), y.astype(np.float32))[0]
                )
                leans.append(np.linalg.solve(matrix, lean))
    return np.array(features, float), np.array(leans)


@click.command()
@click.argument("folders", nargs=-1, required=True, type=click.Path(exists=True, path_type=Path))
@click.option("--out", required=True, type=click.Path(path_type=Path), help="Where the weights go (.npz).")
def main(folders: Sequence[Path], out: Path) -> None:
    """Train the lean on FOLDERS of labelled photos that carry the plane of the part."""
    from sklearn.linear_model import Ridge

    truths = [t for folder in folders for t in read_truths(folder) if t.plane is not None]
    features, leans = examples(truths)
    regression: Any = Ridge(RIDGE).fit(features, leans)
    buffer = io.BytesIO()
    np.savez_compressed(
        buffer,
        weights=regression.coef_.T.astype(np.float32),
        bias=regression.intercept_.astype(np.float32),
    )
    write_atomically(out, buffer.getvalue())
    error = np.hypot(*(regression.predict(features) - leans).T)
    click.echo(f"{len(truths)} photos, median error on them {np.median(error):.2f} r")


if __name__ == "__main__":
    main()
