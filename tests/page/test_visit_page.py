"""The visit's page, driven without a browser."""

import dataclasses
import datetime as dt

import pytest

from visual_aid.records import worklist

START = dt.datetime(2026, 5, 4, 7, 12)


@pytest.fixture
def walk(store, picture, screened):
    """Give a way to add photos to a visit of unit 417, a minute apart; options go to the screening."""

    def take(day, count, **options):
        visit = store.visits.begin("417", dt.date(2026, 5, day), inspector="J. Doe")
        photos = []
        for i in range(count):
            data = picture(100 * day + i)
            screening = screened(data, f"IMG_{day}{i}.jpg", **options)
            taken = (START + dt.timedelta(days=day - 4, minutes=i)).isoformat()
            info = dataclasses.replace(screening.photo, taken=taken)
            photos.append(store.add_photo(dataclasses.replace(screening, photo=info), data=data, visit=visit))
        return photos

    return take


def show(app):
    app.run()
    app.switch_page("visit.py").run()
    assert not app.exception
    return app


def button(app, label):
    return next(b for b in app.button if b.label == label)


def html(app):
    return "\n".join(h.proto.body for h in app.get("html"))


def test_without_a_visit_the_way_leads_to_adding_photos(app):
    assert "No visit yet" in show(app).subheader[0].value


def test_what_is_left_to_do_is_read_of_this_visit_alone(app, store, walk, monkeypatch):
    others, photos = walk(3, 2), walk(4, 1)
    read, parsed = worklist.to_photo, []

    def listed(row):
        parsed.append(row["id"])
        return read(row)

    monkeypatch.setattr(worklist, "to_photo", listed)
    show(app)  # which passes by the worklist
    parsed.clear()
    app.run()
    assert button(app, "Decide on 2 marks")
    assert set(parsed) == {photos[0].id}
    assert {e.photo.id for e in store.worklist("to_decide")} == {p.id for p in (*others, *photos)}


def test_places_are_guessed_from_time_and_kept_with_one_tap(app, store, walk):
    photos = walk(4, 3)
    show(app)
    labels = [b.label for b in app.button if (b.key or "").startswith("place-")]
    assert labels == [
        "Axle 1 left, wheel end\u00a0?",
        "Axle 1 left, spring and U-bolts\u00a0?",
        "Axle 2 left, wheel end\u00a0?",
    ]
    button(app, "Keep 3 guessed places").click().run()
    assert [store.photo(p.id).position.axle for p in photos] == [1, 1, 2]
    assert [e.by for e in store.logbook.events(unit="417")] == ["J. Doe"] * 3
    assert "No photo of these yet, only of their other side" in "\n".join(t.value for t in app.text)


def test_a_component_s_name_on_a_button_stays_text(app, store, walk):
    (photo,) = walk(4, 1)
    store.visits.place({photo.id: (1, "left", "*hub* :red[hot] $x$")}, by="J. Doe")
    show(app)
    assert app.button(key=f"place-{photo.id}").label == r"Axle 1 left, \*hub\* \:red\[hot\] \$x\$"


def test_a_wrong_place_is_put_right_with_two_taps_and_moves_the_rest(app, store, walk):
    photos = walk(4, 3)
    show(app)
    app.button(key=f"place-{photos[1].id}").click().run()
    app.button(key=f"spot-{(3, 'right', 'wheel end')}").click().run()
    assert not app.exception
    assert store.photo(photos[1].id).position.spot == (3, "right", "wheel end")
    labels = [b.label for b in app.button if (b.key or "").startswith("place-")]
    assert labels[2] == "Axle 2 right, spring and U-bolts\u00a0?"


def test_the_way_of_the_last_visit_is_the_way_of_this_one(app, store, walk):
    old = walk(2, 2)
    store.visits.place({old[0].id: (2, "right", "air spring"), old[1].id: (1, "left", "torque rod")}, by="jd")
    walk(4, 2)
    show(app)
    labels = [b.label for b in app.button if (b.key or "").startswith("place-")]
    assert labels == ["Axle 2 right, air spring\u00a0?", "Axle 1 left, torque rod\u00a0?"]


def test_photos_to_take_again_are_listed_with_the_reason(app, walk):
    walk(4, 1, usable=False)
    show(app)
    assert "Take again: 1" in [s.value for s in app.subheader]
    assert "Blurred: hold still and take it again." in html(app)


def test_a_visit_is_put_right_and_the_log_keeps_what_stood(app, store, walk):
    (photo,) = walk(4, 1)
    show(app)
    next(n for n in app.number_input if n.label == "Odometer").set_value(12140.0).run()
    button(app, "Put it right").click().run()
    assert store.visits.get(photo.visit.id).odometer == 12140.0
    assert store.logbook.events()[0].kind == "visit_edit"


def test_what_is_left_to_do_is_one_tap_away(app, store, walk):
    (photo,) = walk(4, 1)
    store.decide(store.candidates(photo.id)[0].id, "confirmed", by="J. Doe")
    show(app)
    assert button(app, "Hand checks: 0 of 1 done")
    button(app, "Decide on 1 mark").click().run()
    assert app.query_params["photo"] in (photo.id, [photo.id])
