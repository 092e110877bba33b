"""Several people take from one worklist."""

import datetime as dt
import multiprocessing
import threading
import time
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor
from contextlib import suppress

import pytest

from visual_aid.records import decisions, leases
from visual_aid.records.entries import OvertakenError
from visual_aid.records.store import Store

PROCESSES = 2
GAP = ("gap", 0.5, (200.0, 40.0, 40.0, 20.0))


@pytest.fixture
def waiting(store, picture, screened):
    """Give the ids of five photos that wait, in the worklist's order."""
    for n in range(5):
        store.add_photo(screened(picture(n), ("gap", 0.9 - n / 10, GAP[2])), data=picture(n))
    return [entry.photo.id for entry in store.worklist("to_decide")]


@pytest.fixture
def clock(monkeypatch):
    """Give a way to let time pass."""
    late = dt.timedelta()
    real = leases.now

    def wait(**time):
        nonlocal late
        late += dt.timedelta(**time)

    monkeypatch.setattr(leases, "now", lambda: real() + late)
    return wait


def take(store, holder, photo=None):
    return store.leases.take_next(photo, holder=holder, by=f"Person {holder}")


def test_two_holders_never_have_the_same_photo(store, waiting):
    assert [take(store, "A"), take(store, "B")] == waiting[:2]
    assert take(store, "A", waiting[0]) == waiting[2]
    # What was given back is free again, from the top.
    assert take(store, "C") == waiting[0]


def test_a_person_who_comes_anew_has_their_own_photo_again_and_no_one_elses(store, waiting):
    first, second = waiting[:2]
    assert store.leases.take(first, holder="A", by="J. Doe") is None
    assert store.leases.take(second, holder="C", by="") is None
    assert store.leases.take(first, holder="B", by="J. Doe") is None
    # The page that was left finds the photo taken, as any other would.
    assert store.leases.take(first, holder="D", by="A. Able").by == "J. Doe"
    store.decide(store.candidates(first)[0].id, "ruled_out", by="J. Doe", holder="B")
    with pytest.raises(OvertakenError):
        store.decide(store.candidates(first)[0].id, "confirmed", by="J. Doe", holder="A")
    # The next photo is one that is free all the same, even of those who gave no name.
    assert store.leases.take_next(None, holder="E", by="J. Doe") == waiting[2]


def test_who_gave_no_name_and_so_cannot_decide_keeps_nobody_out(store, waiting):
    photo = waiting[0]
    assert store.leases.take(photo, holder="A", by="") is None
    assert store.leases.take(photo, holder="B", by="") is None  # A has loaded the page again, say
    assert store.leases.take(photo, holder="B", by="J. Doe") is None
    assert store.leases.take(photo, holder="C", by="").by == "J. Doe"


def test_two_who_find_the_same_photo_free_at_the_same_moment_get_two(store, waiting, monkeypatch):
    found_by_both = threading.Barrier(2)
    find = leases.worklist.next_to_decide

    def find_together(*about, **more):
        found = find(*about, **more)
        with suppress(threading.BrokenBarrierError):  # SQLite lets one in at a time, who waits for nobody
            found_by_both.wait(1)
        return found

    monkeypatch.setattr(leases.worklist, "next_to_decide", find_together)
    with ThreadPoolExecutor(2) as pool:
        assert sorted(pool.map(lambda holder: waiting.index(take(store, holder)), "AB")) == [0, 1]
    assert store.leases.take(waiting[0], holder="C", by="C") is not None
    assert store.leases.take(waiting[1], holder="C", by="C") is not None


def test_what_was_decided_between_the_look_and_the_take_is_not_given(store, waiting, monkeypatch):
    store.rule_out([waiting[0]], by="R. Roe")
    find, stale = leases.worklist.next_to_decide, iter([waiting[0]])
    monkeypatch.setattr(leases.worklist, "next_to_decide", lambda *about: next(stale, None) or find(*about))
    assert take(store, "A") == waiting[1]
    assert store.leases.take(waiting[0], holder="B", by="B") is None


def test_who_has_a_photo_is_said(store, waiting):
    assert store.leases.take(waiting[0], holder="A", by="J. Doe") is None
    assert store.leases.take(waiting[0], holder="B", by="R. Roe").by == "J. Doe"
    store.leases.take(waiting[1], holder="A", by="J. Doe")  # who has one photo at a time
    assert store.leases.take(waiting[0], holder="B", by="R. Roe") is None


def test_a_lease_runs_out_and_is_renewed_by_work(store, waiting, clock):
    store.leases.take(waiting[0], holder="A", by="J. Doe")
    clock(seconds=leases.LASTS.total_seconds() - 5)
    assert store.leases.take(waiting[0], holder="B", by="R. Roe").by == "J. Doe"
    store.decide(store.candidates(waiting[0])[0].id, "cannot_tell", by="J. Doe", holder="A")
    clock(seconds=10)
    assert store.leases.take(waiting[0], holder="B", by="R. Roe").by == "J. Doe"
    clock(seconds=leases.LASTS.total_seconds())
    assert store.leases.take(waiting[0], holder="B", by="R. Roe") is None


def test_nobody_decides_on_what_another_has(store, waiting):
    store.leases.take(waiting[0], holder="A", by="J. Doe")
    candidate = store.candidates(waiting[0])[0].id
    with pytest.raises(OvertakenError, match=r"J\. Doe is at work"):
        store.decide(candidate, "confirmed", by="R. Roe", holder="B")
    assert store.history(candidate) == ()
    bulk = store.rule_out(waiting[:2], by="R. Roe", holder="B")
    assert (bulk.photos, bulk.candidates, bulk.held) == (1, 1, 1)


def test_a_decision_made_meanwhile_is_not_superseded_unseen(store, waiting, clock):
    store.leases.take(waiting[0], holder="A", by="J. Doe")
    candidate = store.candidates(waiting[0])[0].id
    clock(hours=1)
    made = store.decide(candidate, "ruled_out", by="R. Roe", holder="B", seen=0)
    clock(hours=1)
    with pytest.raises(OvertakenError, match=r"R\. Roe has decided on this meanwhile"):
        store.decide(candidate, "confirmed", by="J. Doe", holder="A", seen=0)
    assert [d.id for d in store.history(candidate)] == [made.id]
    store.decide(candidate, "confirmed", by="J. Doe", holder="A", seen=made.id)
    assert len(store.history(candidate)) == 2


def test_of_two_who_decide_at_the_same_moment_one_supersedes_the_other(store, waiting, monkeypatch):
    candidate = store.candidates(waiting[0])[0].id
    last, both = decisions._last, threading.Barrier(2)

    def read_together(*about):
        found = last(*about)
        with suppress(threading.BrokenBarrierError):  # nobody else gets as far
            both.wait(1)
        return found

    monkeypatch.setattr(decisions, "_last", read_together)
    with ThreadPoolExecutor(2) as pool:
        list(pool.map(lambda by: store.decide(candidate, "confirmed", by=by), ("J. Doe", "R. Roe")))
    first, second = store.history(candidate)
    assert (first.supersedes, second.supersedes) == (None, first.id)


def test_nothing_is_left_to_take(store, waiting):
    for photo in waiting:
        store.rule_out([photo], by="J. Doe")
    assert take(store, "A") is None


def _work(target, photos, holders):
    """Let people decide at the same time, each with a store of their own, and give what each decided."""

    def one(holder):
        store = Store.open(target, photos=photos)
        mine, photo = [], take(store, holder)
        while photo is not None:
            for candidate in store.candidates(photo):
                made = store.decide(candidate.id, "ruled_out", by=holder, holder=holder, seen=0)
                mine.append((candidate.id, made.id))
            photo = take(store, holder, photo)
        store.close()
        return holder, mine

    # Nobody begins before all are there.
    (photos / f"{holders[0]}.here").touch()
    while len(list(photos.glob("*.here"))) < PROCESSES:
        time.sleep(0.02)
    with ThreadPoolExecutor(len(holders)) as pool:
        return list(pool.map(one, holders))


def test_twenty_people_at_once_share_the_work_without_a_lost_double_or_crossed_decision(
    database, tmp_path, store, picture, screened
):
    for n in range(60):
        store.add_photo(screened(picture(n), ("gap", 0.3 + n / 100, GAP[2])), data=picture(n))
    people = [f"P{n}" for n in range(20)]
    with ProcessPoolExecutor(PROCESSES, multiprocessing.get_context("spawn")) as pool:
        work = [
            pool.submit(_work, database, tmp_path / "yard-photos", some)
            for some in (people[:10], people[10:])
        ]
        made = dict(one for done in work for one in done.result())
    decided = sorted(candidate for mine in made.values() for candidate, _ in mine)
    assert len(decided) == len(set(decided)) == 60
    for holder, mine in made.items():
        for candidate, number in mine:
            (decision,) = store.history(candidate)
            assert (decision.id, decision.by) == (number, holder)
    assert store.stages() == {"decided": 60}
    # They did work side by side, in both processes; how many got a photo is a matter of speed.
    assert all(any(made[person] for person in some) for some in (people[:10], people[10:]))


# Many at once


def test_a_bulk_of_decisions_is_undone_where_nobody_decided_since(store, picture, screened):
    weak = ("gap", 0.1, (5.0, 5.0, 20.0, 20.0))
    ids = [
        store.add_photo(screened(picture(n), GAP, ("rust_trail", 0.6, GAP[2]), weak), data=picture(n)).id
        for n in range(3)
    ]
    bulk = store.rule_out(ids[:2], by="J. Doe", note="all mud")
    assert (bulk.photos, bulk.candidates, bulk.held) == (2, 4, 0)
    assert store.stages() == {"decided": 2, "to_decide": 1}
    again = store.candidates(ids[0])[0]
    assert (again.decision.note, again.decision.by) == ("all mud", "J. Doe")
    store.decide(again.id, "confirmed", by="R. Roe")
    assert store.undo_bulk(bulk.id, by="J. Doe") == 3
    assert [c.outcome for c in store.candidates(ids[0])] == ["confirmed", None, None]
    assert [d.outcome for d in store.history(store.candidates(ids[1])[0].id)] == ["ruled_out", None]
    assert store.undo_bulk(bulk.id, by="J. Doe") == 0
