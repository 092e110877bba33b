import math
import shutil
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st

from visual_aid.evaluation.truth import TruthFastener, TruthPhoto, read_truths
from visual_aid.fasteners.refine import LOOKS
from visual_aid.fasteners.regression import Regression
from visual_aid.training import refine
from visual_aid.training.refine import camera, examples, lean_of

WIDTH, HEIGHT = 1600, 1200
SAMPLES = Path(__file__).parents[2] / "sample_images"


def view(tilt, turn, focal, distance=60.0):
    """A camera that looks at the plane's origin from ``tilt`` off its normal; plane in any unit, y up."""
    t, a = math.radians(tilt), math.radians(turn)
    spin = np.array([[math.cos(a), -math.sin(a), 0], [math.sin(a), math.cos(a), 0], [0, 0, 1]])
    nod = np.array([[1, 0, 0], [0, math.cos(t), -math.sin(t)], [0, math.sin(t), math.cos(t)]])
    # Plane x right, y up, z to the viewer becomes picture x right, y down, z away.
    axes = np.diag([1.0, -1.0, -1.0]) @ nod @ spin
    lens = np.array([[focal, 0, WIDTH / 2], [0, focal, HEIGHT / 2], [0, 0, 1]])
    pose = np.column_stack([axes[:, 0], axes[:, 1], [0, 0, distance]])
    return lens, axes, lens @ pose


@given(st.floats(15, 50), st.floats(5, 85), st.floats(0.8, 2.0))
def test_the_camera_comes_back_from_the_plane(tilt, turn, widths):
    _, axes, plane = view(tilt, turn, widths * WIDTH)
    truth = TruthPhoto("a.jpg", WIDTH, HEIGHT, plane=tuple(map(tuple, plane / plane[2, 2])))
    focal, columns, _ = camera(truth)
    assert focal == pytest.approx(widths * WIDTH, rel=0.02)
    normal = columns[:, 2] / np.linalg.norm(columns[:, 2])
    assert abs(normal @ axes[:, 2]) == pytest.approx(1, abs=1e-3)


@given(st.floats(15, 50), st.floats(5, 85), st.floats(-6, 6), st.floats(-6, 6))
def test_the_lean_is_that_of_a_point_one_nut_height_up(tilt, turn, x, y):
    lens, axes, plane = view(tilt, turn, 1.2 * WIDTH)
    truth = TruthPhoto("a.jpg", WIDTH, HEIGHT, plane=tuple(map(tuple, plane)))
    unit = 1.0  # half the width across flats, in the plane's unit

    def seen(z):
        point = lens @ (axes @ (x, y, z) + (0, 0, 60.0))
        return point[:2] / point[2]

    top, seat = seen(1.3 * unit), seen(0.0)
    step = 1e-3
    jacobian = np.column_stack(
        [
            ((q := lens @ (axes @ (x + dx, y + dy, 1.3) + (0, 0, 60.0)))[:2] / q[2] - top) / step
            for dx, dy in ((step, 0), (0, step))
        ]
    )
    radius = unit * math.sqrt(abs(np.linalg.det(jacobian)))
    lean = lean_of(truth, TruthFastener(0, "hex_nut", top[0], top[1], radius))
    assert lean * radius == pytest.approx(top - seat, abs=0.06 * radius)


def test_labels_without_a_plane_are_refused_by_name():
    with pytest.raises(ValueError, match=r"a\.jpg"):
        camera(TruthPhoto("a.jpg", WIDTH, HEIGHT))


def test_a_label_whose_seat_runs_off_to_the_horizon_teaches_no_lean():
    plane = ((1.66, -4.7366, 784.4), (1.3061, -4.7313, 32.474), (-0.0024248, -0.0045358, 1.0))
    truth = TruthPhoto("a.jpg", 1280, 960, plane=plane)
    with pytest.raises(ValueError, match="fastener 2 runs off to the horizon"):
        lean_of(truth, TruthFastener(2, "hex_nut", 369.1, 256.1, 100.65))


def test_fasteners_at_a_tilt_are_shown_on_their_body_and_their_stud_too():
    labels = np.tile([[100.0, 100.0, 20.0]], (4000, 1))
    leans = np.tile([[0.0, 0.0], [0.0, 1.0]], (2000, 1))  # every second one leans, its seat above its top
    away = (refine._rough(labels, leans, np.random.default_rng(1)) - labels) / 20.0
    head_on, tilted = away[::2], away[1::2]
    assert np.abs(head_on[:, :2]).max() < 5.5 * refine.MOVED
    on_body = (tilted[:, 1] < -0.45) & (tilted[:, 2] > 0.15)
    on_stud = (tilted[:, 1] > 0.35) & (tilted[:, 2] < -0.2)
    assert 0.08 < on_body.mean() < 0.25
    assert 0.05 < on_stud.mean() < 0.15
    assert not ((head_on[:, 1] < -0.45) & (head_on[:, 2] > 0.15)).sum() > 5


@pytest.fixture
def few(monkeypatch):
    """A few labelled samples, each shown three times; they teach nothing here that is kept."""
    monkeypatch.setattr(refine, "TURNS", 3)
    return read_truths(SAMPLES)[::5]


def test_a_look_is_shown_circles_where_the_looks_before_put_them(few):
    patches, first = examples(few)
    unmoved, same = examples(few, [lambda seen: np.zeros((len(seen), 5))])
    assert (unmoved == patches).all()
    assert same == pytest.approx(first, abs=1e-4, nan_ok=True)
    moved, second = examples(few, [lambda seen: np.tile([0.1, -0.05, 0.2, 0, 0], (len(seen), 1))])
    larger = math.exp(0.2)
    assert second[:, :2] == pytest.approx((first[:, :2] - [0.1, -0.05]) / larger, abs=1e-4)
    assert second[:, 2] == pytest.approx(first[:, 2] - 0.2, abs=1e-4)
    assert second[:, 3:] == pytest.approx(first[:, 3:] / larger, abs=1e-4, nan_ok=True)
    assert (moved != patches).any()


def test_the_command_writes_what_was_learned_for_every_look(few, tmp_path):
    for truth in few:
        for file in (truth.path, truth.path.with_suffix(".json")):
            shutil.copy(file, tmp_path)
    saved = tmp_path / "refine.npz"
    ran = CliRunner().invoke(refine.main, [str(tmp_path), "--out", str(saved)])
    assert ran.exit_code == 0, ran.output
    assert ran.output.count("on the half left out") == 2 * LOOKS
    with np.load(saved) as arrays:
        looks = [Regression.of(arrays, f"{look}.") for look in range(LOOKS)]
    patches, readings = examples(few)
    left = looks[0](patches)[:, :3] - readings[:, :3]
    assert np.abs(left).mean() < 0.85 * np.abs(readings[:, :3]).mean()


def test_photos_that_all_fall_into_one_half_are_refused(tmp_path):
    truth = read_truths(SAMPLES)[0]
    for file in (truth.path, truth.path.with_suffix(".json")):
        shutil.copy(file, tmp_path)
    ran = CliRunner().invoke(refine.main, [str(tmp_path), "--out", str(tmp_path / "refine.npz")])
    assert ran.exit_code == 2
    assert "too few photos" in ran.output
