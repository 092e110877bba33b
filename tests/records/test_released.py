"""Records of every revision of the tables that there has been open in this version with all that was said.

``tests/data/records`` holds, for each revision, what the version that had it made of the same few photos and
decisions, as SQL (``sqlite3.Connection.iterdump``).
"""

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from visual_aid.records import connect
from visual_aid.records.store import Store

OLD = sorted((Path(__file__).parents[1] / "data" / "records").glob("*.sql"))
MIGRATIONS = Path(connect.__file__).with_name("migrations") / "versions"


@pytest.fixture(params=OLD, ids=lambda path: path.stem)
def old(request, tmp_path):
    """Give the file of old records, and everything that was in it: table -> (columns, rows)."""
    path = tmp_path / "yard.sqlite"
    with closing(sqlite3.connect(path)) as raw:
        raw.executescript(request.param.read_text(encoding="utf-8"))
        names = [name for (name,) in raw.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
        return path, {name: everything(raw, name) for name in names if name != "alembic_version"}


def everything(raw, table, columns=None):
    columns = columns or [row[1] for row in raw.execute(f'PRAGMA table_info("{table}")')]
    chosen = ", ".join(f'"{column}"' for column in columns)
    return columns, sorted(raw.execute(f'SELECT {chosen} FROM "{table}"'), key=repr)


def test_there_are_records_of_every_revision():
    assert [path.stem for path in OLD] == sorted(path.name[:4] for path in MIGRATIONS.glob("[0-9]*.py"))


def test_no_row_of_old_records_is_lost_or_changed(old):
    path, before = old
    Store.open(path).close()
    with closing(sqlite3.connect(path)) as raw:
        for table, (columns, rows) in before.items():
            assert everything(raw, table, columns) == (columns, rows), table
        assert raw.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        assert raw.execute("PRAGMA foreign_key_check").fetchall() == []


def test_old_records_say_what_was_said_and_take_new_decisions(old):
    path, before = old
    with closing(Store.open(path)) as store:
        photos = {entry.photo.name: entry.photo for entry in store.worklist()}
        assert sorted(photos) == ["IMG_0.png", "IMG_1.png", "IMG_2.png"]
        rust, gap = store.candidates(photos["IMG_0.png"].id)
        assert (rust.outcome, rust.decision.by, rust.decision.note) == ("confirmed", "J. Doe", "wet below")
        assert gap.outcome == "ruled_out"
        (undone, _) = store.candidates(photos["IMG_1.png"].id)
        assert undone.outcome == "cannot_tell"
        assert [d.outcome for d in store.history(undone.id)] == ["cannot_tell", "ruled_out", "cannot_tell"]
        assert sorted(f.candidate.cue for f in store.findings()) == ["missing_nut", "rust_trail"]
        if "logbook" in before:
            (visit,) = store.visits.all()
            assert (visit.unit, visit.inspector, visit.odometer) == ("417", "J. Doe", 900.0)
            assert store.photo(photos["IMG_1.png"].id).position.spot == (2, "left", "torque rod")
            (line,) = store.logbook.lines("follow_up")
            assert line.body == {"say": "replace the bushing"}
        if "example" in before:
            assert [e.wording.caption for e in store.gallery.examples()] == ["A run"]
            assert [lesson.title for lesson in store.gallery.lessons()] == ["First week"]
            assert [(s.quiz.title, s.trainee) for s in store.quizzes.sittings()] == [("May", "Ada")]
        store.decide(undone.id, "confirmed", by="R. Roe")
        assert len(store.findings()) == 3
