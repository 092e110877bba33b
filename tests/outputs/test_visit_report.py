import datetime as dt
import io
import os
import time

import numpy as np
import pytest
from PIL import Image

from visual_aid.followup.handchecks import checks, complete, read_answers
from visual_aid.followup.logged import check_body
from visual_aid.model import Candidate, Fastener, NotJudged, Problem, Quality, Screening
from visual_aid.outputs.visit_report import visit_report
from visual_aid.photo import read_photo_bytes
from visual_aid.records.store import Store

NOW = dt.datetime(2026, 5, 4, 9, 12, tzinfo=dt.UTC)


@pytest.fixture
def store(tmp_path):
    store = Store.open(tmp_path / "yard.sqlite")
    yield store
    store.close()


@pytest.fixture
def visit(store):
    return store.visits.begin("417", NOW.date(), inspector="J. Doe", odometer=900.0, odometer_unit="mi")


@pytest.fixture
def add(store, visit):
    """Give a way to add a photo of the visit with candidates of these scores."""

    def photo(name, *scores, usable=True):
        shade = np.full((120, 160, 3), 60 + len(name) * 5, np.uint8)
        buffer = io.BytesIO()
        Image.fromarray(shade).save(buffer, "JPEG")
        box = (10.0, 20.0, 30.0, 40.0)
        outline = ((10.0, 20.0), (40.0, 20.0), (40.0, 60.0), (10.0, 60.0))
        screening = Screening(
            engine="test",
            photo=read_photo_bytes(buffer.getvalue(), name).info,
            quality=Quality(usable, () if usable else (Problem("dark", 0.1, 0.2, "too dark: use a lamp"),)),
            fasteners=(Fastener(1, "hex_nut", 80.0, 60.0, 20.0),),
            candidates=tuple(
                Candidate(i, "rust_trail", 1, box, outline, score, {}, f"run number {i}")
                for i, score in enumerate(scores, 1)
            ),
            not_judged=(NotJudged("gap", "seen from above"),),
        )
        return store.add_photo(screening, data=buffer.getvalue(), visit=visit)

    return photo


def test_a_finding_comes_with_its_checks_and_what_is_to_be_done(store, visit, add):
    photo = add("rod.jpg", 0.9)
    store.visits.place({photo.id: (2, "left", "torque rod")}, by="J. Doe")
    (rust,) = store.candidates(photo.id)
    store.decide(rust.id, "confirmed", by="J. Doe", note="wet")
    check = checks()["rod_movement"]
    record = complete(check, read_answers(check, {"movement": "5 mm", "knock": "no"}), "mk", NOW)
    store.logbook.write("hand_check", check_body(record), by="mk", visit=visit.id, candidate=rust.id)
    taken_back = store.logbook.write("follow_up", {"say": "wait"}, by="mk", candidate=rust.id)
    store.logbook.take_back(taken_back, by="mk")
    store.logbook.write("follow_up", {"say": "replace"}, by="mk", candidate=rust.id)
    report = visit_report(store, visit, NOW)
    (finding,) = report.findings
    assert (str(finding.photo.place), finding.label, finding.decision) == (
        "Axle 2 left, torque rod",
        "Rust trail",
        "Confirmed",
    )
    assert (finding.by, finding.note, finding.score, finding.follow_up) == ("J. Doe", "wet", 0.9, "replace")
    assert [c.outcome.verdict for c in finding.checks] == ["beyond_limit"]
    assert finding.photo.pixels().shape == (120, 160, 3)
    assert str(report.odometer) == "900 mi"
    assert report.quiet == report.not_judged == ()
    assert report.due[0].title == "Detailed shop inspection"


def test_every_photo_is_in_one_place_of_the_report(store, visit, add):
    add("a.jpg")
    ruled_out = add("bb.jpg", 0.8, 0.1)
    store.decide(store.candidates(ruled_out.id)[0].id, "ruled_out", by="J. Doe")
    add("ccc.jpg", 0.8)
    unclear = add("dddd.jpg", 0.8)
    store.decide(store.candidates(unclear.id)[0].id, "cannot_tell", by="J. Doe", note="in shadow")
    add("eeeee.jpg", usable=False)
    report = visit_report(store, visit, NOW)
    assert {r.photo.name: r.say for r in report.quiet} == {
        "a.jpg": "Nothing likely was flagged. Not judged: gap under the nut (seen from above).",
        "bb.jpg": "1 mark ruled out. 1 mark too weak to ask about. "
        "Not judged: gap under the nut (seen from above).",
    }
    assert {r.photo.name: r.say for r in report.not_judged} == {
        "ccc.jpg": "1 mark not decided yet.",
        "dddd.jpg": "Rust trail: cannot tell: in shadow.",
        "eeeee.jpg": "Too dark: use a lamp.",
    }


def test_a_photo_with_a_finding_and_an_open_mark_says_both(store, visit, add):
    photo = add("rod.jpg", 0.9, 0.8)
    store.decide(store.candidates(photo.id)[0].id, "confirmed", by="J. Doe")
    report = visit_report(store, visit, NOW)
    assert len(report.findings) == len(report.not_judged) == 1


def test_checks_apart_from_findings_are_in_the_report(store, visit):
    check = checks()["equal_height"]
    answers = read_answers(check, {"level": "yes", "left": "210 mm", "right": "211 mm"})
    body = check_body(complete(check, answers, "mk", NOW))
    store.logbook.write("hand_check", body, by="mk", visit=visit.id, unit="417")
    report = visit_report(store, visit, NOW)
    assert [c.title for c in report.checks] == ["Left and right at equal height"]
    assert "1 hand check: within the limit stated" in report.summary


def test_a_check_stays_in_the_report_when_its_mark_is_ruled_out_by_it(store, visit, add):
    (rust,) = store.candidates(add("rod.jpg", 0.9).id)
    store.decide(rust.id, "confirmed", by="J. Doe")
    check = checks()["rod_movement"]
    record = complete(check, read_answers(check, {"movement": "0 mm", "knock": "no"}), "mk", NOW)
    store.logbook.write("hand_check", check_body(record), by="mk", visit=visit.id, candidate=rust.id)
    assert visit_report(store, visit, NOW).checks == ()
    store.decide(rust.id, "ruled_out", by="mk")
    report = visit_report(store, visit, NOW)
    (kept,) = report.checks
    assert (kept.check, kept.title) == ("rod_movement", f"{check.title} (rust trail on rod.jpg, ruled out)")
    assert any(line.startswith("1 hand check:") for line in report.summary)


def test_moments_of_decisions_and_of_checks_are_in_one_zone(store, visit, add):
    (rust,) = store.candidates(add("rod.jpg", 0.9).id)
    store.decide(rust.id, "confirmed", by="J. Doe")
    check = checks()["rod_movement"]
    record = complete(check, read_answers(check, {"movement": "5 mm", "knock": "no"}), "mk", NOW)
    zone = os.environ.get("TZ")
    os.environ["TZ"] = "America/Chicago"
    time.tzset()
    try:
        store.logbook.write("hand_check", check_body(record), by="mk", visit=visit.id, candidate=rust.id)
        (finding,) = visit_report(store, visit, NOW).findings
        assert finding.at.tzname() == finding.checks[0].at.tzname() in ("CST", "CDT")
    finally:
        os.environ.pop("TZ") if zone is None else os.environ.update(TZ=zone)
        time.tzset()


def test_photos_of_one_name_are_counted_one_by_one(store, visit):
    for shade in (40, 80, 120):
        buffer = io.BytesIO()
        Image.fromarray(np.full((120, 160, 3), shade, np.uint8)).save(buffer, "JPEG")
        info = read_photo_bytes(buffer.getvalue(), "image.jpg").info
        store.add_photo(Screening("test", info, Quality(True)), data=buffer.getvalue(), visit=visit)
    assert ("Photos", "3") in visit_report(store, visit, NOW).facts


def test_shots_that_nobody_is_asked_about_are_not_counted_as_undecided(store, visit, add, monkeypatch):
    best, other = add("best.jpg", 0.9), add("other one.jpg", 0.8)
    monkeypatch.setattr(store.visits, "stood_for", lambda visit: {other.id: best.id})
    (rust,) = store.candidates(best.id)
    store.decide(rust.id, "ruled_out", by="J. Doe")
    report = visit_report(store, visit, NOW)
    assert [(shot.photo.name, shot.say) for shot in report.other_shots] == [
        ("other one.jpg", "best.jpg stands for it.")
    ]
    assert (report.not_judged, [remark.photo.name for remark in report.quiet]) == ((), ["best.jpg"])
    assert "1 other shot of the same views" in report.summary
    # What somebody decided on such a shot all the same counts as anywhere.
    store.decide(store.candidates(other.id)[0].id, "confirmed", by="J. Doe")
    assert len(visit_report(store, visit, NOW).findings) == 1
