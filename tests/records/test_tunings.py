"""Thresholds and calibrations in use: applied, kept, taken back."""

import datetime as dt
from concurrent.futures import ThreadPoolExecutor

import pytest

from visual_aid.records.entries import Calibration

GAP = ("gap", 0.5, (200.0, 40.0, 40.0, 20.0))
RUST = ("rust_trail", 0.3, (90.0, 90.0, 30.0, 60.0))


@pytest.fixture
def photos(store, picture, screened):
    return [
        store.add_photo(screened(picture(1), GAP), data=picture(1)).id,
        store.add_photo(screened(picture(2), RUST), data=picture(2)).id,
    ]


def test_a_threshold_moves_photos_between_the_stages_and_back(store, photos):
    store.tunings.set_threshold(0.4, by="J. Doe")
    assert store.stages() == {"to_decide": 1, "weak_only": 1}
    assert store.candidates(photos[1])[0].is_weak
    store.tunings.set_threshold(0.25, by="J. Doe")
    assert store.stages() == {"to_decide": 2}
    assert not store.candidates(photos[1])[0].is_weak


def test_a_calibration_changes_what_scores_count_for_and_not_the_record(store, photos):
    before = store.worklist()
    store.tunings.keep("our yard", 1.0, -2.0, 40, by="J. Doe")
    assert store.worklist() == before
    store.tunings.use("our yard", by="J. Doe")
    (gap,) = store.candidates(photos[0])
    # logit(0.5) = 0, so the score is the logistic function at -2.
    assert gap.candidate.score == pytest.approx(0.1192, abs=1e-4)
    assert gap.is_weak
    first, second = store.worklist()
    # The odds, exp(-2), count five times on a photo of one fastener, as much as five fasteners share.
    assert first.priority == pytest.approx(0.4036, abs=1e-4)
    assert first.top.score == pytest.approx(0.1192, abs=1e-4)
    assert second.priority < first.priority
    assert store.photo(photos[0]).screening.candidates[0].score == 0.5
    assert store.stages() == {"weak_only": 2}
    store.tunings.use(None, by="J. Doe")
    assert store.worklist() == before
    assert [c.name for c in store.tunings.calibrations()] == ["our yard"]


def test_the_flags_are_as_the_engine_gave_them(store, photos):
    store.tunings.keep("our yard", 1.0, -2.0, 40, by="J. Doe")
    store.tunings.use("our yard", by="J. Doe")
    store.decide(store.candidates(photos[0])[0].id, "confirmed", by="J. Doe")
    assert sorted(store.tunings.flags()) == sorted([(photos[0], 0.5, "confirmed"), (photos[1], 0.3, None)])


@pytest.mark.parametrize(
    ("act", "error"),
    [
        (lambda t: t.set_threshold(1.2, by="J. Doe"), ValueError),
        (lambda t: t.set_threshold(0.2, by=" "), ValueError),
        (lambda t: t.keep(" ", 1.0, 0.0, 1, by="J. Doe"), ValueError),
        (
            lambda t: (t.keep("a", 1.0, 0.0, 1, by="J. Doe"), t.keep("a", 1.0, 0.0, 1, by="J. Doe")),
            ValueError,
        ),
        (lambda t: t.use("none such", by="J. Doe"), KeyError),
    ],
)
def test_what_makes_no_sense_is_refused(store, act, error):
    with pytest.raises(error):
        act(store.tunings)
    assert store.tunings.current().threshold == 0.25


def test_certain_scores_stay_within_bounds():
    calibration = Calibration("a", 2.0, 1.0, 1, "J. Doe", dt.datetime.now(dt.UTC))
    assert 0 < calibration(0.0) < calibration(0.5) < calibration(1.0) < 1


def test_patterns_count_what_stands_by_unit_place_and_cue(store, picture, screened):
    place = store.visits.position("417", 2, "left", "wheel end")
    for n, day in enumerate((dt.date(2026, 5, 4), dt.date(2026, 6, 4))):
        visit = store.visits.begin("417", day, inspector="J. Doe")
        photo = store.add_photo(screened(picture(n), GAP, RUST), data=picture(n), visit=visit, position=place)
        gap, rust = store.candidates(photo.id)
        store.decide(gap.id, "confirmed", by="J. Doe")
        store.decide(rust.id, "ruled_out", by="J. Doe")
    store.mark(photo.id, "gap", (5.0, 5.0, 9.0, 9.0), by="J. Doe")
    (pattern,) = store.patterns()
    assert (pattern.unit, pattern.axle, pattern.side, pattern.component) == ("417", 2, "left", "wheel end")
    assert (pattern.sign, pattern.findings, pattern.visits) == ("gap", 3, 2)
    assert pattern.last == dt.date(2026, 6, 4)


def test_a_calibration_that_turns_the_order_round_is_refused(store):
    with pytest.raises(ValueError, match="slope is above 0"):
        store.tunings.keep("upside down", -1.0, 0.0, 40, by="J. Doe")


def test_a_threshold_and_a_calibration_set_at_the_same_moment_both_hold(store, photos):
    store.tunings.keep("our yard", 1.0, -2.0, 40, by="J. Doe")
    for threshold, name in ((0.6, "our yard"), (0.3, None), (0.5, "our yard"), (0.4, None)):
        with ThreadPoolExecutor(2) as pool:
            set_, used = (
                pool.submit(store.tunings.set_threshold, threshold, by="J. Doe"),
                pool.submit(store.tunings.use, name, by="R. Roe"),
            )
            set_.result(), used.result()
        tuning = store.tunings.current()
        assert (tuning.threshold, tuning.calibration and tuning.calibration.name) == (threshold, name)
