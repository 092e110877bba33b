"""Records that cannot be written cost no page, and nothing of what was typed."""

import ast
import datetime as dt
from contextlib import contextmanager
from pathlib import Path
from types import SimpleNamespace

import pytest
from sqlalchemy import event, func, select

import visual_aid
from visual_aid.followup.intervals import Joint
from visual_aid.followup.logged import joint_body
from visual_aid.pages import teaching, trouble
from visual_aid.pages.session import the_store
from visual_aid.records import schema
from visual_aid.records.entries import OvertakenError

PACKAGE = Path(visual_aid.__file__).parent


@pytest.mark.parametrize(
    ("error", "told"),
    [
        (OvertakenError("J. Doe is at work on this"), "J. Doe is at work on this"),
        (OSError(28, "the disk of the records is full"), "The disk of the records is full."),
        (OSError("the folder is gone"), "The folder is gone."),
    ],
)
def test_trouble_is_told(monkeypatch, error, told):
    monkeypatch.setattr(trouble.st, "session_state", state := SimpleNamespace())
    with trouble.telling_trouble():
        raise error
    assert state.trouble.rstrip(".") == told.rstrip(".")


def test_what_is_a_fault_of_the_program_is_not_swallowed():
    with pytest.raises(KeyError), trouble.telling_trouble():
        raise KeyError("candidate")


# Every form of every page


@pytest.fixture
def unwritable(store):
    """Give a context in which the records that the page works on cannot be written."""
    on = [False]
    # https://www.sqlite.org/pragma.html#pragma_query_only: every change is refused as on a read-only disk.
    event.listen(the_store()._engine, "checkout", lambda raw, *_: raw.execute(f"PRAGMA query_only={on[0]}"))

    @contextmanager
    def stop():
        on[0] = True
        yield
        on[0] = False

    return stop


@pytest.fixture
def yard(store, picture, screened):
    """Give records in which every form has something to be about."""
    visit = store.visits.begin("417", dt.date(2026, 5, 4), inspector="J. Doe")
    photos = [
        store.add_photo(screened(picture(n), name=f"IMG_{n}.jpg"), data=picture(n), visit=visit)
        for n in range(3)
    ]
    for stored in store.candidates(photos[2].id):
        store.decide(stored.id, "ruled_out", by="J. Doe")
    rust, gap = store.candidates(photos[0].id)
    store.decide(rust.id, "confirmed", by="J. Doe")
    store.decide(gap.id, "ruled_out", by="J. Doe")
    example = teaching.keep(store, photos[0].id, store.candidate(rust.id), by="J. Doe")
    store.gallery.blur(photos[0].id, [(10.0, 10.0, 50.0, 50.0)], by="J. Doe")
    quiz = teaching.new_quiz(store, "May", 1, 1, trainee="", by="J. Doe")
    store.logbook.write("joint", joint_body(Joint("U-bolts", dt.date(2026, 5, 4))), by="J. Doe", unit="417")
    return SimpleNamespace(
        photo=photos[0], other=photos[1], done=photos[2], rust=rust, example=example, quiz=quiz
    )


def recorded(store):
    """Count all rows, but those that say who is at work on what."""
    with store._engine.connect() as connection:
        return {
            table.name: connection.scalar(select(func.count()).select_from(table))
            for table in schema.metadata.sorted_tables
            if table.name not in ("lease", "standing")
        }


# The page, what its address names, what is filled in, the button, and what does it again if not the same.
FORMS = {
    "decision": ("review.py", {"photo": "other"}, {}, "Confirm", None),
    "undo": ("review.py", {"photo": "photo"}, {}, "Undo", None),
    "keep for teaching": ("review.py", {"photo": "done"}, {}, "Keep for teaching", None),
    "places": ("visit.py", {}, {}, "Keep 3 guessed places", None),
    "visit put right": ("visit.py", {}, {"Odometer": 123.0, "Inspector": "R. Roe"}, "Put it right", None),
    "hand check": (
        "hand_checks.py",
        {"finding": "rust"},
        {"Hand check": "rod_movement", "Movement at the worse end": "1/4", "Note": "greasy"},
        "Record the check",
        None,
    ),
    "what is to be done": (
        "hand_checks.py",
        {"finding": "rust"},
        {"What is to be done": "Replace it"},
        None,
        "Record what is to be done",
    ),
    "torque": (
        "torque.py",
        {"finding": "rust"},
        {
            "Thread": "3/4-10 UNC",
            "Grade or class, as marked": "SAE grade 8",
            "Thread as found": "clean_dry",
            "Maker's dry value": "380",
        },
        "Record it with the finding",
        None,
    ),
    "joint": ("due.py", {}, {"Unit": "417", "joint-name": "Wheel nuts"}, "joint-keep", None),
    "joint taken back": ("due.py", {}, {"Unit": "417"}, "Take back: U-bolts, 4 May 2026", None),
    "duty": ("due.py", {}, {"Unit": "417", "done-distance": 900.0}, "done-keep", None),
    "interval": (
        "due.py",
        {},
        {"Unit": "417", "interval-days": 30, "interval-source": "the maker's manual"},
        "interval-keep",
        None,
    ),
    "caption": ("gallery.py", {"example": "example"}, {"Caption": "Look below the nut"}, "Save", None),
    "out of the gallery": ("gallery.py", {"example": "example"}, {}, "Take out of the gallery", None),
    "blurred box": ("gallery.py", {"example": "example"}, {}, "Take blurred box 1 off", None),
    "quiz": ("quiz.py", {}, {"Title": "June"}, "Draw the quiz", None),
    "sitting": ("quiz.py", {}, {"Trainee": "Mo", "Group (optional)": "Early shift"}, "Start", None),
    "threshold": (
        "threshold.py",
        {},
        {"Marks under this score wait behind the others": 0.7},
        "Work with 0.70",
        None,
    ),
    "many ruled out": ("worklist.py", {}, {"Pick": True}, "Rule out all marks on 1 picked photo", None),
}


def named(app, label):
    """Give the field or button of this label or key."""
    kinds = ("text_input", "text_area", "number_input", "selectbox", "slider", "checkbox", "button")
    return next(e for kind in kinds for e in getattr(app, kind) if label in (e.label, e.key))


@pytest.mark.parametrize(("page", "about", "filled", "button", "again"), FORMS.values(), ids=FORMS)
def test_a_form_that_cannot_be_recorded_says_so_keeps_what_was_typed_and_can_be_sent_again(
    app, store, yard, unwritable, page, about, filled, button, again
):
    app.run()
    for name, what in about.items():
        app.query_params[name] = str(getattr(yard, what).id)
    app.switch_page(page).run()
    for label, value in filled.items():
        if button is not None:
            named(app, label).set_value(value).run()
    held = {label: named(app, label).value for label in filled}
    before = recorded(store)
    with unwritable():
        if button is None:  # a field that is recorded when it is left
            (label, value) = next(iter(filled.items()))
            named(app, label).set_value(value).run()
            held = filled
        else:
            named(app, button).click().run()
        assert not app.exception
        assert "records cannot be written: nothing was recorded, see that" in app.error[0].value
        assert [toast.value for toast in app.toast] == [app.error[0].value]
        assert recorded(store) == before
        assert {label: named(app, label).value for label in filled} == held
    named(app, again or button).click().run()
    assert not app.exception
    assert [e.value for e in app.error] == []
    assert recorded(store) != before


def test_a_photo_is_shown_even_if_it_cannot_be_kept_for_whoever_looks(app, yard, unwritable):
    app.run()
    app.query_params["photo"] = yard.other.id
    with unwritable():
        app.switch_page("review.py").run()
        assert not app.exception
        assert "nothing was recorded" in app.error[0].value
        assert "1 of 2: Rust trail" in [s.value for s in app.subheader]


def test_a_visit_that_cannot_be_begun_keeps_the_form(app, store, unwritable, picture, tmp_path):
    (tmp_path / "yard").mkdir()
    (tmp_path / "yard" / "IMG_1.jpg").write_bytes(picture())
    app.run()
    app.switch_page("add_photos.py").run()
    for label, value in (("Unit number", "417"), ("folder", str(tmp_path / "yard"))):
        named(app, label).set_value(value).run()
    with unwritable():
        named(app, "Screen the folder").click().run()
        assert not app.exception
        assert "nothing was recorded" in app.error[0].value
    assert (named(app, "Unit number").value, named(app, "folder").value) == ("417", str(tmp_path / "yard"))
    assert store.visits.all() == ()


# What is asked apart from the page


@pytest.fixture
def first(tmp_path):
    """Have the server's records refuse every write while there is a file named ``full``."""
    return f"""
import os, sqlalchemy
@sqlalchemy.event.listens_for(sqlalchemy.Pool, "checkout")
def look(raw, *_):
    raw.execute(f"PRAGMA query_only={{os.path.exists({str(tmp_path / "full")!r})}}")
"""


@pytest.mark.browser
@pytest.mark.parametrize("button", ["It is there", "Axle 2 left, wheel end"])
def test_a_place_that_cannot_be_kept_is_asked_for_on(visit, store, picture, screened, tmp_path, button):
    begun = store.visits.begin("417", dt.date(2026, 5, 4), inspector="J. Doe")
    photo = store.add_photo(screened(picture()), data=picture(), visit=begun)
    store.decide(store.candidates(photo.id)[0].id, "confirmed", by="J. Doe")  # whose name the page takes
    person = visit()
    person.page.get_by_role("link", name="Visit", exact=True).click()
    person.page.locator(f".st-key-place-{photo.id} button:enabled").click()
    dialog = person.page.get_by_role("dialog")
    dialog.get_by_text("Another place").click()
    dialog.get_by_label("Component").fill("air tank strap")
    dialog.get_by_label("Component").press("Tab")
    (tmp_path / "full").touch()
    dialog.get_by_role("button", name=button).click()
    dialog.get_by_role("alert").get_by_text("nothing was recorded").wait_for()
    assert dialog.get_by_label("Component").input_value() == "air tank strap"
    (tmp_path / "full").unlink()
    dialog.get_by_role("button", name=button).click()
    dialog.wait_for(state="detached")
    kept = {"It is there": (1, "left", "air tank strap")}.get(button, (2, "left", "wheel end"))
    assert store.photo(photo.id).position.spot == kept


# Pages that are yet to be written


def calls(node):
    """Give the names of what is called within a piece of a program."""
    return {
        getattr(call.func, "attr", getattr(call.func, "id", None))
        for call in ast.walk(node)
        if isinstance(call, ast.Call)
    }


def functions(folder):
    for module in sorted((PACKAGE / folder).glob("*.py")):
        for node in ast.parse(module.read_text()).body:
            members = node.body if isinstance(node, ast.ClassDef) else [node]
            yield from ((module, one) for one in members if isinstance(one, ast.FunctionDef))


def test_whatever_a_page_calls_back_and_writes_tells_trouble():
    writers = {one.name for _, one in functions("records") if {"writing", "_writing"} & calls(one)}
    without_pages = {"actions.py", "teaching.py", "measuring.py", "intake.py"}
    writers |= {
        one.name
        for module, one in functions("pages")
        if module.name in without_pages and calls(one) & writers
    }
    assert {"write", "take_back", "decide", "place", "say", "keep", "undo"} <= writers
    silent, checked = [], 0
    for module, one in functions("pages"):
        text = module.read_text()
        tree = ast.parse(text)
        called = {id(call.func) for call in ast.walk(tree) if isinstance(call, ast.Call)}
        back = {n.id for n in ast.walk(tree) if isinstance(n, ast.Name) and id(n) not in called}
        back |= set().union(*(calls(n) for n in ast.walk(tree) if isinstance(n, ast.Lambda)))
        stores = "the_store" in calls(one)
        if one.name in back and stores and calls(one) & writers and module.name not in without_pages:
            checked += 1
            if not any("telling_trouble" in calls(mark) for mark in one.decorator_list):
                silent.append(f"{module.name}: {one.name}")
    assert checked > 15
    assert silent == []
