import dataclasses
import datetime as dt
import errno
import json

import pytest

from visual_aid.pages import teaching


@pytest.fixture
def app(new_page):
    return new_page()


def button(app, label):
    return next(b for b in app.button if b.label == label)


def words(app):
    parts = [*app.text, *app.subheader, *app.caption, *app.warning, *app.error, *app.success]
    return "\n".join(str(part.value) for part in parts)


def drawn(app):
    return json.loads(app.get("bidi_component")[0].proto.json)


def test_an_empty_store_leads_to_adding_photos(app):
    app.run()
    assert not app.exception
    assert "No photos yet" in words(app)
    button(app, "Add photos").click().run()
    assert not app.exception
    assert [u.label for u in app.get("file_uploader")] == ["Photos from this device"]


def test_the_worklist_shows_reason_chance_and_state_and_escapes_them(app, store, picture, screened):
    hostile = "<img src=x onerror=alert(1)>.jpg"
    store.add_photo(screened(picture(), name=hostile), data=picture())
    store.add_photo(screened(picture(1), usable=False, flags=False), data=picture(1))
    app.run()
    assert not app.exception
    html = "".join(h.proto.body for h in app.get("html"))
    assert "Rust trail. Likely: 88\N{NO-BREAK SPACE}%." in html
    assert "2 of 2 to decide" in html
    assert "<img src=x" not in html
    assert "&lt;img src=x onerror=alert(1)&gt;.jpg" in html
    assert "<b>rust</b>" not in html
    assert "A photo never proves a joint tight." in words(app)
    app.segmented_control(key="stage").set_value("take_again").run()
    assert "Blurred: hold still and take it again." in "".join(h.proto.body for h in app.get("html"))


def review(app, photo):
    app.run()
    app.query_params["photo"] = photo.id
    app.switch_page("review.py").run()
    assert not app.exception
    return app


def test_the_viewer_draws_the_record_in_full_photo_pixels(app, store, picture, screened):
    screening = screened(picture())
    photo = store.add_photo(screening, data=picture())
    scene = drawn(review(app, photo))
    assert scene["photo"] == {
        "url": f"/photo/{photo.id}",
        "width": 1200,
        "height": 1600,
    }
    assert [c["box"] for c in scene["candidates"]] == [list(c.box) for c in screening.candidates]
    assert [c["outline"] for c in scene["candidates"]] == [
        [list(point) for point in c.outline] for c in screening.candidates
    ]
    assert scene["fasteners"] == [{"cx": 880.0, "cy": 200.0, "radius": 60.0}]
    assert scene["chosen"] == store.candidates(photo.id)[0].id
    dashes = [tuple(c["dash"]) for c in scene["candidates"]]
    assert len(set(dashes)) == len(dashes)


def test_nobody_decides_without_a_name(app, store, picture, screened):
    photo = store.add_photo(screened(picture()), data=picture())
    review(app, photo)
    assert button(app, "Confirm").disabled
    app.text_input(key="signature").set_value("J. Doe").run()
    assert not button(app, "Confirm").disabled


def test_deciding_moves_on_at_once_and_undo_comes_back(app, store, picture, screened):
    photo = store.add_photo(screened(picture()), data=picture())
    review(app, photo)
    first, second = (c.id for c in store.candidates(photo.id))
    app.text_input(key="signature").set_value("J. Doe").run()
    assert "1 of 2: Rust trail" in words(app)
    assert "Likely: 88\N{NO-BREAK SPACE}%" in words(app)
    assert "Length: 3.2 nut radii" in words(app)
    app.text_input(key="note").set_value("torch light").run()
    button(app, "Confirm").click().run()
    assert "2 of 2: Gap under the nut" in words(app)
    assert (store.history(first)[0].outcome, store.history(first)[0].note) == ("confirmed", "torch light")
    button(app, "Cannot tell").click().run()
    assert store.history(second)[0].note == ""
    assert "All decided on this photo." in words(app)
    assert "Cannot tell by J. Doe" in words(app)
    button(app, "Undo").click().run()
    assert drawn(app)["chosen"] == second
    assert [c.outcome for c in store.candidates(photo.id)] == ["confirmed", None]
    assert [d.outcome for d in store.history(second)] == ["cannot_tell", None]


def test_a_reviewer_keeps_the_name_from_page_to_page_and_session_to_session(
    app, new_page, store, picture, screened
):
    photo = store.add_photo(screened(picture()), data=picture())
    review(app, photo)
    app.text_input(key="signature").set_value("J. Doe").run()
    app.switch_page("worklist.py").run()
    app.switch_page("review.py").run()
    assert drawn(app)["photo"]["url"] == f"/photo/{photo.id}"
    button(app, "Rule out").click().run()
    assert store.last_signature() == "J. Doe"
    other = new_page()
    review(other, photo)
    assert other.text_input(key="signature").value == "J. Doe"


def test_the_next_photo_is_one_step_away(app, store, picture, screened):
    photos = [store.add_photo(screened(picture(seed)), data=picture(seed)) for seed in (1, 2)]
    review(app, photos[0])
    button(app, "Next photo").click().run()
    assert not app.exception
    assert drawn(app)["photo"]["url"] == f"/photo/{photos[1].id}"


def test_the_next_photo_is_one_that_the_filter_shows(app, store, picture, screened):
    mine, other = (
        store.visits.begin(unit, dt.date(2026, 5, 4), inspector="J. Doe") for unit in ("417", "521")
    )
    photos = [
        store.add_photo(screened(picture(seed)), data=picture(seed), visit=visit)
        for seed, visit in enumerate((mine, other, mine))
    ]
    app.run()
    app.multiselect(key="filter-units").set_value(["417"]).run()
    review(app, photos[0])
    button(app, "Next photo").click().run()
    assert drawn(app)["photo"]["url"] == f"/photo/{photos[2].id}"
    for candidate in store.candidates(photos[2].id):
        store.decide(candidate.id, "ruled_out", by="J. Doe")
    button(app, "Next photo").click().run()
    assert drawn(app)["photo"]["url"] == f"/photo/{photos[0].id}"
    button(app, "Next photo").click().run()
    assert [t.value for t in app.toast] == ["No other photo that the filter shows waits for a decision."]
    app.switch_page("worklist.py").run()
    button(app, "Show all photos again").click().run()
    review(app, photos[0])
    button(app, "Next photo").click().run()
    assert drawn(app)["photo"]["url"] == f"/photo/{photos[1].id}"


def test_that_no_photo_waits_is_no_trouble(app, store, picture, screened):
    review(app, store.add_photo(screened(picture()), data=picture()))
    button(app, "Next photo").click().run()
    assert [t.value for t in app.toast] == ["No other photo waits for a decision."]
    assert not app.error


def test_others_like_it_are_those_of_the_visit_s_other_photos(app, store, picture, screened):
    here, there = (store.visits.begin("417", dt.date(2026, 5, day), inspector="J. Doe") for day in (4, 3))
    photos = [
        store.add_photo(screened(picture(seed)), data=picture(seed), visit=visit)
        for seed, visit in enumerate((here, here, there))
    ]
    for photo in photos:
        teaching.look_at(store, photo.id)
    review(app, photos[0])
    button(app, "Others like this at the visit").click().run()
    assert not app.exception
    shown = [line for line in (h.proto.body for h in app.get("html")) if "/piece/" in line]
    # The fastener of the other photo of this visit, and neither its own nor that of another visit.
    assert len(shown) == 1
    assert f"/piece/{photos[1].id}/880.0/200.0/60.0" in shown[0]
    button(app, "Look").click().run()
    assert drawn(app)["photo"]["url"] == f"/photo/{photos[1].id}"


def test_weak_candidates_wait_until_asked_for(app, store, picture, screened):
    screening = screened(picture())
    rust, gap = screening.candidates
    screening = dataclasses.replace(screening, candidates=(rust, dataclasses.replace(gap, score=0.1)))
    photo = store.add_photo(screening, data=picture())
    review(app, photo)
    assert "1 of 1: Rust trail" in words(app)
    assert len(drawn(app)["candidates"]) == 1
    app.text_input(key="signature").set_value("J. Doe").run()
    button(app, "Rule out").click().run()
    assert "All decided on this photo." in words(app)
    button(app, "Show 1 weak mark").click().run()
    assert [c["badge"] for c in drawn(app)["candidates"]] == ["1 ✗", "2"]
    button(app, "Next").click().run()
    button(app, "Confirm").click().run()
    assert [f.candidate.cue for f in store.findings()] == ["gap"]


def test_a_drawn_box_becomes_a_mark(app, store, picture, screened):
    photo = store.add_photo(screened(picture(), flags=False), data=picture())
    review(app, photo)
    assert "Nothing flagged" in words(app)
    app.session_state["signature"] = "J. Doe"
    app.session_state["drawn"] = ((10.0, 20.0, 30.0, 40.0), ())
    app.run()
    assert drawn(app)["drawn"] == {"box": [10.0, 20.0, 30.0, 40.0], "outline": []}
    button(app, "Broken paint").click().run()
    (mark,) = store.findings()
    assert (mark.candidate.cue, mark.candidate.box, mark.source) == (
        "paint_break",
        (10.0, 20.0, 30.0, 40.0),
        "person",
    )
    assert "Marked by a person" in words(app)
    assert drawn(app)["drawn"] is None


def test_a_drawn_box_waits_for_its_name_while_other_marks_are_looked_at(app, store, picture, screened):
    review(app, store.add_photo(screened(picture()), data=picture()))
    app.session_state["drawn"] = ((10.0, 20.0, 30.0, 40.0), ())
    app.run()
    first = drawn(app)["chosen"]
    for another in ("Next", "1 Rust trail: not decided yet"):
        button(app, another).click().run()
        assert "What did you mark?" in words(app)
        assert drawn(app)["drawn"] == {"box": [10.0, 20.0, 30.0, 40.0], "outline": []}
        assert (drawn(app)["chosen"] == first) == (another != "Next")
    button(app, "Drop it").click().run()
    assert drawn(app)["drawn"] is None


def test_quality_and_silence_are_said(app, store, picture, screened):
    photo = store.add_photo(screened(picture(), usable=False), data=picture())
    review(app, photo)
    assert "Hard to judge. Blurred: hold still and take it again." in words(app)
    assert "Cleaner than its neighbours: fewer than three like nuts" in words(app)
    assert "A photo never proves a joint tight." in words(app)


def test_an_unknown_photo_gives_the_first_to_decide(app, store, picture, screened):
    photo = store.add_photo(screened(picture()), data=picture())
    app.run()
    app.query_params["photo"] = "no-such-photo"
    app.switch_page("review.py").run()
    assert not app.exception
    assert drawn(app)["photo"]["url"] == f"/photo/{photo.id}"


def test_uploads_are_screened_and_a_bad_one_does_not_stop_the_rest(app, store, picture):
    app.run()
    app.switch_page("add_photos.py").run()
    app.text_input(key="unit").set_value("417").run()
    app.text_input(key="signature").set_value("J. Doe").run()
    uploader = app.get("file_uploader")[0]
    uploader.upload("good.jpg", picture(1), "image/jpeg")
    uploader.upload("bad.jpg", b"not a photo", "image/jpeg")
    uploader.upload("also-good.jpg", picture(2), "image/jpeg")
    app.run()
    button(app, "Screen 3 photos").click().run()
    assert not app.exception
    assert "Refused: bad.jpg is no photo" in words(app)
    assert {e.photo.name for e in store.worklist()} == {"good.jpg", "also-good.jpg"}
    assert {e.photo.visit.unit for e in store.worklist()} == {"417"}


def test_a_folder_on_this_machine_is_screened(app, store, picture, tmp_path, unlisted):
    unlisted(tmp_path / "yard" / "closed").mkdir(parents=True)
    (tmp_path / "yard" / "IMG_1.jpg").write_bytes(picture())
    (tmp_path / "yard" / "notes.txt").write_text("no photo")
    app.run()
    app.switch_page("add_photos.py").run()
    app.text_input(key="folder").set_value(str(tmp_path / "nowhere")).run()
    button(app, "Screen the folder").click().run()
    assert "No photos in" in words(app)
    assert "Photos are not copied: keep the folder where it is." in [c.value for c in app.caption]
    app.text_input(key="folder").set_value(str(tmp_path / "yard")).run()
    button(app, "Screen the folder").click().run()
    (entry,) = store.worklist()
    assert (entry.photo.name, store.file(entry.photo)) == ("IMG_1.jpg", tmp_path / "yard" / "IMG_1.jpg")
    assert f"Refused: {tmp_path}/yard/closed cannot be searched" in words(app).replace("\\", "")


def test_a_decision_for_which_there_is_no_room_is_said_and_can_be_made_again(
    app, store, picture, screened, monkeypatch
):
    def full(*about, **more):
        raise OSError(errno.ENOSPC, "the disk of the records is full: make room")

    photo = store.add_photo(screened(picture()), data=picture())
    (rust, _) = store.candidates(photo.id)
    review(app, photo)
    app.text_input(key="signature").set_value("J. Doe").run()
    app.text_input(key="note").set_value("wet").run()
    with monkeypatch.context() as patched:
        patched.setattr(type(store), "decide", full)
        button(app, "Confirm").click().run()
    assert not app.exception
    assert "The disk of the records is full: make room." in words(app)
    assert store.history(rust.id) == ()
    button(app, "Confirm").click().run()
    assert [(d.outcome, d.note) for d in store.history(rust.id)] == [("confirmed", "wet")]
