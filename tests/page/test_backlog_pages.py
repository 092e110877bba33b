"""The shop lead's pages, run without a browser."""

import datetime as dt

import pytest

from visual_aid.backlog.job import Job, lost
from visual_aid.backlog.sources import PhotoFile


def button(app, label):
    return next(b for b in app.button if b.label == label)


def words(app):
    parts = [*app.text, *app.subheader, *app.caption, *app.warning, *app.error, *app.success]
    return "\n".join(str(part.value) for part in parts)


def lines(app):
    return "".join(h.proto.body for h in app.get("html"))


@pytest.fixture
def yard(store, picture, screened):
    """Two photos of two units."""
    for n, unit in enumerate(("417", "9")):
        visit = store.visits.begin(unit, dt.date(2026, 5, 4 + n), inspector="J. Doe")
        place = store.visits.position(unit, 2 + n, "left", "wheel end")
        store.add_photo(
            screened(picture(n), name=f"unit{unit}.jpg"), data=picture(n), visit=visit, position=place
        )
    return store


def test_a_filter_leaves_what_it_says(app, yard):
    app.run()
    assert "unit417.jpg" in lines(app)
    assert "unit9.jpg" in lines(app)
    app.multiselect(key="filter-units").set_value(["9"]).run()
    assert "unit417.jpg" not in lines(app)
    assert "unit9.jpg" in lines(app)
    app.selectbox(key="filter-axle").set_value(2).run()
    assert "No photos here with this filter." in words(app)
    assert not app.exception


def test_a_filter_stays_until_it_is_taken_off(app, yard):
    app.run()
    assert button(app, "Show all photos again").disabled
    app.multiselect(key="filter-units").set_value(["9"]).run()
    app.date_input(key="filter-since").set_value(dt.date(2026, 5, 1)).run()
    app.switch_page("visit.py").run()
    app.switch_page("worklist.py").run()
    assert "unit417.jpg" not in lines(app)
    button(app, "Show all photos again").click().run()
    assert "unit417.jpg" in lines(app)
    assert app.date_input(key="filter-since").value is None
    app.button_group(key="stage").set_value("decided").run()
    assert "No photos here." in words(app)
    assert not app.exception


def test_what_a_backlog_could_not_screen_is_shown(app, yard):
    app.run()
    app.switch_page("add_photos.py").run()
    assert "could not be screened" not in "".join(e.label for e in app.expander)
    count = 103
    yard.backlog.add([lost(Job(PhotoFile(f"/yard/{n:03}_*a*.jpg"))) for n in range(count)])
    app.run()
    (shown,) = (e for e in app.expander if e.label == f"{count} photos of the backlog could not be screened")
    assert shown.text[0].value.startswith("/yard/000_*a*.jpg: 000_*a*.jpg ended the process")
    assert shown.text[-1].value == "and 3 more"
    assert len(shown.text) == 101
    assert not app.exception


def test_picked_photos_are_ruled_out_at_once_and_brought_back(app, yard):
    app.run()
    assert not any("Rule out all" in b.label for b in app.button)
    for box in [c for c in app.checkbox if c.label == "Pick"]:
        box.check()
    app.run()
    button(app, "Rule out all marks on 2 picked photos").click().run()
    assert "Ruled out: 4 marks on 2 photos." in words(app)
    assert yard.stages() == {"decided": 2}
    button(app, "Undo all of it").click().run()
    assert yard.stages() == {"to_decide": 2}
    assert not app.exception


def test_a_photo_that_somebody_else_has_is_not_decided_on(app, yard):
    photo = yard.worklist()[0].photo
    yard.leases.take(photo.id, holder="another session", by="R. Roe")
    app.run()
    app.query_params["photo"] = photo.id
    app.switch_page("review.py").run()
    assert "R. Roe is at work on this photo. Take the next one." in words(app)
    assert "Confirm" not in [b.label for b in app.button]
    button(app, "Next photo").click().run()
    assert app.query_params["photo"] != photo.id
    assert "Confirm" in [b.label for b in app.button]


def test_a_decision_made_meanwhile_is_shown_before_it_is_superseded(app, yard):
    app.run()
    app.switch_page("review.py").run()
    photo = yard.worklist()[0].photo
    candidate = yard.candidates(photo.id)[0]
    yard.decide(candidate.id, "ruled_out", by="R. Roe")
    button(app, "Confirm").click().run()
    assert (
        "R. Roe has decided on this meanwhile, and nothing was recorded now: look again before you decide."
        in words(app)
    )
    assert [d.outcome for d in yard.history(candidate.id)] == ["ruled_out"]


def test_the_threshold_is_moved_with_what_it_costs(app, yard):
    app.run()
    app.switch_page("threshold.py").run()
    assert not app.exception
    assert "Too few decisions to go by: 0 confirmed and 0 ruled out." in words(app)
    app.slider[0].set_value(0.6).run()
    assert app.metric[0].value == "2 of 2"
    button(app, "Work with 0.60").click().run()
    assert yard.tunings.current().threshold == 0.6
    assert [c.is_weak for c in yard.candidates(yard.worklist()[0].photo.id)] == [False, True]
    assert "The worklist is sorted with 0.60. Before it was 0.25." in words(app)
    button(app, "Back to 0.25").click().run()
    assert yard.tunings.current().threshold == app.slider[0].value == 0.25
    assert "The worklist works with 0.25 now." in words(app)
    assert not app.success


def test_a_calibration_is_kept_by_name_used_and_left(app, yard):
    for entry in yard.worklist():
        first, second = yard.candidates(entry.photo.id)
        yard.decide(first.id, "confirmed", by="J. Doe")
        yard.decide(second.id, "ruled_out", by="J. Doe")
    app.run()
    app.switch_page("threshold.py").run()
    assert "on photos not used for fitting (lower is better)" in "\n".join(t.value for t in app.text)
    app.text_input(key="calibration-name").set_value("Our yard").run()
    button(app, "Keep it").click().run()
    assert [c.name for c in yard.tunings.calibrations()] == ["Our yard"]
    assert yard.tunings.current().calibration is None
    assert "Kept: Our yard. Choose it under Scores in use to work with it." in words(app)
    next(s for s in app.selectbox if s.label == "Scores in use").set_value("Our yard").run()
    button(app, "Use these scores").click().run()
    assert yard.tunings.current().calibration.name == "Our yard"
    assert "The worklist is sorted by Our yard now." in words(app)
    assert not app.exception


def test_patterns_show_what_recurs_and_whose_torque_check_is_due(app, yard):
    app.run()
    app.switch_page("patterns.py").run()
    assert "No findings of a unit yet" in words(app)
    for entry in yard.worklist():
        yard.decide(yard.candidates(entry.photo.id)[0].id, "confirmed", by="J. Doe")
    app.run()
    assert not app.exception
    units, places, found, overdue, whole = (frame.value for frame in app.dataframe)
    assert units["Findings"].tolist() == [1, 1]
    assert sorted(places["Places"]) == ["Axle 2 left, wheel end", "Axle 3 left, wheel end"]
    assert found["What was found"].tolist() == ["Rust trail"]
    assert sorted(overdue["Unit"]) == ["417", "9"]
    assert len(whole) == 2
