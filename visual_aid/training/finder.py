"""Trains the finder's weights: python -m visual_aid.training.finder TRUTH_DIR... --out FILE.

Every labelled photo is seen once as it is and several times through a random affine view with other
light, blur, noise and compression. Each stage is trained on what the stage before it lets through. All
randomness comes from fixed seeds, so the same photos give the same weights; a folder named twice counts
twice, with views of its own.
"""

from __future__ import annotations

import argparse
import math
import zlib
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from visual_aid.evaluation.truth import SMALL, TruthPhoto, read_truths
from visual_aid.fasteners.channels import CHANNELS, REACH, pyramid, windows
from visual_aid.fasteners.context import context
from visual_aid.fasteners.patches import FEATURES, Octaves, features, hexagon_features, lab_octaves
from visual_aid.fasteners.propose import moved, peaks
from visual_aid.fasteners.search import apart, proposals, settled
from visual_aid.fasteners.trees import Trees
from visual_aid.fasteners.weights import Weights, load
from visual_aid.model import IN_PLACE, KINDS
from visual_aid.photo import read_photo
from visual_aid.threads import one_thread
from visual_aid.training.boosting import classifier, no_trees, regressions
from visual_aid.training.learned import write_arrays

SIDE = 2 * REACH + 1
FINAL_TREES = 300
KIND_TREES = 60
UNSURE = -2
VIEWS = 3
CANVAS = (840, 680)

Floats = NDArray[np.float32]
Image = NDArray[np.uint8]


@dataclass(frozen=True, slots=True)
class Scene:
    """One view of a labelled photo.

    Attributes
    ----------
    octaves : Octaves
        Of the view.
    circles : ndarray of float32, shape (N, 3)
        Labelled centres and radii in this view.
    kinds : tuple of str
    teaches : ndarray of bool, shape (N,)
        False: found or not, it counts neither way.
    unjudged : ndarray of float32, shape (M, 4)
        Boxes x0, y0, x1, y1 in which nothing counts.
    """

    octaves: Octaves
    circles: Floats
    kinds: tuple[str, ...]
    teaches: NDArray[np.bool_]
    unjudged: Floats


def scenes(truths: Sequence[TruthPhoto], views: int = VIEWS) -> Iterator[Scene]:
    """View every labelled photo as it is and through ``views`` random changes."""
    for number, truth in enumerate(truths):
        rgb = read_photo(truth.path).working
        scale = max(rgb.shape[:2]) / max(truth.width, truth.height)
        yield _view(truth, rgb, np.array([[scale, 0, 0], [0, scale, 0]]), None)
        for k in range(views):
            rng = np.random.default_rng([number, k])
            yield _view(truth, rgb, _affine(truth, scale, rng), rng)


def _affine(truth: TruthPhoto, scale: float, rng: np.random.Generator) -> NDArray[np.float64]:
    """Draw a view near a fastener, a little turned and squeezed, and small more often than large."""
    seen = [f for f in truth.fasteners if f.kind in KINDS]
    if seen:
        f = seen[int(rng.integers(len(seen)))]
        target = math.exp(rng.uniform(math.log(9.5), math.log(32)))
        zoom = float(np.clip(target / f.radius, 0.12 * scale, 1.9 * scale))
        centre = np.array([f.cx, f.cy])
    else:
        zoom = scale * math.exp(rng.uniform(math.log(0.3), math.log(1.3)))
        centre = rng.uniform((0, 0), (truth.width, truth.height))
    # quarter turns: studs, flats and shadows may lean any way
    turn = math.radians(rng.normal(0, 12)) + math.pi / 2 * int(rng.integers(4)) * (rng.random() < 0.6)
    squeeze, way = rng.uniform(0.75, 1.0), rng.uniform(0, math.pi)
    rotation = np.array([[math.cos(turn), -math.sin(turn)], [math.sin(turn), math.cos(turn)]])
    along = np.array([math.cos(way), math.sin(way)])
    matrix = zoom * rotation @ (np.eye(2) + (squeeze - 1) * np.outer(along, along))
    if rng.random() < 0.5:
        matrix = matrix @ np.diag([-1, 1])
    extent = np.abs(matrix) @ (truth.width, truth.height)
    canvas = np.minimum(CANVAS, extent)
    place = canvas * rng.uniform(0.25, 0.75, 2)
    # keep the canvas on the photo where the photo is larger
    middle = matrix @ (np.array([truth.width, truth.height]) / 2)
    offset = place - matrix @ centre
    offset = np.clip(offset, canvas - middle - extent / 2, extent / 2 - middle)
    return np.concatenate([matrix, offset[:, None]], axis=1)


def _view(
    truth: TruthPhoto, rgb: Image, affine: NDArray[np.float64], rng: np.random.Generator | None
) -> Scene:
    scale = max(rgb.shape[:2]) / max(truth.width, truth.height)
    matrix = affine[:, :2]
    growth = math.sqrt(abs(np.linalg.det(matrix)))
    if rng is not None:
        extent = np.abs(matrix) @ (truth.width, truth.height)
        size = tuple(int(v) for v in np.minimum(CANVAS, extent))
        source: Any = rgb
        onto = affine @ np.diag([1 / scale, 1 / scale, 1])
        shrink = min(1.0, 2.0 * growth / scale)
        if shrink < 1.0:
            source = cv2.resize(rgb, None, fx=shrink, fy=shrink, interpolation=cv2.INTER_AREA)
            onto = affine @ np.diag([1 / scale / shrink, 1 / scale / shrink, 1])
        if growth < scale:
            source = cv2.GaussianBlur(source, (0, 0), 0.45)
        rgb = _developed(cv2.warpAffine(source, onto, size, borderMode=cv2.BORDER_REPLICATE), rng)
    height, width = rgb.shape[:2]
    rows: list[tuple[float, float, float]] = []
    kinds, teaches = [], []
    for f in truth.fasteners:
        x, y = matrix @ (f.cx, f.cy) + affine[:, 2]
        r = f.radius * growth
        if not (-r < x < width + r and -r < y < height + r):
            continue
        inside = 0.5 * r < x < width - 0.5 * r and 0.5 * r < y < height - 0.5 * r
        rows.append((x, y, r))
        kinds.append(f.kind)
        teaches.append(bool(inside and r >= SMALL and f.teaches))
    boxes = []
    for x, y, w, h in truth.ignore_regions:
        corners = np.array([(x, y), (x + w, y), (x, y + h), (x + w, y + h)]) @ matrix.T + affine[:, 2]
        boxes.append((*corners.min(axis=0), *corners.max(axis=0)))
    return Scene(
        lab_octaves(cv2.cvtColor(rgb, cv2.COLOR_RGB2Lab)),
        np.array(rows, np.float32).reshape(-1, 3),
        tuple(kinds),
        np.array(teaches, bool),
        np.array(boxes, np.float32).reshape(-1, 4),
    )


def _developed(rgb: NDArray[Any], rng: np.random.Generator) -> Image:
    """Give a view other light, colour balance, sharpness, noise and compression."""
    light: Any = (rgb.astype(np.float32) / 255) ** math.exp(rng.uniform(-0.45, 0.45))
    light *= rng.uniform(0.75, 1.15) * rng.uniform(0.88, 1.12, 3).astype(np.float32)
    if rng.random() < 0.4:
        light = cv2.GaussianBlur(light, (0, 0), rng.uniform(0.4, 1.3))
    light += rng.normal(0, rng.uniform(0, 0.03), light.shape).astype(np.float32)
    developed: Any = (np.clip(light, 0, 1) * 255).astype(np.uint8)
    if rng.random() < 0.6:
        quality = int(rng.integers(50, 92))
        developed = cv2.imdecode(cv2.imencode(".jpg", developed, [cv2.IMWRITE_JPEG_QUALITY, quality])[1], 1)
    return np.asarray(developed, np.uint8)


def assign(circles: Floats, scene: Scene) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Tell which circles stand on a labelled fastener.

    Returns
    -------
    state : ndarray of int, shape (N,)
        1 on a nut or bolt head that teaches, 0 on nothing, -1 undecided.
    label : ndarray of int, shape (N,)
        Index of the label that the circle stands on, else -1.
    """
    state, label = np.zeros(len(circles), np.int64), np.full(len(circles), -1)
    for j, (x, y, r) in enumerate(scene.circles):
        away = np.hypot(circles[:, 0] - x, circles[:, 1] - y) / r
        ratio = np.abs(np.log(circles[:, 2] / r))
        on, near = (away < 0.5) & (ratio < math.log(1.5)), (away < 0.9) & (ratio < math.log(2))
        if scene.kinds[j] in IN_PLACE and scene.teaches[j]:
            state[near & (state == 0)] = -1
            state[on] = 1
            label[on] = j
        elif scene.kinds[j] in ("bare_stud", "empty_hole"):
            label[on & (state != 1)] = j
        else:
            state[near & (state == 0)] = -1
    x, y = circles[:, 0], circles[:, 1]
    for x0, y0, x1, y1 in scene.unjudged:
        state[(state == 0) & (x > x0) & (x < x1) & (y > y0) & (y < y1)] = -1
    return state, label


def offsets(circles: Floats, target: Floats) -> Floats:
    """Displacements from circles to where they belong, as ``propose.moved`` applies them."""
    x, y, r = circles.T
    return np.stack([(target[:, 0] - x) / r, (target[:, 1] - y) / r, np.log(target[:, 2] / r)], axis=1)


def linear_template(views: Sequence[Scene]) -> Floats:
    """Fit the proposals' template: Fisher's discriminant of windows on fasteners against random ones."""
    rng = np.random.default_rng(0)
    on, off = [], []
    for scene in views:
        nuts = [
            c
            for c, k, t in zip(scene.circles, scene.kinds, scene.teaches, strict=True)
            if t and k in IN_PLACE
        ]
        for level in pyramid(scene.octaves.light[0]):
            height, width = level.cells.shape[1:]
            at = [(y, x) for x, y, r in nuts if abs(math.log(r / level.radius)) < 0.16]
            if at:
                cells = (np.array(at) + 0.5) / level.pitch[::-1] - 0.5
                rows, columns = np.clip(np.round(cells).astype(int), 0, (height - 1, width - 1)).T
                on.append(windows(level, rows, columns))
            rows, columns = rng.integers(0, height, 25), rng.integers(0, width, 25)
            x, y = columns * level.pitch[0], rows * level.pitch[1]
            free = np.ones(25, bool)
            for cx, cy, r in scene.circles:
                free &= np.hypot(x - cx, y - cy) > r
            off.append(windows(level, rows[free], columns[free]))
    yes, no = _mirrored(np.concatenate(on)), _mirrored(np.concatenate(off)[::2])
    spread = 0.5 * (np.cov(yes.T) + np.cov(no.T))
    spread += 0.5 * np.trace(spread) / len(spread) * np.eye(len(spread))
    weights = np.linalg.solve(spread, yes.mean(axis=0) - no.mean(axis=0))
    weights /= math.sqrt(weights @ spread @ weights)
    return weights.reshape(CHANNELS, SIDE, SIDE).astype(np.float32)


def _mirrored(cut: Floats) -> Floats:
    """Add the eight symmetries of the square: edge direction's cosine and sine change with them."""
    cells = cut.reshape(-1, CHANNELS, SIDE, SIDE)
    out = []
    for quarter in range(4):
        for flip in (False, True):
            turned = np.rot90(cells, quarter, axes=(2, 3)).copy()
            if quarter % 2:
                turned[:, 1:3] *= -1
            if flip:
                turned = turned[..., ::-1].copy()
                turned[:, 2] *= -1
            out.append(turned.reshape(len(cut), -1))
    return np.concatenate(out)


@dataclass
class Samples:
    """Gathers what a stage sees over the scenes."""

    circles: list[Floats]
    x: list[Floats]
    state: list[NDArray[np.int64]]
    offset: list[Floats]
    kind: list[NDArray[np.int64]]
    photo: list[NDArray[np.int64]]

    @classmethod
    def empty(cls) -> Samples:
        """Start gathering."""
        return cls([], [], [], [], [], [])

    def add(
        self, number: int, scene: Scene, circles: Floats, seen: Floats, hardest: int, others: int
    ) -> None:
        """Add what a scene has of labelled circles, its first ``hardest`` negatives and some others."""
        rng = np.random.default_rng(number)
        state, label = assign(circles, scene)
        free = np.nonzero(state == 0)[0]
        some = rng.choice(free, min(others, len(free)), replace=False)
        labelled = np.nonzero((state != 0) | (label >= 0))[0]
        use = np.union1d(labelled, np.union1d(free[:hardest], some)).astype(int)
        if not len(use):
            return
        on = label[use]
        labels = scene.circles if len(scene.circles) else np.ones((1, 3), np.float32)
        names = [-1 if j < 0 else KINDS.index(scene.kinds[j]) if scene.teaches[j] else UNSURE for j in on]
        self.circles.append(circles[use])
        self.x.append(seen[use])
        self.state.append(state[use])
        self.offset.append(offsets(circles[use], labels[on]))
        self.kind.append(np.array(names, np.int64))
        self.photo.append(np.full(len(use), number))

    def arrays(self) -> tuple[NDArray[Any], ...]:
        """Give everything gathered as one array per field."""
        fields = (self.x, self.state, self.offset, self.kind, self.photo)
        return tuple(np.concatenate(f) for f in fields)


def train(
    truths: Sequence[TruthPhoto], say: Callable[[str], None] = print, search: Weights | None = None
) -> Weights:
    """Train all stages on labelled photos.

    Parameters
    ----------
    truths : sequence of TruthPhoto
    say : callable
        Told how many examples each stage has.
    search : Weights, optional
        Weights whose search is kept as it is: only what tells the kinds apart is trained.
    """
    views = list(scenes(truths))
    say(f"{len(views)} views of {len(truths)} photos")
    nothing = no_trees()
    weights = search or Weights(
        linear_template(views),
        nothing, nothing, nothing, (nothing,) * 3, (nothing,) * 3, (nothing,) * len(KINDS), nothing,
    )  # fmt: skip

    tops = [peaks(scene.octaves.light[0], weights.template) for scene in views]
    if search is None:
        stage = Samples.empty()
        for number, (scene, (circles, sums)) in enumerate(zip(views, tops, strict=True)):
            order = np.argsort(-sums[:, -2], kind="stable")
            stage.add(number, scene, circles[order], sums[order], 35, 40)
        x, state, offset, _, _ = stage.arrays()
        on, sure = state == 1, state >= 0
        say(f"coarse: {on.sum()} of {sure.sum()}")
        weights = replace(
            weights,
            coarse=classifier(x[sure], on[sure], 200, 24),
            coarse_shift=regressions(x[on], offset[on], 80),
        )

    near = [proposals(circles, sums, weights) for circles, sums in tops]
    del tops
    looks = [features(scene.octaves, circles) for scene, circles in zip(views, near, strict=True)]
    first = Samples.empty()
    for number, (scene, circles, seen) in enumerate(zip(views, near, looks, strict=True)):
        first.add(number, scene, circles, seen, 35, 20)
    if search is None:
        x, state, offset, _, _ = first.arrays()
        on, sure = state == 1, state >= 0
        say(f"fine: {on.sum()} of {sure.sum()}")
        weights = replace(
            weights, fine=classifier(x[sure], on[sure], 200), shift=regressions(x[on], offset[on], 100)
        )

    last = Samples.empty()
    for number, (scene, circles, seen) in enumerate(zip(views, near, looks, strict=True)):
        circles = settled(circles, seen, weights)
        seen = features(scene.octaves, circles)
        hexagons = hexagon_features(scene.octaves, circles)
        last.add(number, scene, circles, np.concatenate([seen, hexagons], axis=1), 45, 15)
    if search is None:
        x, state, *_ = last.arrays()
        on, sure = state == 1, state >= 0
        say(f"final: {on.sum()} of {sure.sum()}")
        around, found = _contexts(truths, views, last, weights.shift)
        weights = replace(
            weights,
            final=classifier(x[sure], on[sure], FINAL_TREES),
            context=classifier(around, found, 60, 6),
        )
    return replace(weights, kinds=_kinds(first, last, say))


def _kinds(first: Samples, last: Samples, say: Callable[[str], None]) -> tuple[Trees, ...]:
    """Train what tells the kinds apart, on proposals and on settled circles."""
    (x, state, _, kind, _), (x2, state2, _, kind2, _) = first.arrays(), last.arrays()
    x, kind = np.concatenate([x, x2[:, :FEATURES]]), np.concatenate([kind, kind2])
    state = np.concatenate([state, state2])
    nut = (kind >= 0) & (kind < len(IN_PLACE))
    known = (kind != UNSURE) & ((state >= 0) | (kind >= len(IN_PLACE)))
    say(", ".join(f"{name}: {(kind == k).sum()}" for k, name in enumerate(KINDS)) + f" of {known.sum()}")
    return tuple(
        classifier(x[among], kind[among] == k, KIND_TREES, 10)
        for k, among in enumerate([nut] * len(IN_PLACE) + [known] * (len(KINDS) - len(IN_PLACE)))
    )


def _contexts(
    truths: Sequence[TruthPhoto], views: Sequence[Scene], stage: Samples, shift: Sequence[Trees]
) -> tuple[Floats, NDArray[np.bool_]]:
    """Give the contexts of finds whose odds come from trees that have not seen their photo, and the truth."""
    x, state, *_, view = stage.arrays()
    circles = np.concatenate(stage.circles)
    halves = np.array([zlib.crc32(truth.name.encode()) % 2 for truth in truths])
    half = halves[view // (VIEWS + 1)]
    odds = np.zeros(len(x), np.float32)
    for k in (0, 1):
        learn = (half != k) & (state >= 0)
        odds[half == k] = classifier(x[learn], state[learn] == 1, FINAL_TREES)(x[half == k])
    settled_at = moved(circles, x[:, :FEATURES], shift)
    rows, truth = [], []
    for number in np.unique(view):
        here = np.nonzero(view == number)[0]
        here = here[apart(settled_at[here], odds[here])]
        on, _ = assign(settled_at[here], views[number])
        rows.append(context(settled_at[here], odds[here])[on >= 0])
        truth.append(on[on >= 0] == 1)
    return np.concatenate(rows), np.concatenate(truth)


def main(arguments: Sequence[str] | None = None) -> None:
    """Run the training from the command line."""
    parser = argparse.ArgumentParser(prog="visual_aid.training.finder", description=__doc__.splitlines()[0])
    parser.add_argument(
        "folders", nargs="+", type=Path, metavar="TRUTH_DIR", help="folders of labelled photos"
    )
    parser.add_argument("--out", required=True, type=Path, help="weights file to write (.npz)")
    parser.add_argument(
        "--hold-out",
        type=int,
        default=0,
        metavar="N",
        help="leave each Nth photo of a folder out, to report on",
    )
    parser.add_argument(
        "--search-of", metavar="WEIGHTS", help="keep the search of these weights, train the kinds alone"
    )
    chosen = parser.parse_args(arguments)
    one_thread()
    truths = [
        truth
        for folder in chosen.folders
        for number, truth in enumerate(read_truths(folder), 1)
        if not chosen.hold_out or number % chosen.hold_out
    ]
    weights = train(truths, search=load(chosen.search_of) if chosen.search_of else None)
    write_arrays(chosen.out, weights.arrays())


if __name__ == "__main__":
    main()
