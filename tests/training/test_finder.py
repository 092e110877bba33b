"""Views carry their labels along, circles are told apart, and trees survive the way out of scikit-learn."""

import cv2
import numpy as np
import pytest

from visual_aid.evaluation.truth import TruthFastener, TruthPhoto
from visual_aid.fasteners.propose import moved
from visual_aid.fasteners.trees import Trees
from visual_aid.fasteners.weights import load
from visual_aid.model import KINDS
from visual_aid.training.finder import Scene, assign, offsets, scenes, train

NONE = np.zeros((0, 4), np.float32)


def scene(circles, kinds, teaches, unjudged=NONE) -> Scene:
    return Scene(
        [], np.array(circles, np.float32), tuple(kinds), np.array(teaches), np.array(unjudged, np.float32)
    )


def test_circles_on_labels_beside_them_and_in_boxes_that_count_neither_way() -> None:
    labelled = scene(
        [(100, 100, 20), (300, 100, 20), (500, 100, 20), (700, 100, 20)],
        ("hex_nut", "bare_stud", "other", "bolt_head"),
        (True, True, False, False),
        [(0, 300, 200, 400)],
    )
    circles = np.array(
        [
            (102, 99, 22),  # on the nut
            (114, 100, 20),  # beside it
            (100, 100, 32),  # too large for it
            (300, 101, 19),  # on the stud: no nut
            (500, 100, 20),  # on something unsure
            (700, 100, 20),  # on a bolt head that does not teach
            (900, 900, 20),  # on nothing
            (100, 350, 20),  # in a box that does not count
        ],
        np.float32,
    )
    state, label = assign(circles, labelled)
    assert state.tolist() == [1, -1, -1, 0, -1, -1, 0, -1]
    assert label.tolist() == [0, -1, -1, 1, -1, -1, -1, -1]


def test_moving_by_the_offsets_arrives_at_the_label() -> None:
    circles = np.array([[100.0, 90, 20]], np.float32)
    target = np.array([[104.0, 86, 25]], np.float32)
    shift = [
        Trees(np.zeros((1, 1), np.int16), np.zeros((1, 1), "f4"), np.zeros((1, 2), "f4"), np.float32(v))
        for v in offsets(circles, target)[0]
    ]
    assert moved(circles, np.zeros((1, 1), np.float32), shift) == pytest.approx(target, abs=1e-3)


@pytest.fixture
def labelled(tmp_path) -> TruthPhoto:
    """Bright discs on a dark photo, each labelled."""
    image = np.full((600, 800, 3), 40, np.uint8)
    spots = [(150, 140, 30), (500, 200, 40), (620, 450, 24)]
    for x, y, r in spots:
        cv2.circle(image, (x, y), r, (230, 230, 230), -1, cv2.LINE_AA)
    cv2.imwrite(str(tmp_path / "a.png"), image)
    fasteners = tuple(TruthFastener(i, "hex_nut", x, y, r) for i, (x, y, r) in enumerate(spots))
    return TruthPhoto(tmp_path / "a.png", 800, 600, fasteners)


def test_labels_stay_on_their_fasteners_in_every_view(labelled) -> None:
    views = list(scenes([labelled], 12))
    assert len(views) == 13
    assert views[0].circles == pytest.approx(np.array([[150, 140, 30], [500, 200, 40], [620, 450, 24]]))
    seen = 0
    for view in views:
        light = view.octaves.light[0].astype(float)
        rows, columns = np.mgrid[: light.shape[0], : light.shape[1]]
        for (x, y, r), teaches in zip(view.circles, view.teaches, strict=True):
            if not teaches:
                continue
            away = np.hypot(columns - x, rows - y) / r
            assert light[away < 0.5].mean() > 1.5 * light[(away > 1.5) & (away < 1.8)].mean()
            seen += 1
    assert seen > 15


def test_views_are_the_same_on_every_run(labelled) -> None:
    one, two = (list(scenes([labelled], 2)) for _ in range(2))
    for a, b in zip(one, two, strict=True):
        assert np.array_equal(a.octaves.light[0], b.octaves.light[0])
        assert np.array_equal(a.circles, b.circles)


def test_the_kinds_are_learned_for_a_search_that_stays(tmp_path, monkeypatch) -> None:
    monkeypatch.setattr("visual_aid.training.finder.KIND_TREES", 2)
    image = np.full((600, 900, 3), 90, np.uint8)
    spots = [(x, y, 30) for y in (150, 400) for x in (100, 275, 450, 625, 800)]
    for number, (x, y, r) in enumerate(spots):
        cv2.circle(image, (x, y), r, (230 - 40 * (number % 5),) * 3, -1, cv2.LINE_AA)
    cv2.imwrite(str(tmp_path / "a.png"), image)
    fasteners = tuple(TruthFastener(i, KINDS[i % 5], x, y, r) for i, (x, y, r) in enumerate(spots))
    before, heard = load(), []
    after = train([TruthPhoto(tmp_path / "a.png", 900, 600, fasteners)], heard.append, before)
    for name in ("template", "coarse", "coarse_shift", "fine", "shift", "final", "context"):
        assert getattr(after, name) is getattr(before, name)
    assert all("0 of" not in line for line in heard)
    assert not any(
        np.array_equal(new.value, old.value) for new, old in zip(after.kinds, before.kinds, strict=True)
    )
