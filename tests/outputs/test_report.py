"""The words of a report."""

import datetime as dt

import pytest

from visual_aid.outputs.report import Place, check_lines
from visual_aid.outputs.wording import moment


@pytest.mark.parametrize(
    ("place", "words"),
    [
        (Place(2, "left", "torque rod"), "Axle 2 left, torque rod"),
        (Place(2, None, "torque rod"), "Axle 2, torque rod"),
        (Place(component="frame"), "Frame"),
        (Place(side="right"), "Right"),
        (Place(), "Position not given"),
    ],
)
def test_places_are_said_in_words(place, words):
    assert str(place) == words


def test_findings_are_numbered_from_the_front_of_the_unit_back(report, finding, photo):
    places = [
        Place(),
        Place(3, "left", "a"),
        Place(1, "right", "a"),
        Place(1, "left", "b"),
        Place(1, "left", "a"),
    ]
    visit = report(findings=tuple(finding(photo=photo("x.jpg", place)) for place in places))
    in_order = [(place, number) for place, numbered in visit.by_place for number, _ in numbered]
    assert in_order == [(place, number) for number, place in enumerate(places[::-1], 1)]


def test_findings_at_one_place_stay_together_in_their_order(report, finding, photo):
    place, other = Place(1, "left", "a"), Place(2, "left", "a")
    found = tuple(
        finding(label=label, photo=photo("x.jpg", p))
        for label, p in (("a", place), ("b", other), ("c", place))
    )
    ((_, first), (_, second)) = report(findings=found).by_place
    assert [(number, f.label) for number, f in (*first, *second)] == [(1, "a"), (2, "c"), (3, "b")]


def test_the_head_says_what_was_visited_by_whom_and_when(report):
    facts = dict(report().facts)
    assert facts == {
        "Unit": "231",
        "Visit": "4 May 2026",
        "Odometer": "12140 mi",
        "Inspector": "M. Kern",
        "Photos": "4",
        "Report made": "4 May 2026, 09:12 UTC+02:00, visual-aid 0.1.0",
    }
    assert dict(report(odometer=None).facts)["Odometer"] == "not noted"


def test_the_summary_counts(report, finding):
    assert report().summary == (
        "2 findings",
        "1 hand check: beyond the limit stated",
        "1 finding without a hand check yet",
        "1 photo found quiet",
        "1 photo not judged or not decided",
        "1 duty overdue",
    )
    nothing = report(findings=(), quiet=(), not_judged=(), due=())
    assert nothing.summary == ("0 findings", "0 photos found quiet", "0 photos not judged or not decided")


def test_a_decision_says_who_when_and_why(finding):
    assert finding().decided == "Confirmed by M. Kern, 4 May 2026, 09:12 UTC+02:00. Note: seen from below"
    assert finding(note="").decided == "Confirmed by M. Kern, 4 May 2026, 09:12 UTC+02:00."


def test_a_reason_says_whose_it_is(finding):
    assert finding().why == "Rust-coloured run, 3.2 nut radii long (score 0.88)"
    assert finding(score=None).why == "Marked by hand. Rust-coloured run, 3.2 nut radii long"
    assert finding(score=None, reason="").why == "Marked by hand."


def test_a_hand_check_is_told_limit_by_limit_with_its_source(finding):
    first, movement, knock, note = check_lines(finding().checks[0])
    assert first == (
        "Torque-rod and bushing movement by hand: Beyond the limit stated: movement of 1/8 in (3.2 mm) "
        "at most (found: 5 mm). mk, 4 May 2026, 09:12 UTC+02:00."
    )
    assert movement == (
        "Movement of 1/8 in (3.2 mm) at most. Found: 5 mm (has to be at most 3.2 mm). "
        "Beyond the limit stated. Source: common practice, no source."
    )
    assert "Found: no (has to be no). Within the limit stated." in knock
    assert note == "lever used"


def test_times_stay_in_their_own_zone():
    assert moment(dt.datetime(2026, 5, 4, 7, 12, tzinfo=dt.UTC)) == "4 May 2026, 07:12 UTC"
