"""Figures over pairs of visits, worked out by hand."""

import json

import pytest

from visual_aid.evaluation.pairs import TruePair, TrueTurn, judge_pairs, read_pairs

PAIR = TruePair(
    "a.jpg",
    "b.jpg",
    (
        TrueTurn(100, 100, 40, 12.0, 1.0),
        TrueTurn(300, 100, 40, 0.0, 1.0),
        TrueTurn(500, 100, 40, -8.0, 1.0),
        TrueTurn(700, 100, 40, 3.0, 1.0),
        TrueTurn(900, 100, 40, 20.0, 0.5),
    ),
)


def comparison(turns, before="a.jpg", after="b.jpg", comparable=True):
    keys = ("cx", "cy", "turn", "turned")
    return {
        "before": before,
        "after": after,
        "comparable": comparable,
        "turns": [dict(zip(keys, turn, strict=True)) for turn in turns],
    }


def test_errors_are_taken_modulo_60_and_nuts_by_their_place():
    # Nuts 1, 2 and 4 are compared: off by 1 (13), 2 (-58) and 0.5; nut 3 is farther than 0.6 radii.
    turns = [(110, 100, 13.0, True), (300, 110, -58.0, True), (530, 100, -8.0, True), (700, 100, 3.5, False)]
    figures = judge_pairs([PAIR], [comparison(turns)])
    assert (figures.nuts_compared, figures.nuts_not_compared) == (3, 1)
    assert figures.turn_error_median == pytest.approx(1.0)
    assert figures.turn_error_95 == pytest.approx(1.9)
    assert figures.turned_found == 0.5  # the third nut is missed
    assert figures.unturned_called_turned == 1.0  # the second; the fourth turned by less than 5 degrees


def test_a_declined_pair_costs_its_turned_nuts():
    figures = judge_pairs([PAIR], [comparison([], comparable=False)])
    assert (figures.declined, figures.nuts_not_compared, figures.turned_found) == (1, 4, 0.0)
    assert figures.turn_error_median is None
    assert figures.unturned_called_turned is None


def test_wrong_pairs_should_be_refused():
    wrong = [comparison([], after="c.jpg", comparable=c) for c in (False, False, True, False)]
    figures = judge_pairs([PAIR], wrong)
    assert (figures.wrong_pairs, figures.wrong_pairs_refused) == (4, 0.75)
    assert figures.nuts_compared == 0


def test_labels_are_read(tmp_path):
    label = {"a": "x.jpg", "b": "y.jpg", "turns": [{"turn_deg": -3.5, "a": [1, 2, 3], "visible": 0.9}]}
    (tmp_path / "pair_000.json").write_text(json.dumps(label))
    assert read_pairs(tmp_path) == [TruePair("x.jpg", "y.jpg", (TrueTurn(1, 2, 3, -3.5, 0.9),))]


@pytest.mark.parametrize("text", ["{", "[]", '{"a": "x.jpg", "b": "y.jpg", "turns": [{"a": [1, 2]}]}'])
def test_a_broken_label_is_named(tmp_path, text):
    (tmp_path / "pair_007.json").write_text(text)
    with pytest.raises(ValueError, match=r"pair_007\.json: not the label"):
        read_pairs(tmp_path)


def test_a_folder_without_labels_is_refused(tmp_path):
    with pytest.raises(ValueError, match="no labelled pairs"):
        read_pairs(tmp_path)
