"""Texts that a database cannot hold are kept as ones that it can, on every database alike."""

import datetime as dt

import pytest

from visual_aid.records.entries import Filter
from visual_aid.records.teaching import Step, Wording

RUST = ("rust_trail", 0.9, (10.0, 10.0, 40.0, 40.0))


@pytest.mark.parametrize(
    ("said", "kept"),
    [("bo\0lt", "bo\\x00lt"), ("bo\udcfflt", "bo\\udcfflt"), ("bölt 😀", "bölt 😀")],
    ids=["NUL", "half of a pair", "plain"],
)
def test_every_place_that_takes_a_text_takes_any(store, picture, screened, said, kept):
    visit = store.visits.begin(said, dt.date(2026, 5, 4), inspector=said)
    assert store.visits.begin(said, dt.date(2026, 5, 4), inspector=said).id == visit.id
    photo = store.add_photo(
        screened(picture(), RUST, name=f"{said}.jpg", engine=said), data=picture(), visit=visit
    )
    store.visits.place({photo.id: (2, "left", said)}, by=said)
    (rust,) = store.candidates(photo.id)
    store.leases.take(photo.id, holder=said, by=said)
    store.decide(rust.id, "confirmed", by=said, note=said, holder=said)
    store.mark(photo.id, "chafe", (10, 10, 90, 90), by=said, note=said, reason=said)
    store.logbook.write("follow_up", {"say": said}, by=said, unit=said, candidate=rust.id)
    example = store.gallery.keep(photo.id, rust.id, Wording("faint", said, said, (said,)), by=said)
    store.gallery.save_lesson(said, said, [Step(example.id, said)], by=said)
    store.gallery.blur(photo.id, [(1.0, 1.0, 5.0, 5.0)], by=said)
    store.tunings.keep(said, 1.0, 0.0, 30, by=said)
    store.tunings.use(said, by=said)
    assert store.visits.units() == (kept,)
    assert [v.inspector for v in store.visits.all(said)] == [kept]
    assert store.photo(photo.id).position.component == kept
    (decision,) = store.history(rust.id)
    assert (decision.by, decision.note) == (kept, kept)
    assert [line.by for line in store.logbook.lines("follow_up", unit=said)] == [kept]
    assert [e.photo.id for e in store.worklist(None, Filter(units=(said,)))] == [photo.id]
    assert store.gallery.lessons()[0].title == kept
    assert store.tunings.current().calibration.name == kept
    assert store.photo(photo.id).name == f"{kept}.jpg"
