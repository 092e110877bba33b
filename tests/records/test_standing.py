"""Where photos stand is worked out as they change, and can be worked out anew."""

import datetime as dt
from concurrent.futures import ThreadPoolExecutor

import pytest
from sqlalchemy import create_engine, delete, select

from visual_aid.records import schema as t
from visual_aid.records.connect import connect, locate
from visual_aid.records.entries import Filter
from visual_aid.records.store import Store

RUST = ("rust_trail", 0.88, (90.0, 90.0, 30.0, 60.0))
GAP = ("gap", 0.35, (200.0, 40.0, 40.0, 20.0))
WEAK = ("dust_trail", 0.1, (20.0, 40.0, 40.0, 20.0))


def standings(url):
    engine = create_engine(url)
    with engine.connect() as connection:
        rows = connection.execute(select(t.standing).order_by(t.standing.c.photo)).mappings().all()
    engine.dispose()
    return [dict(row) for row in rows]


def test_worked_out_step_by_step_or_all_at_once_is_the_same(database, store, picture, screened, tmp_path):
    ids = [
        store.add_photo(screened(picture(n), *flags, usable=usable), data=picture(n)).id
        for n, (flags, usable) in enumerate(
            [((RUST, GAP), True), ((WEAK,), True), ((), False), ((), True), ((GAP, WEAK), True)]
        )
    ]
    store.decide(store.candidates(ids[0])[0].id, "confirmed", by="J. Doe")
    store.mark(ids[3], "gap", (5.0, 5.0, 20.0, 10.0), by="J. Doe")
    store.add_screening(ids[4], screened(picture(4), GAP, engine="later"))
    store.rule_out(ids[:2], by="J. Doe")
    store.undo(ids[0], by="J. Doe")
    before = standings(database)
    assert len(before) == 5
    engine = connect(locate(database))
    with engine.begin() as connection:
        connection.execute(delete(t.standing))
    engine.dispose()
    Store.open(database, photos=tmp_path / "yard-photos").close()
    assert standings(database) == before


# Filters


@pytest.fixture
def yard(store, picture, screened):
    """Four photos of two units, by name."""
    first = store.visits.begin("417", dt.date(2026, 5, 4), inspector="J. Doe")
    second = store.visits.begin("9", dt.date(2026, 6, 1), inspector="J. Doe")
    left = store.visits.position("417", 2, "left", "wheel end")
    right = store.visits.position("9", 3, "right", "spring seat")
    add = store.add_photo
    add(screened(picture(1), RUST, name="a"), data=picture(1), visit=first, position=left)
    add(screened(picture(2), GAP, name="b"), data=picture(2), visit=second, position=right)
    add(screened(picture(3), usable=False, name="c"), data=picture(3), visit=first)
    exif = screened(picture(4), RUST, GAP, WEAK, name="d")
    object.__setattr__(exif.photo, "taken", "2025-12-24T10:00:00")
    add(exif, data=picture(4))
    return {"first": first.id, "second": second.id}


@pytest.mark.parametrize(
    ("chosen", "names"),
    [
        ({}, "abcd"),
        ({"units": ("417",)}, "ac"),
        ({"units": ("417", "9")}, "abc"),
        ({"visit": "second"}, "b"),
        ({"axle": 2}, "a"),
        ({"side": "right", "component": "spring seat"}, "b"),
        ({"cues": ("gap",)}, "bd"),
        ({"cues": ("rust_trail", "gap")}, "abd"),
        ({"cues": ("dust_trail",)}, ""),
        ({"since": dt.date(2026, 5, 4)}, "abc"),
        ({"until": dt.date(2026, 5, 4)}, "acd"),
        ({"since": dt.date(2026, 5, 5), "until": dt.date(2026, 6, 1)}, "b"),
        ({"fitness": ("unusable",)}, "c"),
        ({"fitness": ("good",), "units": ("417",)}, "a"),
    ],
)
def test_a_filter_leaves_what_it_says(store, yard, chosen, names):
    chosen = Filter(
        **{name: yard.get(value, value) if name == "visit" else value for name, value in chosen.items()}
    )
    assert sorted(entry.photo.name for entry in store.worklist(chosen=chosen)) == sorted(names)
    assert sum(store.stages(chosen).values()) == len(names)
    for stage, count in store.stages(chosen).items():
        assert len(store.worklist(stage, chosen)) == count


def test_two_decisions_on_one_photo_at_the_same_moment_both_count(store, picture, screened):
    for n in range(4):
        photo = store.add_photo(screened(picture(n), RUST, GAP), data=picture(n)).id
        with ThreadPoolExecutor(2) as pool:
            list(pool.map(lambda c: store.decide(c.id, "confirmed", by="J. Doe"), store.candidates(photo)))
    assert store.stages() == {"decided": 4}


def test_a_threshold_set_while_others_decide_leaves_no_photo_where_it_was(database, store, picture, screened):
    ids = [store.add_photo(screened(picture(n), RUST, GAP), data=picture(n)).id for n in range(6)]

    def rule_out(photo):
        return store.decide(store.candidates(photo)[0].id, "ruled_out", by="J. Doe")

    with ThreadPoolExecutor(4) as pool:
        deciding = [pool.submit(rule_out, photo) for photo in ids]
        set_ = [pool.submit(store.tunings.set_threshold, at, by="R. Roe") for at in (0.3, 0.5, 0.4)]
        for work in (*deciding, *set_):
            work.result()
    before = standings(database)
    store.tunings.set_threshold(store.tunings.current().threshold, by="R. Roe")
    assert standings(database) == before
