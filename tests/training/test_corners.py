"""Where corners point, learned from labels; repeatable, and the same in a mirror."""

import math

import numpy as np
import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image, ImageDraw

from visual_aid.evaluation.truth import TruthFastener, TruthPhoto
from visual_aid.fasteners.patches import plane
from visual_aid.measure.corners import BEARINGS, DIRECTIONS, SHAPE, STEP, laid_on
from visual_aid.training.corners import VIEWS, Hexagon, examples, fit, main

R = 40.0


def outline(cx, cy, corner, matrix=((1, 0), (0, 1))):
    around = np.radians(corner + 60 * np.arange(6))
    corners = 2 / math.sqrt(3) * R * np.column_stack([np.cos(around), np.sin(around)]) @ np.transpose(matrix)
    return tuple((float(cx + x), float(cy + y)) for x, y in corners)


@settings(max_examples=30)
@given(corner=st.floats(0, 59.9), tilt=st.floats(0, 60), axis=st.floats(0, 180), backwards=st.booleans())
def test_a_hexagon_is_fitted_to_its_corners_either_way_round(corner, tilt, axis, backwards):
    slope = plane(tilt, axis)
    corners = outline(300, 200, corner, slope)
    lies = Hexagon.of(corners[::-1] if backwards else corners)
    assert lies.centre == pytest.approx((300, 200))
    assert lies.matrix == pytest.approx(R * slope, abs=0.01)
    assert (lies.corner - corner + 30) % 60 - 30 == pytest.approx(0, abs=0.01)
    assert (lies.seen_in(lies.matrix) - lies.corner + 30) % 60 - 30 == pytest.approx(0, abs=1e-6)


def test_other_outlines_are_no_hexagon():
    square = ((0.0, 0.0), (50.0, 0.0), (50.0, 50.0), (0.0, 50.0))
    assert Hexagon.of(square) is None
    assert Hexagon.of((*outline(100, 100, 10)[:5], (100.0, 100.0))) is None


@pytest.fixture
def labelled(tmp_path):
    """Give a photo of three hexagons, one labelled as gone and one without corners."""
    image = Image.new("RGB", (640, 240), (90, 90, 90))
    for k, corner in enumerate((5, 25, 45)):
        ImageDraw.Draw(image).polygon(outline(120 + 200 * k, 120, corner), fill=(170, 170, 170))
    image.save(tmp_path / "row.png")
    fasteners = (
        TruthFastener(0, "hex_nut", 120, 120, R, outline(120, 120, 5)),
        TruthFastener(1, "bare_stud", 320, 120, R, outline(320, 120, 25)),
        TruthFastener(2, "hex_nut", 520, 120, R),
    )
    return TruthPhoto(tmp_path / "row.png", 640, 240, fasteners)


def test_only_nuts_in_place_whose_corners_are_labelled_teach(labelled):
    counts, corners = examples(labelled, 1)
    assert counts.shape == (VIEWS, *SHAPE)
    assert np.abs((corners - 5 + 30) % 60 - 30).max() < 5
    again, _ = examples(labelled, 1)
    assert np.array_equal(counts, again)


def test_what_is_learned_points_where_the_labels_do():
    rng = np.random.default_rng(3)
    pattern = rng.random(SHAPE)
    pattern += pattern[:, -np.arange(DIRECTIONS)][:, :, -np.arange(BEARINGS)]

    def shown(many):
        at = rng.integers(0, BEARINGS, many)
        counts = np.array([np.roll(pattern, k, axis=-1) + rng.normal(0, 0.3, SHAPE) for k in at])
        return (counts / np.sqrt((counts**2).sum(axis=(1, 2, 3), keepdims=True))).astype(
            np.float32
        ), STEP * at

    template = fit(*shown(60))
    assert template == pytest.approx(template[:, -np.arange(DIRECTIONS)][:, :, -np.arange(BEARINGS)])
    counts, corners = shown(40)  # unseen
    assert STEP * laid_on(template, counts).argmax(axis=1) == pytest.approx(corners)


def test_labels_without_corners_are_refused_with_the_mend(tmp_path):
    Image.new("RGB", (200, 200)).save(tmp_path / "a.png")
    (tmp_path / "a.json").write_text(
        '{"image": "a.png", "width": 200, "height": 200,'
        ' "fasteners": [{"id": 0, "kind": "hex_nut", "cx": 90, "cy": 90, "r": 30}]}'
    )
    ran = CliRunner().invoke(main, [str(tmp_path), "--out", str(tmp_path / "corners.npz")])
    assert ran.exit_code == 1
    assert "add an outline" in ran.output
    assert not (tmp_path / "corners.npz").exists()
