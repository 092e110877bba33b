import datetime as dt
import json

import pytest

from visual_aid.followup.handchecks import checks, complete, read_answers
from visual_aid.followup.intervals import Done, Interval, Joint, Reading, due_list
from visual_aid.followup.logged import (
    check_body,
    check_record,
    done_body,
    interval_body,
    joint_body,
    sheet_body,
    sheet_words,
    unit_log,
)
from visual_aid.followup.torque import Entry, joints, worksheet
from visual_aid.followup.units import Measured
from visual_aid.records.entries import Line, Visit

NOW = dt.datetime(2026, 5, 4, 7, 12, tzinfo=dt.UTC)
DAY = NOW.date()


def line(kind, body, number=1):
    """Give a line whose body has been through JSON, as in the store."""
    return Line(number, kind, "417", None, None, None, json.loads(json.dumps(body)), "mk", NOW, None)


@pytest.mark.parametrize(
    ("check", "texts"),
    [
        ("rod_movement", {"movement": "1/4 in", "knock": "no"}),
        ("rod_movement", {"movement": "2 mm", "knock": "cannot tell", "maker_limit": "3 mm"}),
        ("air_loss", {"before": "110 psi", "after": "700 kPa", "waited": "yes", "normal": "yes"}),
    ],
)
def test_a_hand_check_comes_back_as_it_was_carried_out(check, texts):
    check = checks()[check]
    record = complete(check, read_answers(check, texts), "mk", NOW, "lever used")
    assert check_record(line("hand_check", check_body(record))) == record


def test_a_worksheet_says_what_to_use():
    tables = joints()
    entry = Entry(
        tables.threads["3/4-10 UNC"],
        tables.strengths["SAE grade 8"],
        next(c for c in tables.conditions.values() if c.use == "dry"),
        Measured(300, "lbf ft"),
        None,
        next(f for f in tables.nut_factors.values() if f.thread == "dry"),
        next(f for f in tables.nut_factors.values() if f.thread == "lubricated"),
    )
    words = sheet_words(line("torque_sheet", sheet_body(entry, worksheet(entry))))
    assert words.startswith("Torque worksheet for 3/4-10 UNC, SAE grade 8: ")
    assert "300 lbf·ft" in words


def test_a_unit_is_put_together_from_visits_and_lines():
    visits = [
        Visit(1, "417", DAY.replace(day=1), 12140.0, "mi", "J. Doe"),
        Visit(2, "417", DAY, None, None, "J. Doe"),
    ]
    joint = Joint("U-bolts, axle 2", DAY.replace(day=2), Measured(12200, "mi"))
    done = Done("shop_inspection", DAY.replace(day=3))
    first, second = Interval("maker", days=90), Interval("maker", distance=Measured(800, "km"))
    log = unit_log(
        "417",
        visits,
        [
            line("joint", joint_body(joint)),
            line("duty_done", done_body(done)),
            line("interval", interval_body("shop_inspection", first)),
            line("interval", interval_body("break_in_retorque", second)),
            line("interval", interval_body("shop_inspection", second)),
            line("follow_up", {"say": "no matter here"}),
        ],
    )
    assert log.readings == (
        Reading(DAY.replace(day=1), Measured(12140, "mi")),
        Reading(DAY.replace(day=2), Measured(12200, "mi")),
    )
    assert log.joints == (joint,)
    assert [(d.duty, d.date.day) for d in log.done] == [
        ("walkaround", 1),
        ("walkaround", 4),
        ("shop_inspection", 3),
    ]
    assert log.schedule == {"shop_inspection": second, "break_in_retorque": second}


def test_an_odometer_noted_with_work_is_a_reading_too():
    visit = Visit(1, "417", DAY, 10000.0, "mi", "J. Doe")
    done = Done("shop_inspection", DAY + dt.timedelta(days=9), Measured(14600.0, "mi"))
    joint = Joint("U-bolts", DAY + dt.timedelta(days=8), Measured(14000.0, "mi"))
    log = unit_log("417", [visit], [line("joint", joint_body(joint)), line("duty_done", done_body(done))])
    assert sorted(r.odometer.value for r in log.readings) == [10000.0, 14000.0, 14600.0]
    # 500 miles after 14 000 are over at 14 600 (the usual first check of a new joint).
    (due,) = (d for d in due_list([log], DAY) if d.duty == "break_in_retorque")
    assert due.overdue
