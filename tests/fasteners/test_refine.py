from pathlib import Path

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from visual_aid.evaluation.truth import read_truths
from visual_aid.fasteners.patches import lab_octaves, working_octaves
from visual_aid.fasteners.refine import (
    BINS,
    CELLS,
    SIDE,
    gradient_histograms,
    leans,
    patch_features,
    refined,
)
from visual_aid.photo import read_photo

SAMPLES = Path(__file__).parents[2] / "sample_images"


def circles_of(fasteners):
    return np.array([(f.cx, f.cy, f.radius) for f in fasteners], np.float32)


def test_an_upright_edge_votes_for_one_direction():
    patch = np.zeros((1, SIDE, SIDE), np.float32)
    patch[:, :, SIDE // 2 :] = 100
    votes = (gradient_histograms(patch)[0] ** 2).reshape(BINS, CELLS, CELLS)
    assert votes[0].sum() > 0.99 * votes.sum()


def test_histograms_do_not_change_with_brightness():
    patch = np.random.default_rng(3).uniform(0, 100, (2, SIDE, SIDE)).astype(np.float32)
    assert gradient_histograms(0.4 * patch + 20) == pytest.approx(gradient_histograms(patch), abs=1e-3)


@settings(max_examples=15)
@given(st.floats(-0.2, 0.2), st.floats(-0.2, 0.2), st.floats(-0.1, 0.1))
def test_wherever_a_nut_is_first_seen_it_ends_in_one_place(draw_joint, dx, dy, growth):
    pixels, fasteners = draw_joint(tilt=20)
    octaves = lab_octaves(cv2.cvtColor(pixels, cv2.COLOR_RGB2Lab))
    exact = circles_of(fasteners)
    rough = exact + exact[:, 2:] * np.array([[dx, dy, 0]], np.float32)
    rough[:, 2] *= np.exp(growth)
    ends, one = refined(octaves, rough.astype(np.float32)), refined(octaves, exact)
    assert np.median(np.hypot(*(ends - one)[:, :2].T) / exact[:, 2]) < max(0.06, 0.6 * np.hypot(dx, dy))
    assert np.hypot(*(ends - exact)[:, :2].T).max() < 0.4 * exact[:, 2].min()


@pytest.mark.parametrize("unit", ["unit236", "unit308"])
def test_circles_go_back_to_the_labels_of_photos_that_taught_nothing(unit):
    (truth,) = (t for t in read_truths(SAMPLES) if unit in t.name)
    photo = read_photo(truth.path)
    octaves = working_octaves(photo)
    seen = [f for f in truth.fasteners if f.teaches]
    labels = np.array(
        [(photo.to_working(f.cx), photo.to_working(f.cy), f.radius / photo.scale) for f in seen]
    )
    away = np.random.default_rng(5).uniform(-0.3, 0.3, (len(labels), 2))
    rough = labels + np.column_stack([away * labels[:, 2:], np.zeros(len(labels))])
    left = (refined(octaves, rough.astype(np.float32)) - labels)[:, :2] / labels[:, 2:]
    assert np.median(np.hypot(*left.T)) < 0.7 * np.median(np.hypot(*away.T))


def test_size_in_pixels_does_not_matter(draw_joint):
    pixels, fasteners = draw_joint(tilt=30)
    twice = cv2.resize(pixels, None, fx=2, fy=2, interpolation=cv2.INTER_CUBIC)
    once = lab_octaves(cv2.cvtColor(pixels, cv2.COLOR_RGB2Lab))
    large = lab_octaves(cv2.cvtColor(twice, cv2.COLOR_RGB2Lab))
    circles = circles_of(fasteners)
    there = np.column_stack([2 * circles[:, :2] + 0.5, 2 * circles[:, 2]]).astype(np.float32)
    assert leans(large, there) == pytest.approx(leans(once, circles), abs=0.1)


def test_nothing_found_is_nothing_to_look_at():
    octaves = lab_octaves(np.zeros((80, 80, 3), np.uint8))
    none = np.zeros((0, 3), np.float32)
    assert refined(octaves, none).shape == (0, 3)
    assert patch_features(octaves, none).shape == (0, BINS * CELLS * CELLS)
