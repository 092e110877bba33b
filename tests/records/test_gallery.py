import dataclasses

import numpy as np
import pytest
from sqlalchemy import select

from visual_aid.evidence.look import LENGTH, VERSION
from visual_aid.records import schema
from visual_aid.records.teaching import Step, Wording

RUST = ("rust_trail", 0.9, (100.0, 80.0, 40.0, 60.0))
GAP = ("gap", 0.6, (20.0, 30.0, 10.0, 10.0))


@pytest.fixture
def photo(store, picture, screened):
    data = picture()
    return store.add_photo(screened(data, RUST, GAP), data=data)


def test_an_example_shows_what_the_decision_says(store, photo):
    rust, gap = store.candidates(photo.id)
    store.decide(rust.id, "confirmed", by="Mo")
    store.decide(gap.id, "ruled_out", by="Mo")
    for candidate in (rust.id, gap.id, None):
        store.gallery.keep(photo.id, candidate, Wording(), by="Mo")
    assert [e.role for e in store.gallery.examples()] == ["evidence", "look_alike", "clean"]
    assert [e.cue for e in store.gallery.examples()] == ["rust_trail", "gap", None]
    store.undo(photo.id, by="Mo")
    assert [e.role for e in store.gallery.examples()] == ["evidence", "unsettled", "clean"]


def test_keeping_twice_is_keeping_once(store, photo):
    rust = store.candidates(photo.id)[0].id
    first = store.gallery.keep(photo.id, rust, Wording(caption="a run"), by="Mo")
    assert store.gallery.keep(photo.id, rust, Wording(caption="another"), by="Al") == first
    assert store.gallery.keep(photo.id, None, Wording(), by="Mo") == store.gallery.keep(
        photo.id, None, Wording(), by="Al"
    )
    assert len(store.gallery.examples()) == 2


def test_words_are_superseded_and_none_is_lost(store, photo):
    example = store.gallery.keep(photo.id, store.candidates(photo.id)[0].id, Wording(caption="one"), by="Mo")
    two = Wording("faint", "two", "torque was half the chart's", ("wheel end", "=1+1"))
    assert store.gallery.say(example.id, two, by="Al").wording == two
    gone = store.gallery.say(example.id, dataclasses.replace(two, kept=False), by="Al")
    assert store.gallery.examples() == ()
    assert store.gallery.example(example.id) == gone
    with store._engine.connect() as connection:
        captions = connection.scalars(select(schema.wording.c.caption).order_by(schema.wording.c.id)).all()
    assert captions == ["one", "two", "two"]
    assert store.gallery.keep(photo.id, example.number, Wording(), by="Mo").wording == two


def test_what_is_not_there_is_refused(store, photo, picture, screened):
    other = store.add_photo(screened(picture(1), RUST), data=picture(1))
    with pytest.raises(KeyError):
        store.gallery.keep("nowhere", None, Wording(), by="Mo")
    with pytest.raises(KeyError):
        store.gallery.keep(other.id, store.candidates(photo.id)[0].id, Wording(), by="Mo")
    with pytest.raises(KeyError):
        store.gallery.say(99, Wording(), by="Mo")
    with pytest.raises(ValueError, match="name of the person"):
        store.gallery.keep(photo.id, None, Wording(), by=" ")


def test_the_last_word_on_what_is_blurred_stands(store, photo):
    assert store.gallery.blurred(photo.id) == ()
    store.gallery.blur(photo.id, [(1, 2, 30, 40), (5, 5, 5, 5)], by="Mo")
    store.gallery.blur(photo.id, [(1, 2, 30, 40)], by="Mo")
    assert store.gallery.blurred(photo.id) == ((1, 2, 30, 40),)
    with pytest.raises(ValueError, match="width and a height"):
        store.gallery.blur(photo.id, [(1, 2, 0, 40)], by="Mo")


def test_lessons_are_kept_edition_by_edition(store):
    first = store.gallery.save_lesson("Rust", "Look low.", [Step(1, "See the run."), Step(2)], by="Mo")
    second = store.gallery.save_lesson("Gaps", "", [], by="Mo")
    again = store.gallery.save_lesson("Rust trails", "Look low.", [Step(2)], by="Al", lesson=first.id)
    assert store.gallery.lessons() == (again, second)
    with pytest.raises(KeyError):
        store.gallery.save_lesson("Rust", "", [], by="Mo", lesson=99)
    with pytest.raises(ValueError, match="title"):
        store.gallery.save_lesson(" ", "", [], by="Mo")


def with_looks(screening, *values):
    one = screening.fasteners[0]
    fasteners = [
        dataclasses.replace(one, id=i, cx=10.0 * i, look=bytes([v] * LENGTH)) for i, v in enumerate(values)
    ]
    return dataclasses.replace(screening, fasteners=tuple(fasteners))


def test_looks_are_those_of_the_last_screening(store, picture, screened):
    photos = [
        store.add_photo(with_looks(screened(picture(i)), *values), data=picture(i))
        for i, values in enumerate([(1, 2), (), (3,)])
    ]
    store.add_screening(photos[0].id, with_looks(screened(picture(0)), 7, 8, 9))
    looks = store.gallery.looks(VERSION)
    named = [(looks.photos[o], looks.places[i, 0], looks.vectors[i, 5]) for i, o in enumerate(looks.owner)]
    expected = [(photos[0].id, 10.0 * i, v) for i, v in enumerate([7, 8, 9])] + [(photos[2].id, 0.0, 3)]
    assert sorted(named) == sorted(expected)
    assert looks.vectors.shape == (len(looks), LENGTH)
    assert store.gallery.without_looks(VERSION) == ()
    assert set(store.gallery.without_looks(VERSION + 1)) == {p.id for p in photos}
    assert len(store.gallery.looks(VERSION + 1)) == 0


def test_a_record_without_looks_leaves_them_to_be_taken_later(store, photo):
    assert store.gallery.without_looks(VERSION) == (photo.id,)
    store.gallery.keep_looks(photo.id, with_looks(photo.screening, 4).fasteners, VERSION)
    assert np.all(store.gallery.looks(VERSION).vectors == 4)
