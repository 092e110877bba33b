import dataclasses
import json

import numpy as np
import pytest
from click.testing import CliRunner
from PIL import Image

from visual_aid.evaluation.truth import TruthFastener, TruthPhoto, read_truths
from visual_aid.evidence.register import MEASURE
from visual_aid.evidence.scene import Measured
from visual_aid.evidence.score import load_models
from visual_aid.model import Fastener
from visual_aid.training.completed import with_labels
from visual_aid.training.cues import Examples, collect, fit, folds, main


def examples(shift, photos=60, each=5, seed=0):
    """Standing evidence lies ``shift`` standard deviations off in one of three features."""
    rng = np.random.default_rng(seed)
    n = photos * each
    stands = rng.random(n) < 0.2
    table = rng.normal(size=(n, 3))
    table[:, 1] += shift * stands
    table[rng.random(n) < 0.1, 2] = np.nan
    photo = np.repeat(np.arange(photos), each)
    return Examples(("a", "b", "c"), table, stands, photo, np.ones(n, bool))


def test_the_feature_that_tells_gets_the_weight_and_scores_read_as_shares():
    data = examples(shift=2.5)
    model, held_out = fit(data)
    assert np.argmax(np.abs(model.weights)) == 1
    assert held_out[data.stands].mean() > 0.5 > 0.2 > held_out[~data.stands].mean()
    likely = held_out > 0.7
    assert data.stands[likely].mean() == pytest.approx(held_out[likely].mean(), abs=0.12)


def test_where_nothing_tells_nobody_is_sure():
    data = examples(shift=0.0)
    _, held_out = fit(data)
    assert held_out.max() < 0.5
    assert held_out.mean() == pytest.approx(data.stands.mean(), abs=0.03)


def zoned(shift):
    """What no feature tells lies in one zone of twenty."""
    plain = examples(shift=0.0)
    details = np.random.default_rng(3).normal(size=(len(plain.stands), 20)).astype(np.float32)
    details[:, 7] += shift * plain.stands
    return dataclasses.replace(plain, details=details)


def test_trees_learn_what_no_feature_tells():
    data = zoned(shift=3.0)
    model, held_out = fit(data)
    assert model.trees is not None
    assert held_out[data.stands].mean() > 0.6 > 0.15 > held_out[~data.stands].mean()
    nothing = zoned(shift=0.0)
    assert fit(nothing)[1][nothing.stands].mean() == pytest.approx(nothing.stands.mean(), abs=0.05)


def test_training_is_repeatable():
    first, second = (fit(zoned(shift=1.0))[0].arrays("gap") for _ in range(2))
    assert all(np.array_equal(first[name], second[name]) for name in first)
    assert "gap.trees.feature" in first


def test_too_few_examples_are_told_from_enough():
    enough = examples(shift=1.0)
    assert enough.suffice
    one_photo = dataclasses.replace(enough, stands=enough.stands & (enough.photo == enough.photo[0]))
    assert not one_photo.suffice
    assert not dataclasses.replace(enough, stands=np.zeros_like(enough.stands)).suffice
    assert not dataclasses.replace(enough, usual=np.zeros_like(enough.usual)).suffice


@pytest.fixture
def plain(tmp_path):
    """A labelled folder whose one photo shows nothing."""
    Image.new("RGB", (320, 240), "gray").save(tmp_path / "plain.jpg")
    labels = {"image": "plain.jpg", "width": 320, "height": 240, "fasteners": []}
    (tmp_path / "plain.json").write_text(json.dumps(labels))
    return tmp_path


def test_cues_that_are_not_asked_for_are_not_measured(plain, monkeypatch):
    asked = []
    measures = {cue: lambda _, cue=cue: asked.append(cue) or Measured() for cue in MEASURE}
    monkeypatch.setattr("visual_aid.training.cues.MEASURE", measures)
    collect(read_truths(plain), cues=("gap",))
    assert set(asked) == {"gap"}
    collect(read_truths(plain))
    assert set(asked) == set(MEASURE)


def test_a_cue_that_cannot_be_learned_keeps_its_weights(plain, tmp_path):
    out = tmp_path / "cues.npz"
    result = CliRunner().invoke(main, [str(plain), "--out", str(out)])
    assert result.exit_code == 0, result.output
    assert result.output.count("the weights in use are kept") == len(MEASURE)
    with np.load(out) as arrays:
        for cue, used in load_models().items():
            assert all(np.array_equal(arrays[name], old) for name, old in used.arrays(cue).items())


def test_cues_that_are_not_asked_for_keep_their_weights(tmp_path, monkeypatch):
    monkeypatch.setattr("visual_aid.training.cues.read_truths", lambda _: [])
    monkeypatch.setattr("visual_aid.training.cues.collect", lambda *_: dict.fromkeys(MEASURE, examples(2.0)))
    out = tmp_path / "cues.npz"
    result = CliRunner().invoke(main, [str(tmp_path), "--only", "gap", "--out", str(out)])
    assert result.exit_code == 0, result.output
    assert result.output.startswith("gap: ")
    with np.load(out) as arrays:
        assert arrays["gap.names"].tolist() == ["a", "b", "c"]
        for cue, used in load_models().items():
            if cue != "gap":
                assert all(np.array_equal(arrays[name], old) for name, old in used.arrays(cue).items())


def test_no_photo_is_on_both_sides_of_a_fold():
    photo = np.repeat(np.arange(20), 3)
    held_out = []
    for train, test in folds(photo):
        assert not set(photo[train]) & set(photo[test])
        held_out += list(test)
    assert sorted(held_out) == list(range(60))


def test_missed_labels_are_added_as_nuts_and_ignored_ones_are_not(tmp_path):
    labels = (
        TruthFastener(0, "hex_nut", 100, 100, 20),
        TruthFastener(1, "bare_stud", 200, 100, 20),
        TruthFastener(2, "hex_nut", 300, 100, 20, ignore=True),
    )
    truth = TruthPhoto(tmp_path / "a.jpg", 400, 300, labels)
    found = [Fastener(1, "hex_nut", 101, 99, 21)]
    completed = with_labels(found, truth, np.random.default_rng(0))
    assert len(completed) == 2
    assert completed[1].kind == "hex_nut"
    assert np.hypot(completed[1].cx - 200, completed[1].cy - 100) < 10
