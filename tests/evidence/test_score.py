import dataclasses

import numpy as np
import pytest

from visual_aid.evidence.register import MEASURE
from visual_aid.evidence.scene import Measurement, Scene
from visual_aid.evidence.score import CueModel, feature_table, load_models, score
from visual_aid.fasteners.trees import Trees
from visual_aid.model import CUES
from visual_aid.photo import Photo


def measurement(**features):
    return Measurement(None, features, {}, ((0.0, 0.0), (1.0, 0.0), (0.0, 1.0)), "")


def model(**changes):
    plain = CueModel(
        names=np.array(["a", "b"]),
        low=np.array([-5.0, -5.0]),
        high=np.array([5.0, 5.0]),
        centre=np.array([1.0, 2.0]),
        scale=np.array([2.0, 4.0]),
        weights=np.array([3.0, -1.0]),
        bias=np.array(0.5),
        calibration=np.array([1.0, 0.0]),
    )
    return dataclasses.replace(plain, **changes)


def test_log_odds_by_hand():
    # 3 * (3 - 1) / 2 - (6 clipped to 5 - 2) / 4 + 0.5
    assert model().log_odds(np.array([[3.0, 6.0]])) == pytest.approx([3 - 0.75 + 0.5])


def test_what_cannot_be_measured_counts_as_usual():
    assert model().log_odds(np.array([[np.nan, 2.0]])) == pytest.approx([0.5])


def test_calibration_bends_the_log_odds():
    flat = model(calibration=np.array([0.0, -1.0]))
    assert flat.probability(np.array([[3.0, 1.0], [-4.0, 2.0]])) == pytest.approx([1 / (1 + np.e)] * 2)


def test_models_survive_the_file():
    again = CueModel.from_arrays(model().arrays("gap"), "gap")
    assert all(
        np.array_equal(getattr(again, f.name), getattr(model(), f.name)) for f in dataclasses.fields(again)
    )


def two_leaves(column, bound, low, high):
    """One tree with one question."""
    return Trees(
        np.array([[column]], np.int16),
        np.array([[bound]], np.float32),
        np.array([[low, high]], np.float32),
        np.float32(0.25),
    )


def test_trees_add_their_opinion_and_are_asked_the_details_after_the_features():
    with_trees = model(trees=two_leaves(3, 0.5, -1.0, 2.0))
    table = np.array([[1.0, 2.0], [1.0, 2.0]])
    details = np.array([[9.0, 0.0], [9.0, 1.0]], np.float32)
    assert with_trees.log_odds(table, details) == pytest.approx([0.5 + 0.25 - 1.0, 0.5 + 0.25 + 2.0])
    assert with_trees.log_odds(table) == pytest.approx([0.5, 0.5])


def test_trees_know_what_was_not_measured():
    with_trees = model(trees=two_leaves(1, -900.0, 5.0, 0.0))
    details = np.zeros((2, 1), np.float32)
    odds = with_trees.log_odds(np.array([[1.0, np.nan], [1.0, 2.0]]), details)
    assert odds[0] - odds[1] == pytest.approx(5.0)


def test_trees_survive_the_file():
    before = model(trees=two_leaves(2, 0.5, -1.0, 2.0))
    after = CueModel.from_arrays(before.arrays("gap"), "gap")
    assert after.trees is not None
    assert after.trees.arrays("") == before.trees.arrays("")


def test_neighbours_are_the_middle_of_the_others():
    names, table = feature_table([measurement(a=v) for v in (1.0, 2.0, 3.0, 10.0)])
    assert names == ["a", "a less neighbours"]
    assert table[3].tolist() == [10.0, 8.0]
    assert table[0].tolist() == [1.0, -2.0]


def test_one_neighbour_is_no_middle():
    _, table = feature_table([measurement(a=1.0), measurement(a=2.0)])
    assert np.isnan(table[:, 1]).all()
    _, table = feature_table([measurement(a=v) for v in (1.0, np.nan, 3.0)])
    assert np.isnan(table[:, 1]).all()


def test_every_cue_has_a_module_a_model_and_the_same_features(draw_joint):
    pixels, fasteners = draw_joint(tilt=30)
    seated = [dataclasses.replace(f, seat=place, group=1) for f, place in zip(fasteners, SEATS, strict=True)]
    scene = Scene.build(Photo.from_array(pixels, name="joint.png"), seated)
    assert set(MEASURE) == set(CUES) == set(load_models())
    for cue, measure in MEASURE.items():
        measurements = measure(scene).measurements
        if cue != "stripe_offset":  # no stripe was drawn
            assert len(measurements) == len(fasteners), cue
        probabilities = score(cue, measurements)
        assert ((probabilities >= 0) & (probabilities <= 1)).all()


SEATS = ((160.0, 170.0), (400.0, 170.0), (160.0, 400.0), (400.0, 400.0))


def test_nothing_measured_is_nothing_scored():
    assert score("gap", []).shape == (0,)


def test_a_stale_model_is_refused():
    with pytest.raises(RuntimeError, match="train the cues again"):
        score("gap", [measurement(other=1.0)])
