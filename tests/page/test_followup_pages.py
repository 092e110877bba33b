"""Hand checks, torque worksheet, due list and log, driven without a browser."""

import datetime as dt
import json

import pytest

from visual_aid.followup.intervals import Joint
from visual_aid.followup.logged import check_record, joint_body


@pytest.fixture
def finding(store, picture, screened):
    """Give a confirmed rust trail on a photo of unit 417."""
    visit = store.visits.begin(
        "417", dt.date(2026, 5, 4), inspector="J. Doe", odometer=900, odometer_unit="mi"
    )
    photo = store.add_photo(screened(picture()), data=picture(), visit=visit)
    store.visits.place({photo.id: (2, "left", "torque rod")}, by="J. Doe")
    first = store.candidates(photo.id)[0]
    store.decide(first.id, "confirmed", by="J. Doe")
    return store.candidate(first.id)


def at(app, page, **query):
    app.run()
    for name, value in query.items():
        app.query_params[name] = str(value)
    app.switch_page(page).run()
    assert not app.exception
    return app


def one(elements, label):
    return next(e for e in elements if e.label == label)


def press(app, label):
    one(app.button, label).click().run()
    assert not app.exception


def html(app):
    return "\n".join(h.proto.body for h in app.get("html"))


def test_a_hand_check_is_recorded_with_what_was_found(app, store, finding):
    at(app, "hand_checks.py", finding=finding.id)
    assert one(app.selectbox, "Hand check").value == "rod_movement"  # that of the place comes first
    assert "Keep fingers out of the eye" in html(app)
    one(app.text_input, "Movement at the worse end").set_value("1/4").run()
    one(app.button_group, "Metal knocks on metal").set_value("no").run()
    assert "Beyond the limit stated." in html(app)
    press(app, "Record the check")
    (line,) = store.logbook.lines("hand_check", candidate=finding.id)
    record = check_record(line)
    assert (record.check, record.initials, record.outcome.verdict) == (
        "rod_movement",
        "J. Doe",
        "beyond_limit",
    )
    assert str(record.answers["movement"]) == "0.25 in"
    assert (line.unit, line.photo) == ("417", finding.photo)
    assert one(app.text_input, "Movement at the worse end").value == ""
    press(app, "Take it back")
    assert store.logbook.lines("hand_check") == ()
    assert [e.takes_back for e in store.logbook.events()][:2] == [True, False]


def test_a_change_of_unit_takes_the_figure_along(app, store, finding):
    at(app, "hand_checks.py", finding=finding.id)
    one(app.text_input, "Movement at the worse end").set_value("1/4").run()
    one(app.button_group, "Unit of: Movement at the worse end").set_value("mm").run()
    assert one(app.text_input, "Movement at the worse end").value == "6.35"
    one(app.text_input, "Movement at the worse end").set_value("far").run()
    assert "is no length" in app.error[0].value
    assert one(app.button, "Record the check").disabled
    assert "An answer above cannot be read yet." in [c.value for c in app.caption]
    one(app.text_input, "Movement at the worse end").set_value("").run()
    assert one(app.button, "Record the check").disabled
    assert "Answer what you can; what is left open is recorded as not given." in [
        c.value for c in app.caption
    ]


def test_waits_have_timers(app, store, finding):
    at(app, "hand_checks.py", finding=finding.id)
    one(app.selectbox, "Hand check").set_value("height_control_valve").run()
    waits = [json.loads(c.proto.json)["seconds"] for c in app.get("bidi_component")]
    assert waits == [15, 15, 900]


def test_what_is_to_be_done_is_kept_and_put_right(app, store, finding):
    at(app, "hand_checks.py", finding=finding.id)
    one(app.text_input, "What is to be done").set_value("Replace the bushing").run()
    one(app.text_input, "What is to be done").set_value("Replace both bushings").run()
    (line,) = store.logbook.lines("follow_up", candidate=finding.id)
    assert line.body == {"say": "Replace both bushings"}
    assert "In the report, by J. Doe." in [c.value for c in app.caption]
    assert len(store.logbook.events()) == 4  # a place, a decision, two lines


def test_findings_of_the_visit_wait_for_their_checks(app, store, finding):
    at(app, "hand_checks.py")
    assert "No hand check yet" in html(app)
    press(app, "Check")
    assert one(app.selectbox, "Hand check").value == "rod_movement"


def test_an_unconfirmed_candidate_opens_no_check(app, store, finding):
    store.decide(finding.id, "ruled_out", by="J. Doe")
    at(app, "hand_checks.py", finding=finding.id)
    assert "Nothing confirmed yet" in app.subheader[0].value


def test_the_worksheet_takes_nothing_for_granted_and_is_kept(app, store, finding):
    at(app, "torque.py", finding=finding.id)
    one(app.text_input, "Maker's dry value").set_value("380").run()
    assert "Choose thread, grade and the thread as found" in "\n".join(t.value for t in app.text)
    one(app.selectbox, "Thread").set_value("3/4-10 UNC").run()
    one(app.selectbox, "Grade or class, as marked").set_value("SAE grade 8").run()
    one(app.selectbox, "Thread as found").set_value("clean_dry").run()
    one(app.text_input, "Maker's lubricated value").set_value("285").run()
    assert "Use 380 lbf·ft" in html(app)
    assert any("1.33 times as hard as meant" in t.value for t in app.text)
    one(app.button_group, "Torque in").set_value("N m").run()
    assert one(app.text_input, "Maker's dry value").value == "515.2"
    press(app, "Record it with the finding")
    (line,) = store.logbook.lines("torque_sheet", candidate=finding.id)
    assert line.body["dry"] == [515.2, "N m"]


def test_a_worksheet_of_no_finding_says_where_one_is_recorded(app, store, finding):
    at(app, "torque.py")
    one(app.selectbox, "Thread").set_value("3/4-10 UNC").run()
    one(app.selectbox, "Grade or class, as marked").set_value("SAE grade 8").run()
    one(app.selectbox, "Thread as found").set_value("clean_dry").run()
    one(app.text_input, "Maker's dry value").set_value("380").run()
    assert "Use 380 lbf·ft" in html(app)
    assert app.caption[-1].value == "To record a worksheet, open it from the hand check of a finding."
    assert "Record it with the finding" not in [b.label for b in app.button]


def test_the_due_list_knows_the_visit_and_what_is_written_down(app, store, finding):
    at(app, "due.py")
    assert "Unit 417: Walkaround" in html(app)
    assert app.caption[0].value.startswith("Choose a unit to record")
    one(app.selectbox, "Unit").set_value("417").run()
    assert not app.caption
    assert "Usual: 1 day (" in "\n".join(t.value for t in app.text)
    next(t for t in app.text_input if t.key == "joint-name").set_value("U-bolts").run()
    app.number_input(key="joint-distance").set_value(950.0).run()
    app.button(key="joint-keep").click().run()
    assert not app.exception
    assert [s.value for s in app.success] == ["Recorded. The list above has been worked out anew."]
    assert "Torque check after break-in: U-bolts" in html(app)
    assert "In 500 mi" in html(app)  # due at 1450; the reading noted with the work is later than the visit's
    app.selectbox(key="interval-duty").set_value("break_in_retorque").run()
    app.number_input(key="interval-distance").set_value(100.0).run()
    app.text_input(key="interval-source").set_value("maker's manual").run()
    app.button(key="interval-keep").click().run()
    assert "Interval: maker&#x27;s manual" in html(app)
    assert "0 mi" in html(app)
    app.selectbox(key="done-duty").set_value("break_in_retorque").run()
    app.button(key="done-keep").click().run()
    assert "Torque check after break-in: U-bolts" not in html(app)
    assert {e.kind for e in store.logbook.events(unit="417")} >= {"joint", "interval", "duty_done"}


def test_what_another_took_back_meanwhile_is_said(app, store, finding):
    line = store.logbook.write(
        "joint", joint_body(Joint("U-bolts", dt.date(2026, 5, 4))), by="J. Doe", unit="417"
    )
    at(app, "due.py")
    one(app.selectbox, "Unit").set_value("417").run()
    store.logbook.take_back(line, by="R. Roe")
    press(app, "Take back: U-bolts, 4 May 2026")
    assert "R. Roe has taken this back meanwhile, and nothing was recorded now" in app.error[0].value
    assert [e.by for e in store.logbook.events(unit="417") if e.takes_back] == ["R. Roe"]


def test_what_another_wrote_meanwhile_is_shown_before_it_is_changed(app, store, finding):
    line = store.logbook.write("follow_up", {"say": "torque it"}, by="J. Doe", candidate=finding.id)
    at(app, "hand_checks.py", finding=finding.id)
    store.logbook.write(
        "follow_up", {"say": "replace it"}, by="R. Roe", candidate=finding.id, supersedes=line
    )
    one(app.text_input, "What is to be done").set_value("watch it").run()
    assert "R. Roe has changed this meanwhile, and nothing was recorded now" in app.error[0].value
    assert one(app.text_input, "What is to be done").value == "watch it"
    press(app, "Record what is to be done")
    (stands,) = store.logbook.lines("follow_up", candidate=finding.id)
    assert stands.body == {"say": "watch it"}


def test_the_log_says_who_did_what(app, store, finding):
    store.undo(finding.photo, by="J. Doe")
    at(app, "log.py")
    assert "Decision taken back; now: not decided yet" in html(app)
    assert "Place: axle 2 left, torque rod" in html(app)
    assert "IMG_0001.jpg · Rust trail" in html(app)
