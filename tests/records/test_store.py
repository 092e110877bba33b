import datetime as dt
import multiprocessing
import os
import signal
import subprocess
import sys
import textwrap

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from visual_aid.model import Trouble
from visual_aid.records.entries import OUTCOMES
from visual_aid.records.store import Store

RUST = ("rust_trail", 0.88, (90.0, 90.0, 30.0, 60.0))
GAP = ("gap", 0.35, (200.0, 40.0, 40.0, 20.0))


# Photos


def test_a_photo_comes_back_as_it_went_in(store, picture, screened):
    screening = screened(picture(), RUST, GAP)
    photo = store.add_photo(screening, data=picture())
    assert store.photo(photo.id) == photo
    assert photo.screening == screening
    assert store.file(photo).read_bytes() == picture()
    assert store.has(screening.photo.sha256)
    assert not store.has("0" * 64)


def test_an_id_cannot_be_guessed(store, picture, screened):
    ids = [store.add_photo(screened(picture(n)), data=picture(n)).id for n in range(20)]
    # 16 random bytes, the least that OWASP asks of a session identifier (Session Management Cheat Sheet:
    # at least 64 bits of entropy, 16 bytes), in base64 without padding.
    assert all(len(i) == 22 for i in ids)
    assert len(set(ids)) == 20
    with pytest.raises(KeyError):
        store.photo(ids[0][:-1] + "~")


def test_the_same_photo_twice_is_one_photo(store, picture, screened):
    first = store.add_photo(screened(picture(), RUST), data=picture())
    again = store.add_photo(screened(picture(), RUST, name="copy.jpg"), data=picture())
    assert again == first
    assert len(store.worklist()) == 1
    assert len(store.candidates(first.id)) == 1


def test_a_backlog_photo_stays_where_it_is(store, tmp_path, picture, screened):
    path = tmp_path / "backlog" / "IMG_7.jpg"
    path.parent.mkdir()
    path.write_bytes(picture())
    photo = store.add_photo(screened(picture(), RUST, path=str(path)))
    assert store.file(photo) == path
    assert store.upright(photo) == picture()
    path.unlink()
    with pytest.raises(FileNotFoundError):
        store.upright(photo)


def test_a_moved_store_still_has_its_photos(tmp_path, picture, screened):
    (tmp_path / "here").mkdir()
    store = Store.open(tmp_path / "here" / "yard.sqlite")
    photo = store.add_photo(screened(picture(), RUST), data=picture())
    store.close()
    (tmp_path / "here").rename(tmp_path / "there")
    moved = Store.open(tmp_path / "there" / "yard.sqlite")
    assert moved.upright(moved.photo(photo.id)) == picture()


def test_a_failed_screening_is_no_photo(store, picture, screened):
    failed = screened(picture(), error=Trouble("truncated", "IMG_0001.jpg is cut short: copy it again."))
    with pytest.raises(ValueError, match=r"IMG_0001\.jpg is cut short"):
        store.add_photo(failed, data=picture())
    assert store.worklist() == ()


def test_neither_bytes_nor_path_is_refused(store, picture, screened):
    with pytest.raises(ValueError, match="needs the photo's bytes or its path"):
        store.add_photo(screened(picture()))


# Worklist


def test_the_worklist_runs_by_priority_and_knows_where_each_photo_stands(store, picture, screened):
    low = store.add_photo(screened(picture(1), GAP), data=picture(1))
    high = store.add_photo(screened(picture(2), RUST, GAP), data=picture(2))
    clean = store.add_photo(screened(picture(3)), data=picture(3))
    blurred = store.add_photo(screened(picture(4), usable=False), data=picture(4))
    assert [(e.photo.id, e.stage, e.undecided) for e in store.worklist()] == [
        (high.id, "to_decide", 2),
        (low.id, "to_decide", 1),
        (clean.id, "nothing_flagged", 0),
        (blurred.id, "take_again", 0),
    ]
    assert store.stages() == {"to_decide": 2, "nothing_flagged": 1, "take_again": 1}
    assert store.holds_photos()

    first, second = store.candidates(high.id)
    store.decide(first.id, "confirmed", by="J. Doe")
    assert store.worklist("to_decide")[0].undecided == 1
    store.decide(second.id, "cannot_tell", by="J. Doe")
    entry = store.worklist("decided")[0]
    assert (entry.photo.id, entry.undecided, entry.decided, entry.findings) == (high.id, 0, 2, 1)
    assert [e.photo.id for e in store.worklist("to_decide")] == [low.id]


def test_weak_candidates_hold_no_photo_back(store, picture, screened):
    weak = ("gap", 0.24, GAP[2])
    photo = store.add_photo(screened(picture(1), ("gap", 0.25, RUST[2]), weak), data=picture(1))
    store.add_photo(screened(picture(2), weak), data=picture(2))
    store.add_photo(screened(picture(3), weak, usable=False), data=picture(3))
    assert [(e.stage, e.undecided, e.weak) for e in store.worklist()] == [
        ("to_decide", 1, 1),
        ("weak_only", 0, 1),
        ("take_again", 0, 1),
    ]
    strong, faint = store.candidates(photo.id)
    assert (strong.is_weak, faint.is_weak) == (False, True)
    store.decide(strong.id, "ruled_out", by="J. Doe")
    assert [(e.weak, e.decided) for e in store.worklist("decided")] == [(1, 1)]
    store.decide(faint.id, "confirmed", by="J. Doe")
    assert not store.candidates(photo.id)[1].is_weak
    assert [(e.weak, e.decided, e.findings) for e in store.worklist("decided")] == [(0, 2, 1)]


def test_the_worklist_comes_in_pages(store, picture, screened, monkeypatch):
    for n in range(5):
        store.add_photo(screened(picture(n), ("gap", 0.3 + n / 10, GAP[2])), data=picture(n))
    whole = store.worklist()
    assert whole == store.worklist(limit=2) + store.worklist(limit=2, offset=2) + store.worklist(offset=4)
    monkeypatch.setattr("visual_aid.records.store.READ_AT_A_TIME", 2)
    assert whole == tuple(store.entries())
    assert whole == tuple(store.entries("to_decide"))


def test_the_next_photo_to_decide_follows_the_worklist(store, picture, screened):
    for n, score in enumerate((0.5, 0.9, 0.5, 0.3)):
        store.add_photo(screened(picture(n), ("gap", score, GAP[2])), data=picture(n))
    store.add_photo(screened(picture(9)), data=picture(9))

    def following(photo):
        return store.leases.take_next(photo, holder="A", by="J. Doe")

    order = [e.photo.id for e in store.worklist()]
    waiting, silent = order[:4], order[4]
    assert [following(photo) for photo in waiting] == [*waiting[1:], waiting[0]]
    store.decide(store.candidates(waiting[1])[0].id, "ruled_out", by="J. Doe")
    assert following(waiting[0]) == waiting[2]
    assert following(waiting[1]) == waiting[2]
    assert following(silent) == waiting[0]
    assert following("gone with a restore") == waiting[0]
    for photo in waiting[2:]:
        store.decide(store.candidates(photo)[0].id, "ruled_out", by="J. Doe")
    assert following(waiting[0]) is None


def test_a_mark_on_a_silent_photo_counts_as_decided(store, picture, screened):
    photo = store.add_photo(screened(picture()), data=picture())
    store.mark(photo.id, "gap", (5.0, 5.0, 20.0, 10.0), by="J. Doe")
    assert store.stages() == {"decided": 1}
    store.undo(photo.id, by="J. Doe")
    assert store.stages() == {"nothing_flagged": 1}


# Decisions


@given(st.lists(st.tuples(st.integers(0, 2), st.sampled_from(OUTCOMES)), max_size=12), st.booleans())
@settings(max_examples=25)
def test_the_last_decision_stands_and_all_are_kept(tmp_path_factory, picture, screened, said, reopen):
    path = tmp_path_factory.mktemp("store") / "yard.sqlite"
    store = Store.open(path)
    photo = store.add_photo(
        screened(picture(), RUST, GAP, ("dust_trail", 0.5, (0.0, 0.0, 9.0, 9.0))), data=picture()
    )
    ids = [c.id for c in store.candidates(photo.id)]
    made = [
        store.decide(ids[which], outcome, by="J. Doe", note=str(n)) for n, (which, outcome) in enumerate(said)
    ]
    if reopen:
        store.close()
        store = Store.open(path)
    for which, candidate in enumerate(store.candidates(photo.id)):
        mine = [d for d in made if d.candidate == ids[which]]
        assert store.history(candidate.id) == tuple(mine)
        assert candidate.decision == (mine[-1] if mine else None)
        assert [d.supersedes for d in mine] == [None, *(d.id for d in mine)][: len(mine)]
    store.close()


@given(
    st.lists(
        st.one_of(
            st.tuples(st.just("undo"), st.sampled_from(["A", "B"])),
            st.tuples(st.integers(0, 1), st.sampled_from(OUTCOMES), st.sampled_from(["A", "B"])),
        ),
        max_size=14,
    )
)
@settings(max_examples=40)
def test_undo_takes_back_ones_own_last_word(tmp_path_factory, picture, screened, steps):
    # The model: one stack of (person, outcome) a candidate; undo pops the newest entry of that person that
    # lies on top of a stack.
    store = Store.open(tmp_path_factory.mktemp("store") / "yard.sqlite")
    photo = store.add_photo(screened(picture(), RUST, GAP), data=picture())
    ids = [c.id for c in store.candidates(photo.id)]
    stacks = [[], []]
    written = 0
    for n, step in enumerate(steps):
        if step[0] == "undo":
            tops = [(s[-1][0], s) for s in stacks if s and s[-1][1] == step[1]]
            done = store.undo(photo.id, by=step[1])
            assert (done is None) == (not tops)
            if tops:
                max(tops, key=lambda top: top[0])[1].pop()
                written += 1
        else:
            which, outcome, by = step
            store.decide(ids[which], outcome, by=by)
            stacks[which].append((n, by, outcome))
            written += 1
    assert [c.outcome for c in store.candidates(photo.id)] == [s[-1][2] if s else None for s in stacks]
    assert sum(len(store.history(i)) for i in ids) == written
    store.close()


def test_an_undone_mark_is_gone_from_the_findings_but_not_from_the_records(store, picture, screened):
    photo = store.add_photo(screened(picture()), data=picture())
    mark = store.mark(photo.id, "paint_break", (10.0, 10.0, 30.0, 20.0), by="J. Doe", note="crack")
    assert (mark.source, mark.is_finding, mark.candidate.cue) == ("person", True, "paint_break")
    assert mark.candidate.outline == ((10.0, 10.0), (40.0, 10.0), (40.0, 30.0), (10.0, 30.0))
    assert store.findings() == (mark,)
    store.undo(photo.id, by="J. Doe")
    assert store.findings() == ()
    assert store.candidates(photo.id) == ()
    assert [d.outcome for d in store.history(mark.id)] == ["confirmed", None]


def test_a_decision_needs_a_name_a_known_word_and_a_known_candidate(store, picture, screened):
    photo = store.add_photo(screened(picture(), RUST), data=picture())
    candidate = store.candidates(photo.id)[0]
    with pytest.raises(ValueError, match="name of the person"):
        store.decide(candidate.id, "confirmed", by="  ")
    with pytest.raises(ValueError, match="a decision is one of"):
        store.decide(candidate.id, "safe", by="J. Doe")
    with pytest.raises(KeyError):
        store.decide(candidate.id + 1, "confirmed", by="J. Doe")
    with pytest.raises(ValueError, match="box with a width"):
        store.mark(photo.id, "gap", (5.0, 5.0, 0.0, 10.0), by="J. Doe")
    assert store.history(candidate.id) == ()
    assert store.last_signature() == ""


def test_a_later_screening_keeps_what_was_said(store, picture, screened):
    photo = store.add_photo(screened(picture(), RUST, GAP), data=picture())
    rust, gap = store.candidates(photo.id)
    store.decide(rust.id, "confirmed", by="J. Doe")
    moved = ("rust_trail", 0.91, (92.0, 91.0, 30.0, 60.0))
    new = ("dust_trail", 0.7, (10.0, 10.0, 20.0, 20.0))
    store.add_screening(photo.id, screened(picture(), new, moved, engine="later"))
    found = store.candidates(photo.id)
    assert [(c.candidate.cue, c.outcome, c.current) for c in found] == [
        ("rust_trail", "confirmed", True),
        ("dust_trail", None, True),
    ]
    assert found[0].id == rust.id
    assert found[0].candidate.box == moved[2]
    assert gap.id not in [c.id for c in found]


def test_a_finding_outlives_a_screening_that_no_longer_flags_it(store, picture, screened):
    photo = store.add_photo(screened(picture(), RUST), data=picture())
    rust = store.candidates(photo.id)[0]
    store.decide(rust.id, "confirmed", by="J. Doe")
    store.add_screening(photo.id, screened(picture(), engine="later"))
    (kept,) = store.candidates(photo.id)
    assert (kept.id, kept.current, kept.is_finding, kept.candidate) == (rust.id, False, True, rust.candidate)
    assert store.stages() == {"decided": 1}


def test_a_screening_of_another_photo_is_refused(store, picture, screened):
    photo = store.add_photo(screened(picture(1)), data=picture(1))
    with pytest.raises(ValueError, match="another photo"):
        store.add_screening(photo.id, screened(picture(2)))


# Units, visits, positions


def test_a_photo_knows_its_visit_and_its_place(store, picture, screened):
    day = dt.date(2026, 5, 4)
    visit = store.visits.begin(" 417 ", day, inspector="J. Doe", odometer=182340.0, odometer_unit="mi")
    place = store.visits.position("417", 2, "left", "wheel end")
    photo = store.add_photo(screened(picture()), data=picture(), visit=visit, position=place)
    assert (photo.visit, photo.position) == (visit, place)
    assert (visit.unit, place.unit) == ("417", "417")
    assert store.worklist()[0].photo.visit == visit
    assert store.visits.begin("417", day, inspector="J. Doe", odometer=182340.0, odometer_unit="mi") == visit
    assert store.visits.position("417", 2, "left", "wheel end") == place
    assert store.visits.position("417", 2, "right", "wheel end") != place


@pytest.mark.parametrize(
    ("wrong", "match"),
    [
        ({"unit": ""}, "unit number"),
        ({"inspector": " "}, "name of the person"),
        ({"odometer": -1.0, "odometer_unit": "km"}, "zero or more"),
        ({"odometer": 5.0}, "in km or mi"),
    ],
)
def test_a_visit_that_makes_no_sense_is_refused(store, wrong, match):
    with pytest.raises(ValueError, match=match):
        store.visits.begin(**{"unit": "417", "date": dt.date(2026, 5, 4), "inspector": "J. Doe", **wrong})


@pytest.mark.parametrize("wrong", [{"axle": 0}, {"component": ""}, {"unit": " "}])
def test_a_place_that_makes_no_sense_is_refused(store, wrong):
    with pytest.raises(ValueError, match="needs"):
        store.visits.position(**{"unit": "417", "axle": 1, "side": "left", "component": "wheel end", **wrong})


# Several writers, and a process that dies

WRITER = textwrap.dedent(
    """
    import sys
    from visual_aid.records.store import Store
    store = Store.open(sys.argv[1])
    for n in range(100000):
        outcome = ("confirmed", "ruled_out", "cannot_tell")[n % 3]
        decision = store.decide(int(sys.argv[2]), outcome, by="J. Doe", note=str(n))
        print(decision.id, outcome, n, flush=True)
    """
)


def test_a_killed_process_loses_no_acknowledged_decision(tmp_path, picture, screened):
    path = tmp_path / "yard.sqlite"
    store = Store.open(path)
    photo = store.add_photo(screened(picture(), RUST), data=picture())
    candidate = store.candidates(photo.id)[0].id
    store.close()
    acknowledged = []
    for _ in range(3):
        process = subprocess.Popen(
            [sys.executable, "-c", WRITER, str(path), str(candidate)], stdout=subprocess.PIPE, text=True
        )
        acknowledged += [process.stdout.readline().split() for _ in range(20)]
        os.kill(process.pid, signal.SIGKILL)
        acknowledged += [
            line.split() for line in process.stdout.read().splitlines(keepends=True) if line[-1] == "\n"
        ]
        assert process.wait() == -signal.SIGKILL
    store = Store.open(path)
    kept = {d.id: (d.outcome, d.note) for d in store.history(candidate)}
    assert len(acknowledged) >= 60
    for number, outcome, note in acknowledged:
        assert kept[int(number)] == (outcome, note)


def _decide_often(path, candidate, by):
    store = Store.open(path)
    for _ in range(25):
        store.decide(candidate, "confirmed", by=by)


def test_two_reviewers_at_once_wait_for_each_other(tmp_path, picture, screened):
    path = tmp_path / "yard.sqlite"
    store = Store.open(path)
    photo = store.add_photo(screened(picture(), RUST), data=picture())
    candidate = store.candidates(photo.id)[0].id
    context = multiprocessing.get_context("fork")
    people = [context.Process(target=_decide_often, args=(path, candidate, by)) for by in ("A", "B")]
    store.close()
    for person in people:
        person.start()
    for person in people:
        person.join(60)
    assert [person.exitcode for person in people] == [0, 0]
    history = Store.open(path).history(candidate)
    assert len(history) == 50
    assert [d.supersedes for d in history] == [None, *(d.id for d in history[:-1])]
