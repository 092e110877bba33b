"""How counts, days and moments are written."""

import datetime as dt

import pytest

from visual_aid.outputs.wording import counted, day, local, moment

MOMENT = dt.datetime(2026, 5, 4, 7, 12, tzinfo=dt.UTC)


@pytest.mark.parametrize(
    ("count", "names", "words"),
    [
        (0, ("mark",), "0 marks"),
        (1, ("mark",), "1 mark"),
        (2, ("mark",), "2 marks"),
        (1, ("duty", "duties"), "1 duty"),
        (2, ("duty", "duties"), "2 duties"),
    ],
)
def test_one_is_one_and_all_else_is_many(count, names, words):
    assert counted(count, *names) == words


def test_a_moment_in_a_report_names_its_zone():
    assert day(MOMENT) == "4 May 2026"
    assert moment(MOMENT) == "4 May 2026, 07:12 UTC"


def test_a_moment_on_the_page_is_that_of_this_machine_s_clock():
    here = MOMENT.astimezone()
    assert local(MOMENT) == f"{here.day} May 2026, {here:%H:%M}"
