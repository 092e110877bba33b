"""What is due when."""

import datetime as dt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from visual_aid.followup.intervals import Done, Due, Interval, Joint, Reading, UnitLog, due_list
from visual_aid.followup.units import Measured

TODAY = dt.date(2026, 5, 4)


def miles(value):
    return Measured(value, "mi")


def days_ago(days):
    return TODAY - dt.timedelta(days=days)


def the(duty, log, today=TODAY):
    (due,) = (d for d in due_list([log], today) if d.duty == duty)
    return due


def test_usual_intervals():
    done = (
        Done("walkaround", days_ago(1)),
        Done("shop_inspection", dt.date(2026, 1, 15)),
        Done("yearly_retorque", dt.date(2026, 1, 15)),
    )
    log = UnitLog("12", done=done)
    assert the("walkaround", log).date == TODAY
    assert the("shop_inspection", log).date == dt.date(2026, 7, 15)
    assert the("yearly_retorque", log).date == dt.date(2027, 1, 15)


@pytest.mark.parametrize(
    ("since", "due"),
    [
        (dt.date(2025, 8, 31), dt.date(2026, 2, 28)),
        (dt.date(2027, 8, 31), dt.date(2028, 2, 29)),
        (dt.date(2025, 12, 31), dt.date(2026, 6, 30)),
        (dt.date(2026, 6, 15), dt.date(2026, 12, 15)),
    ],
)
def test_six_months_end_with_a_shorter_month(since, due):
    assert the("shop_inspection", UnitLog("12", done=(Done("shop_inspection", since),))).date == due


@given(st.dates(dt.date(1990, 1, 1), dt.date(2100, 1, 1)), st.integers(1, 60))
def test_months_are_counted_as_the_calendar_does(since, months):
    due = Interval("", months=months).due_date(since)
    assert (due.year - since.year) * 12 + due.month - since.month == months
    assert due.day == since.day or (due + dt.timedelta(days=1)).day == 1


def test_the_last_time_counts_whatever_the_order():
    done = (Done("walkaround", days_ago(1)), Done("walkaround", days_ago(9)))
    assert the("walkaround", UnitLog("12", done=done)).since == days_ago(1)


def test_what_has_no_record_is_due_today():
    due = the("shop_inspection", UnitLog("12"))
    assert (due.date, due.since, due.overdue, due.say) == (TODAY, None, False, "no record yet, due today")


def break_in(now, **changes):
    joint = Joint("axle 2 U-bolts", days_ago(10), changes.pop("at", miles(12000)))
    log = UnitLog("12", (Reading(joint.date, miles(12000)), Reading(TODAY, now)), (joint,), **changes)
    return the("break_in_retorque", log)


@pytest.mark.parametrize(
    ("now", "overdue", "say"),
    [
        (miles(12100), False, "in 400 mi"),
        (miles(12500), False, "in 0 mi"),
        (miles(12501), True, "1 mi overdue"),
        (Measured(12100 * 1.609344, "km"), False, "in 400 mi"),
    ],
)
def test_a_new_joint_is_due_after_500_miles(now, overdue, say):
    due = break_in(now)
    assert due.odometer.value == pytest.approx(12500)
    assert (due.overdue, due.say) == (overdue, say)
    assert due.title == "Torque check after break-in: axle 2 U-bolts"


def test_the_day_is_expected_from_the_distance_made_a_day():
    assert break_in(miles(12100)).expected == TODAY + dt.timedelta(days=40)
    assert break_in(miles(13000)).expected == days_ago(5)
    assert break_in(miles(12000)).expected is None
    assert break_in(miles(900)).expected is None  # a new instrument


def test_a_joint_without_an_odometer_reading_is_due_today():
    due = break_in(miles(12100), at=None)
    assert (due.date, due.odometer, due.say) == (TODAY, None, "due today")


def test_without_a_later_reading_the_odometer_is_named():
    joint = Joint("axle 2 U-bolts", days_ago(10), miles(12000))
    due = the("break_in_retorque", UnitLog("12", joints=(joint,)))
    assert (due.say, due.overdue, due.by) == ("at 12500 mi", False, TODAY)


def test_a_torque_check_after_the_work_settles_that_joint_alone():
    joints = (Joint("left", days_ago(10), miles(12000)), Joint("right", days_ago(10), miles(12000)))
    done = (Done("break_in_retorque", days_ago(2), joint="left"),)
    waiting = [d.joint for d in due_list([UnitLog("12", (), joints, done)], TODAY) if d.joint]
    assert waiting == ["right"]


def test_a_joint_disturbed_again_is_due_again():
    joints = (Joint("left", days_ago(1), miles(14000)),)
    done = (Done("break_in_retorque", days_ago(2), joint="left"),)
    assert the("break_in_retorque", UnitLog("12", (), joints, done)).odometer.value == pytest.approx(14500)


def test_the_maker_s_schedule_goes_before_the_usual():
    schedule = {
        "break_in_retorque": Interval("maker's schedule", distance=Measured(100, "km")),
        "yearly_retorque": Interval("maker's schedule", months=6, distance=miles(1000)),
    }
    done = (Done("yearly_retorque", days_ago(30), miles(12000)),)
    log = UnitLog("12", (Reading(TODAY, miles(13200)),), (), done, schedule)
    due = the("yearly_retorque", log)
    assert due.overdue
    assert due.date > TODAY  # by distance, not by date
    assert due.source == "maker's schedule"
    assert due.say == "in 153 days, 200 mi overdue"
    assert break_in(miles(12100), schedule=schedule).odometer.to("km").value == pytest.approx(
        12000 * 1.609344 + 100
    )


def test_the_overdue_come_first():
    late = UnitLog("7", done=(Done("walkaround", days_ago(3)), Done("shop_inspection", days_ago(400))))
    fine = UnitLog("3", done=(Done("walkaround", TODAY), Done("yearly_retorque", TODAY)))
    dues = due_list([fine, late], TODAY)
    assert [d.overdue for d in dues] == [True, True] + [False] * 4
    assert [d.duty for d in dues[:2]] == ["shop_inspection", "walkaround"]
    assert [d.by for d in dues[2:]] == sorted(d.by for d in dues[2:])


@given(st.lists(st.tuples(st.integers(0, 900), st.floats(0, 1e6)), max_size=5), st.integers(0, 900))
def test_any_log_gives_a_list_in_order(readings, since):
    log = UnitLog(
        "12",
        tuple(Reading(days_ago(days), miles(value)) for days, value in readings),
        (Joint("left", days_ago(since), miles(500.0)),),
    )
    dues = due_list([log], TODAY)
    assert len(dues) == 4
    assert sorted(dues, key=lambda d: not d.overdue) == list(dues)
    assert all(isinstance(due, Due) and due.say for due in dues)


@pytest.mark.parametrize(
    "wrong", [{}, {"days": -1}, {"distance": miles(0)}, {"distance": Measured(5, "psi")}, {"months": -6}]
)
def test_an_interval_needs_a_figure(wrong):
    with pytest.raises(ValueError, match="over zero"):
        Interval("", **wrong)


def test_of_two_readings_on_one_day_the_later_one_holds():
    joint = Joint("U-bolts", days_ago(1), miles(10000))
    for values in ((10000, 10700), (10700, 10000)):
        log = UnitLog("12", tuple(Reading(TODAY, miles(v)) for v in values), (joint,))
        assert the("break_in_retorque", log).overdue
