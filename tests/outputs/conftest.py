"""A small visit of an invented unit, to make reports of."""

import dataclasses
import datetime as dt

import numpy as np
import pytest

from visual_aid.followup.handchecks import checks, complete, read_answers
from visual_aid.followup.intervals import Done, UnitLog, due_list
from visual_aid.followup.units import Measured
from visual_aid.outputs.report import Place, Remark, Report, ReportFinding, ReportPhoto

ZONE = dt.timezone(dt.timedelta(hours=2))
NOW = dt.datetime(2026, 5, 4, 9, 12, tzinfo=ZONE)


def grey():
    return np.full((300, 400, 3), 120, np.uint8)


def photo(name, place=None, pixels=grey):
    return ReportPhoto(name, place or Place(), "2026-05-04T07:12:00", pixels)


def hand_check():
    check = checks()["rod_movement"]
    return complete(check, read_answers(check, {"movement": "5 mm", "knock": "no"}), "mk", NOW, "lever used")


def finding(**changes):
    usual = ReportFinding(
        photo=photo("rod.jpg", Place(2, "left", "torque rod")),
        label="Rust trail",
        colour="#d55e00",
        box=(100, 120, 60, 40),
        outline=(),
        reason="rust-coloured run, 3.2 nut radii long",
        score=0.88,
        decision="Confirmed",
        by="M. Kern",
        at=NOW,
        note="seen from below",
        checks=(hand_check(),),
        follow_up="Replace the bushing.",
    )
    return dataclasses.replace(usual, **changes)


@pytest.fixture(name="finding")
def _finding():
    return finding


@pytest.fixture(name="photo")
def _photo():
    return photo


@pytest.fixture
def report():
    """Give a report of a visit with two findings, or with other fields."""
    done = (Done("walkaround", dt.date(2026, 5, 1)), Done("shop_inspection", dt.date(2026, 5, 1)))

    def make(**changes):
        usual = Report(
            unit="231",
            date=NOW.date(),
            odometer=Measured(12140, "mi"),
            inspector="M. Kern",
            findings=(
                finding(),
                finding(
                    photo=photo("u_bolts.jpg", Place(1, "right", "U-bolts")),
                    label="Gap under the nut",
                    score=None,
                    reason="washer stands off",
                    checks=(),
                    note="",
                    follow_up="",
                ),
            ),
            quiet=(Remark(photo("hanger.jpg", Place(3, "left", "hanger")), "Nothing flagged."),),
            not_judged=(Remark(photo("dark.jpg"), "Too dark: take it again with a lamp."),),
            due=due_list([UnitLog("231", done=done)], NOW.date()),
            made_at=NOW,
            engine="0.1.0",
        )
        return dataclasses.replace(usual, **changes)

    return make
