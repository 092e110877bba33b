"""Comparisons of two photos in the records: kept, superseded, and decided on like anything flagged."""

import dataclasses
import datetime as dt

import pytest

from visual_aid.measure.visits import Comparison, News, NutTurn
from visual_aid.records.entries import Filter

STILL = (1.0, 0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 1.0)
TURNED = NutTurn(100.0, 80.0, 20.0, (102.0, 81.0), 12.3, 0.8, True)
STAYED = NutTurn(200.0, 80.0, 20.0, (202.0, 81.0), 0.4, 0.8, False)
COMPARISON = Comparison(
    "before.jpg",
    "after.jpg",
    homography=STILL,
    turns=(TURNED, STAYED),
    news=(News("missing_nut", None, 50.0, 60.0, "a nut before, bare stud after"),),
)


@pytest.fixture
def pair(store, picture, screened):
    """Two photos of one place at two visits, on which nothing is flagged."""
    place = store.visits.position("417", 2, "left", "wheel end")
    ids = []
    for month, name in ((5, "before.jpg"), (6, "after.jpg")):
        visit = store.visits.begin("417", dt.date(2026, month, 4), inspector="J. Doe")
        data = picture(month)
        photo = store.add_photo(screened(data, name=name), data=data, visit=visit, position=place)
        ids.append(photo.id)
    return ids


def test_a_comparison_is_read_back_as_it_was_kept(store, pair):
    assert store.comparisons.between(*pair) is None
    store.comparisons.keep(*pair, COMPARISON)
    assert store.comparisons.between(*pair) == COMPARISON
    assert store.comparisons.between(*pair[::-1]) is None


def test_a_turned_nut_waits_on_the_later_photo_and_points_at_both(store, pair):
    before, after = pair
    store.comparisons.keep(*pair, COMPARISON)
    assert store.candidates(before) == ()
    (found,) = store.candidates(after)
    assert (found.candidate.cue, found.photo, found.before) == ("turned", after, before)
    assert found.candidate.measures == {"turn_deg": 12.3, "uncertainty_deg": 0.8}
    assert (found.current, found.outcome, found.is_weak) == (True, None, False)
    entries = {e.photo.id: e for e in store.worklist()}
    assert (entries[after].stage, entries[after].undecided) == ("to_decide", 1)
    assert entries[after].priority == pytest.approx(TURNED.chance)
    assert [e.photo.id for e in store.worklist(chosen=Filter(cues=("turned",)))] == [after]


def test_it_is_decided_on_and_undone_like_any_other(store, pair):
    store.comparisons.keep(*pair, COMPARISON)
    (found,) = store.candidates(pair[1])
    store.decide(found.id, "confirmed", by="J. Doe")
    assert [(f.id, f.before) for f in store.findings()] == [(found.id, pair[0])]
    store.decide(found.id, "ruled_out", by="A. Roe")
    assert store.findings() == ()
    store.undo(pair[1], by="A. Roe")
    assert store.candidate(found.id).is_finding
    assert [d.outcome for d in store.history(found.id)] == ["confirmed", "ruled_out", "confirmed"]


def test_compared_again_a_nut_keeps_its_decision_and_takes_the_new_figures(store, pair):
    store.comparisons.keep(*pair, COMPARISON)
    (first,) = store.candidates(pair[1])
    store.decide(first.id, "confirmed", by="J. Doe")
    again = dataclasses.replace(COMPARISON, turns=(dataclasses.replace(TURNED, turn=11.0),))
    store.comparisons.keep(*pair, again)
    (second,) = store.candidates(pair[1])
    assert (second.id, second.outcome, second.current) == (first.id, "confirmed", True)
    assert second.candidate.measures["turn_deg"] == 11.0
    assert store.comparisons.between(*pair) == again


def test_a_nut_that_the_last_comparison_no_longer_flags_is_left_out_unless_decided(store, pair):
    none = dataclasses.replace(COMPARISON, turns=(STAYED,))
    store.comparisons.keep(*pair, COMPARISON)
    store.comparisons.keep(*pair, none)
    assert store.candidates(pair[1]) == ()
    assert store.worklist("to_decide") == ()
    store.comparisons.keep(*pair, COMPARISON)
    (found,) = store.candidates(pair[1])
    store.decide(found.id, "confirmed", by="J. Doe")
    store.comparisons.keep(*pair, none)
    (found,) = store.candidates(pair[1])
    assert (found.current, found.is_finding, found.before) == (False, True, pair[0])


def test_another_screening_of_the_photo_leaves_the_turn_as_it_is(store, pair, picture, screened):
    store.comparisons.keep(*pair, COMPARISON)
    (found,) = store.candidates(pair[1])
    later = screened(picture(6), ("gap", 0.6, (90.0, 60.0, 40.0, 40.0)), name="after.jpg", engine="later")
    store.add_screening(pair[1], later)
    assert found.id in [c.id for c in store.candidates(pair[1])]


def test_photos_that_cannot_be_compared_are_kept_with_the_reason(store, pair):
    refused = Comparison("before.jpg", "after.jpg", why="too little in common: another joint")
    store.comparisons.keep(*pair, refused)
    assert store.comparisons.between(*pair) == refused
    assert store.candidates(pair[1]) == ()


def test_a_photo_is_not_compared_with_itself_or_with_none(store, pair):
    with pytest.raises(ValueError, match="choose one of another visit"):
        store.comparisons.keep(pair[0], pair[0], COMPARISON)
    with pytest.raises(KeyError):
        store.comparisons.keep(pair[0], "none", COMPARISON)
