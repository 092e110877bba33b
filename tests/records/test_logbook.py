import datetime as dt
import threading
from concurrent.futures import ThreadPoolExecutor

import pytest

from visual_aid.records.entries import OvertakenError
from visual_aid.records.queries import aware

RUST = ("rust_trail", 0.88, (90.0, 90.0, 30.0, 60.0))


def test_a_line_comes_back_as_it_was_written(store, picture, screened):
    photo = store.add_photo(screened(picture(), RUST), data=picture())
    (rust,) = store.candidates(photo.id)
    number = store.logbook.write(
        "follow_up", {"say": "replace the bushing"}, by=" mk ", unit="417", candidate=rust.id
    )
    (line,) = store.logbook.lines(candidate=rust.id)
    assert (line.id, line.kind, line.unit, line.by) == (number, "follow_up", "417", "mk")
    assert line.body == {"say": "replace the bushing"}
    assert line.at.tzinfo is not None
    assert store.logbook.lines("hand_check") == ()
    assert store.logbook.lines(unit="418") == ()


def test_a_later_line_takes_the_place_and_nothing_is_lost(store):
    first = store.logbook.write("joint", {"name": "U-bolts"}, by="mk", unit="417")
    second = store.logbook.write("joint", {"name": "U-bolts, left"}, by="jd", unit="417", supersedes=first)
    assert [line.id for line in store.logbook.lines("joint", unit="417")] == [second]
    store.logbook.take_back(second, by="jd")
    assert store.logbook.lines() == ()
    events = store.logbook.events(unit="417")
    assert [(e.by, e.body["name"], e.takes_back) for e in events] == [
        ("jd", "U-bolts, left", True),
        ("jd", "U-bolts, left", False),
        ("mk", "U-bolts", False),
    ]


def test_a_line_is_taken_back_once(store):
    line = store.logbook.write("joint", {"name": "U-bolts"}, by="mk", unit="417")
    store.logbook.take_back(line, by="mk")
    with pytest.raises(OvertakenError, match="mk has taken this back meanwhile, and nothing was recorded"):
        store.logbook.take_back(line, by="jd")
    with pytest.raises(KeyError):
        store.logbook.take_back(line + 99, by="mk")


def test_a_line_is_changed_once(store):
    line = store.logbook.write("joint", {"name": "U-bolts"}, by="mk", unit="417")
    store.logbook.write("joint", {"name": "U-bolts, left"}, by="mk", unit="417", supersedes=line)
    for change in (
        lambda: store.logbook.write("joint", {"name": "Wheel nuts"}, by="jd", unit="417", supersedes=line),
        lambda: store.logbook.take_back(line, by="jd"),
    ):
        with pytest.raises(OvertakenError, match="mk has changed this meanwhile, and nothing was recorded"):
            change()
    assert [standing.body["name"] for standing in store.logbook.lines("joint")] == ["U-bolts, left"]
    with pytest.raises(KeyError):
        store.logbook.write("joint", {"name": "Wheel nuts"}, by="jd", unit="417", supersedes=line + 99)


def test_of_two_who_change_a_line_at_the_same_moment_one_is_refused(store):
    line = store.logbook.write("joint", {"name": "U-bolts"}, by="mk", unit="417")
    both = threading.Barrier(2)

    def change(name):
        both.wait()
        try:
            return store.logbook.write("joint", {"name": name}, by=name, unit="417", supersedes=line)
        except OvertakenError:
            return None

    with ThreadPoolExecutor(2) as people:
        written = [number for number in people.map(change, ("jd", "mk")) if number is not None]
    assert [standing.id for standing in store.logbook.lines("joint")] == written
    assert len(written) == 1


@pytest.mark.parametrize(("body", "by"), [({}, "mk"), ({"name": "U-bolts"}, " ")])
def test_nothing_and_nobody_are_refused(store, body, by):
    with pytest.raises(ValueError, match=r"says nothing|needs the name"):
        store.logbook.write("joint", body, by=by)
    assert store.logbook.lines() == ()


def test_events_hold_decisions_and_lines_the_last_first(store, picture, screened):
    photo = store.add_photo(screened(picture(), RUST), data=picture())
    (rust,) = store.candidates(photo.id)
    store.decide(rust.id, "confirmed", by="jd", note="torch light")
    store.logbook.write("follow_up", {"say": "torque"}, by="mk", candidate=rust.id, photo=photo.id)
    store.undo(photo.id, by="jd")
    events = store.logbook.events()
    assert [(e.kind, e.by, e.takes_back) for e in events] == [
        ("decision", "jd", True),
        ("follow_up", "mk", False),
        ("decision", "jd", False),
    ]
    assert {(e.about, e.sign) for e in events} == {("IMG_0001.jpg", "rust_trail")}
    assert events[2].body == {"outcome": "confirmed", "note": "torch light"}
    assert len(store.logbook.events(limit=2)) == 2


def test_moments_come_back_in_utc_whatever_the_zone_of_the_server():
    there = dt.datetime(2026, 5, 4, 1, 30, tzinfo=dt.timezone(dt.timedelta(hours=-6)))
    for kept in (there, dt.datetime(2026, 5, 4, 7, 30)):
        assert aware(kept).isoformat() == "2026-05-04T07:30:00+00:00"
