import datetime as dt
from concurrent.futures import ThreadPoolExecutor

import pytest

from visual_aid.records import queries

DAY = dt.date(2026, 5, 4)


@pytest.fixture
def visited(store, picture, screened):
    """Give a way to add a photo to a visit of unit 417 on a day of May 2026."""

    def add(seed, day=4, taken=None, **more):
        visit = store.visits.begin("417", DAY.replace(day=day), inspector="J. Doe")
        screening = screened(picture(seed), name=f"IMG_{seed}.jpg", **more)
        return store.add_photo(screening, data=picture(seed), visit=visit)

    return add


def test_photos_of_a_visit_and_their_places(store, visited):
    first, second = visited(1), visited(2)
    store.visits.place(
        {first.id: (2, "left", " torque rod "), second.id: (2, "right", "torque rod")}, by="mk"
    )
    photos = store.visits.photos(first.visit.id)
    assert [(p.name, p.position.side, p.position.component) for p in photos] == [
        ("IMG_1.jpg", "left", "torque rod"),
        ("IMG_2.jpg", "right", "torque rod"),
    ]
    assert [p.side for p in store.visits.positions("417")] == ["left", "right"]
    assert store.visits.positions("418") == ()
    assert store.visits.units() == ("417",)


def test_a_corrected_place_keeps_what_was_said_before(store, visited):
    photo = visited(1)
    store.visits.place({photo.id: (2, "left", "torque rod")}, by="mk")
    store.visits.place({photo.id: (2, "left", "torque rod")}, by="mk")  # changes nothing
    store.visits.place({photo.id: (3, "left", "torque rod")}, by="jd")
    last, first = store.logbook.events(unit="417")
    assert (first.by, first.body) == ("mk", {"axle": 2, "side": "left", "component": "torque rod"})
    assert (last.by, last.body["axle"], last.body["before"]["axle"]) == ("jd", 3, 2)


def test_a_place_needs_a_visit_and_all_or_none_are_placed(store, picture, screened, visited):
    photo = visited(1)
    stray = store.add_photo(screened(picture(2)), data=picture(2))
    places = {photo.id: (1, "left", "hub"), stray.id: (1, "left", "hub")}
    with pytest.raises(ValueError, match="belongs to no visit"):
        store.visits.place(places, by="mk")
    assert store.photo(photo.id).position is None
    assert store.logbook.events() == ()


def test_an_amended_visit_keeps_what_stood_before(store):
    visit = store.visits.begin("417", DAY, inspector="J. Doe")
    new = {"date": DAY, "inspector": "J. Doe", "odometer": 12140.0, "odometer_unit": "mi"}
    amended = store.visits.amend(visit.id, by="mk", **new)
    assert store.visits.get(visit.id) == amended
    assert (amended.id, amended.odometer, amended.odometer_unit) == (visit.id, 12140.0, "mi")
    store.visits.amend(visit.id, by="mk", **new)  # changes nothing
    (event,) = store.logbook.events()
    assert event.body == {"odometer": [None, 12140.0], "odometer_unit": [None, "mi"]}
    with pytest.raises(KeyError):
        store.visits.amend(visit.id + 9, by="mk", **new)
    with pytest.raises(ValueError, match="odometer"):
        store.visits.amend(visit.id, by="mk", **{**new, "odometer": -1.0})


def test_visits_are_listed_the_last_first(store):
    for unit, day in (("417", 2), ("418", 3), ("417", 4)):
        store.visits.begin(unit, DAY.replace(day=day), inspector="J. Doe")
    assert [(v.unit, v.date.day) for v in store.visits.all()] == [("417", 4), ("418", 3), ("417", 2)]
    assert [v.date.day for v in store.visits.all("417")] == [4, 2]
    with pytest.raises(KeyError):
        store.visits.get(99)


def test_the_former_photo_is_the_last_of_that_place_from_an_earlier_day(store, visited):
    oldest, old, blurred, new, elsewhere = (
        visited(1, 1),
        visited(2, 2),
        visited(3, 2, usable=False),
        visited(4, 4),
        visited(5, 3),
    )
    here = (2, "left", "torque rod")
    places = dict.fromkeys([p.id for p in (oldest, old, blurred, new)], here)
    store.visits.place({**places, elsewhere.id: (2, "right", "torque rod")}, by="mk")
    assert store.visits.former(store.photo(new.id)).id == old.id
    assert store.visits.former(store.photo(oldest.id)) is None
    assert store.visits.former(new) is None  # not placed when it was read


@pytest.fixture
def parsed(monkeypatch):
    """Give the ids of the photos whose records were read, as they are."""
    read, ids = queries.to_photo, []

    def listed(row):
        ids.append(row["id"])
        return read(row)

    monkeypatch.setattr(queries, "to_photo", listed)
    return ids


def test_the_former_photo_is_found_without_reading_those_before_it(store, visited, parsed):
    photos = [visited(day, day) for day in (1, 2, 3, 4)]
    store.visits.place(dict.fromkeys([p.id for p in photos], (2, "left", "torque rod")), by="mk")
    last = store.photo(photos[-1].id)
    parsed.clear()
    assert store.visits.former(last).id == photos[2].id
    assert parsed == [photos[2].id]


def test_of_a_day_s_photos_that_can_be_judged_the_former_is_the_first_taken(store, visited):
    late, early, last = (visited(n, day) for n, day in ((1, 2), (2, 2), (3, 4)))
    store.visits.place(dict.fromkeys([p.id for p in (early, late, last)], (2, "left", "torque rod")), by="mk")
    # Neither says when it was taken: names decide.
    assert store.visits.former(store.photo(last.id)).name == "IMG_1.jpg"


def test_places_seen_again_are_those_of_visits_on_different_days(store, visited, parsed):
    again, once, twice_that_day, nowhere = (2, "left", "torque rod"), *((n, "left", "hub") for n in (1, 2, 3))
    spots = {
        visited(1, 1).id: again,
        visited(2, 1).id: once,
        visited(3, 2).id: twice_that_day,
        visited(4, 2).id: twice_that_day,
        visited(5, 3).id: again,
    }
    visited(6, 3)
    store.visits.place(spots, by="mk")
    store.visits.position("417", *nowhere)
    parsed.clear()
    assert [(p.unit, p.spot) for p in store.visits.seen_again()] == [("417", again)]
    assert parsed == []


def test_a_photo_of_no_visit_joins_one_and_one_of_another_visit_stays(store, picture, screened, visited):
    there = visited(1)
    stray = store.add_photo(screened(picture(2)), data=picture(2))
    other = store.visits.begin("418", DAY, inspector="J. Doe")
    joined = store.visits.take_in(other.id, stray.screening.photo.sha256)
    assert (joined.id, joined.visit) == (stray.id, other)
    assert store.visits.take_in(other.id, there.screening.photo.sha256).visit == there.visit
    assert [photo.id for photo in store.visits.photos(other.id)] == [stray.id]


def test_only_what_is_there_can_join(store, picture, screened):
    stray = store.add_photo(screened(picture(2)), data=picture(2))
    visit = store.visits.begin("418", DAY, inspector="J. Doe")
    with pytest.raises(KeyError):
        store.visits.take_in(visit.id + 1, stray.screening.photo.sha256)
    with pytest.raises(KeyError):
        store.visits.take_in(visit.id, "0" * 64)
    assert store.photo(stray.id).visit is None


def test_what_one_person_does_at_a_unit_on_one_day_is_one_visit(store):
    begun = store.visits.begin("417", DAY, inspector="J. Doe")
    read = store.visits.begin("417", DAY, inspector="J. Doe", odometer=12140.0, odometer_unit="mi")
    assert (read.id, read.odometer, read.odometer_unit) == (begun.id, 12140.0, "mi")
    (line,) = store.logbook.events(unit="417")
    assert (line.kind, line.by, line.body["odometer"]) == ("visit_edit", "J. Doe", [None, 12140.0])
    assert store.visits.begin("417", DAY, inspector="J. Doe") == read
    other = store.visits.begin("417", DAY, inspector="J. Doe", odometer=12190.0, odometer_unit="mi")
    assert other.id != read.id
    assert store.visits.begin("417", DAY, inspector="J. Doe", odometer=12140.0, odometer_unit="mi") == read
    assert store.visits.begin("417", DAY, inspector="R. Roe").id not in (read.id, other.id)
    assert len(store.visits.all("417")) == 3


def test_those_who_begin_a_visit_at_the_same_moment_begin_one(store):
    def begin(component):
        visit = store.visits.begin("417", DAY, inspector="J. Doe")
        return visit.id, store.visits.position("417", 2, "left", component).id

    with ThreadPoolExecutor(8) as pool:
        begun = list(pool.map(begin, ["torque rod"] * 24))
    assert len(set(begun)) == 1
