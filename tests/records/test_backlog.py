"""What runs of a backlog leave in the records."""

import dataclasses
import datetime as dt
import hashlib

import pytest

from visual_aid import __version__
from visual_aid.backlog.job import Job, Seen, lost
from visual_aid.backlog.sources import PhotoFile

RUST = ("rust_trail", 0.88, (90.0, 90.0, 30.0, 60.0))


@pytest.fixture
def saw(picture, screened, tmp_path):
    """Give what a run sees of a photo file: its content by ``seed``, its place by ``name``."""

    def see(seed=0, name="a.jpg", stamp="1", engine=__version__, likeness="00", **changes):
        data = picture(seed)
        path = tmp_path / name
        path.write_bytes(data)
        screening = screened(data, RUST, name=name, path=str(path), engine=engine, **changes)
        file = PhotoFile(str(path), len(data), stamp)
        return Seen(file, screening.photo.sha256, screening, likeness)

    return see


def known(seen):
    """The same file, seen again with content that was in the records."""
    return dataclasses.replace(seen, screening=None)


def test_a_file_that_has_not_changed_is_passed_over(store, saw):
    seen = saw()
    assert store.backlog.to_do([seen.file]) == [Job(seen.file)]
    assert store.backlog.add([seen]) == 1
    assert store.backlog.to_do([seen.file]) == []


def test_a_file_without_a_stamp_is_looked_at_every_time(store, saw):
    seen = saw(stamp="")
    store.backlog.add([seen])
    assert store.backlog.to_do([seen.file]) == [Job(seen.file, frozenset({seen.sha256}))]


def test_a_changed_file_carries_the_sums_that_it_may_have(store, saw):
    seen, other = saw(), saw(1, "b.jpg")
    store.backlog.add([seen, other])
    touched = dataclasses.replace(seen.file, stamp="2")
    (job,) = store.backlog.to_do([touched, other.file])
    assert (job.file, seen.sha256 in job.known) == (touched, True)
    store.backlog.add([known(dataclasses.replace(seen, file=touched))])
    assert store.backlog.to_do([touched]) == []
    assert len(store.worklist()) == 2


def test_another_version_of_the_engine_screens_again(store, saw):
    seen = saw(engine="of old")
    store.backlog.add([seen])
    assert store.backlog.to_do([seen.file]) == [Job(seen.file)]
    assert store.backlog.add([saw()]) == 1
    assert store.backlog.to_do([seen.file]) == []
    (entry,) = store.worklist()
    assert entry.photo.screening.engine == __version__


def test_nothing_is_added_twice(store, saw):
    seen, copy = saw(), saw(0, "copy.jpg")
    assert store.backlog.add([seen, copy]) == 1
    assert store.backlog.add([seen]) == 0
    assert len(store.worklist()) == 1
    assert store.backlog.to_do([seen.file, copy.file]) == []


def test_a_failed_file_is_kept_with_its_reason_and_tried_again(store, saw):
    seen = saw()
    store.backlog.add([lost(Job(seen.file))])
    assert list(store.backlog.troubles()) == [seen.file.url]
    assert "a.jpg ended the process" in store.backlog.troubles()[seen.file.url]
    assert store.worklist() == ()
    assert store.backlog.to_do([seen.file]) == [Job(seen.file)]
    store.backlog.add([seen])
    assert store.backlog.troubles() == {}


def test_a_photo_goes_along_with_a_file_that_moves(store, saw, tmp_path):
    seen = saw()
    store.backlog.add([seen])
    (entry,) = store.worklist()
    here = tmp_path / "a.jpg"
    there = here.rename(tmp_path / "moved.jpg")
    moved = dataclasses.replace(seen.file, url=str(there), stamp="2")
    store.backlog.add([known(dataclasses.replace(seen, file=moved))])
    data = store.upright(store.photo(entry.photo.id))
    assert hashlib.sha256(data).hexdigest() == seen.sha256


def test_all_of_a_transaction_or_nothing(store, saw):
    broken = dataclasses.replace(saw(1, "b.jpg"), file=PhotoFile("b.jpg", 1, None))
    with pytest.raises(Exception, match=r"NOT NULL|not-null"):
        store.backlog.add([saw(), broken])
    assert store.worklist() == ()


def test_a_photo_behind_a_url_is_shown_from_there(store, saw, tmp_path):
    seen = saw()
    url = f"file://{tmp_path}/a.jpg"
    photo = dataclasses.replace(seen.screening.photo, path=url)
    screening = dataclasses.replace(seen.screening, photo=photo)
    store.backlog.add([dataclasses.replace(seen, file=PhotoFile(url, 1, "1"), screening=screening)])
    (entry,) = store.worklist()
    assert entry.photo.path == url
    assert store.upright(entry.photo) == (tmp_path / "a.jpg").read_bytes()
    (tmp_path / "a.jpg").unlink()
    with pytest.raises(FileNotFoundError, match=r"a\.jpg is not there"):
        store.upright(entry.photo)


# Bursts

CLOSE, FAR = "f" * 12 + "0" * 52, "a" * 64


def shot(saw, seed, *, second=0, likeness="0" * 64, **changes):
    seen = saw(seed, f"{seed}.jpg", likeness=likeness, **changes)
    photo = dataclasses.replace(seen.screening.photo, taken=f"2026-05-04T07:12:{second:02d}")
    return dataclasses.replace(seen, screening=dataclasses.replace(seen.screening, photo=photo))


def shown(store):
    return sorted((entry.photo.name, entry.like) for entry in store.worklist("to_decide"))


def test_the_best_shot_of_a_burst_stands_for_the_others(store, saw):
    shots = [
        shot(saw, 1, second=0, priority=0.5),
        shot(saw, 2, second=4, likeness=CLOSE, priority=0.9),
        shot(saw, 3, second=8, priority=0.7),
        shot(saw, 4, second=9, likeness=FAR, priority=0.2),
    ]
    store.backlog.add(shots)
    store.backlog.group_bursts()
    assert shown(store) == [("2.jpg", 2), ("4.jpg", 0)]
    assert store.stages() == {"to_decide": 2}


def test_grouping_is_the_same_in_whatever_order_photos_came(store, saw):
    shots = [shot(saw, n, second=n, priority=n / 10) for n in range(1, 6)]
    for seen in (shots[3], shots[0], shots[4], shots[2], shots[1]):
        store.backlog.add([seen])
        store.backlog.group_bursts()
    assert shown(store) == [("5.jpg", 4)]


def test_a_shot_with_a_cue_of_its_own_keeps_its_place(store, saw, screened, picture):
    best, other = shot(saw, 1, priority=0.9), shot(saw, 2, priority=0.4)
    gap = screened(picture(2), ("gap", 0.4, RUST[2]), name="2.jpg", path=other.file.url, engine=__version__)
    other = dataclasses.replace(
        other, screening=dataclasses.replace(gap, photo=other.screening.photo, priority=0.4)
    )
    store.backlog.add([best, other])
    store.backlog.group_bursts()
    assert shown(store) == [("1.jpg", 0), ("2.jpg", 0)]


def test_likeness_alone_groups_nothing(store, saw):
    alike = [saw(n, f"{n}.jpg", likeness="0" * 64) for n in range(3)]
    later = [shot(saw, 5, second=0), shot(saw, 6, second=59)]
    later[1] = dataclasses.replace(
        later[1],
        screening=dataclasses.replace(
            later[1].screening,
            photo=dataclasses.replace(later[1].screening.photo, taken="2026-05-04T07:13:01"),
        ),
    )
    store.backlog.add([*alike, *later])
    store.backlog.group_bursts()
    assert len(shown(store)) == 5


def test_a_shot_without_a_camera_time_joins_the_last_shots_of_its_place_on_every_database(
    store, screened, picture
):
    visit = store.visits.begin("417", dt.date(2026, 5, 4), inspector="J. Doe")
    place = store.visits.position("417", 2, "left", "torque rod")
    for n, taken in enumerate((None, "2026-05-04T10:00:00", "2026-05-04T15:00:00")):
        record = screened(picture(n), RUST, name=f"{n}.jpg", priority=0.5 + n / 10)
        record = dataclasses.replace(record, photo=dataclasses.replace(record.photo, taken=taken))
        store.add_photo(record, data=picture(n), visit=visit, position=place, likeness="00")
    store.backlog.group_bursts()
    assert shown(store) == [("1.jpg", 0), ("2.jpg", 1)]
    assert len(store.visits.stood_for(visit.id)) == 1
