"""Two visits of a drawn joint, from photos to a comparison."""

import json

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from visual_aid.measure import visits
from visual_aid.measure.laying import Registration, register
from visual_aid.measure.turn import Turn
from visual_aid.measure.visits import SCHEMA, Comparison, News, NutTurn, compare
from visual_aid.model import Candidate, Fastener, PhotoInfo, Quality, Screening
from visual_aid.photo import Photo
from visual_aid.quality import judge

NUTS = [(190.0, 200.0, 44.0, 10.0), (450.0, 210.0, 44.0, 35.0), (320.0, 450.0, 44.0, 50.0)]


def photo(look, canvas, seed, name):
    return Photo.from_array(np.repeat(look.photo(canvas, seed)[..., None], 3, axis=2), name)


@pytest.fixture
def found(monkeypatch, camera):
    """Put the nuts' places in the finder's place: what is tested is what is made of them."""
    looks = {"before.jpg": camera(0, 0), "after.jpg": camera(15, 60, roll=10)}

    def places(photo, _score=0.0, _overview=None):
        look = looks[photo.info.name]
        seen = []
        for number, (x, y, radius, _) in enumerate(NUTS, start=1):
            (cx, cy), jacobian = look.see(x, y)
            size = radius * np.sqrt(np.linalg.det(jacobian))
            seen.append(Fastener(number, "bolt_head", cx, cy, size, score=0.9))
        return tuple(seen)

    monkeypatch.setattr(visits, "find_fasteners", places)
    monkeypatch.setattr(visits, "lean_in", lambda _octaves, _photo, fasteners: tuple(fasteners))
    return looks


def turned(turns):
    return [(x, y, r, degrees + turn) for (x, y, r, degrees), turn in zip(NUTS, turns, strict=True)]


def test_turned_nuts_are_told_from_those_that_stayed(draw_plate, found):
    true = (0.0, 14.0, -9.0)
    before = photo(found["before.jpg"], draw_plate(NUTS), 1, "before.jpg")
    after = photo(found["after.jpg"], 0.85 * draw_plate(turned(true)), 2, "after.jpg")
    comparison = compare(before, after)
    assert comparison.comparable
    assert len(comparison.turns) == 3
    for (x, y, _, _), turn in zip(NUTS, true, strict=True):
        cx, cy = found["before.jpg"].see(x, y)[0]
        (one,) = (t for t in comparison.turns if np.hypot(t.cx - cx, t.cy - cy) < 5)
        assert one.turn == pytest.approx(turn, abs=1.5)
        assert one.turned == (turn != 0)
        assert one.after == pytest.approx(found["after.jpg"].see(x, y)[0], abs=5)


def test_photos_are_laid_anew_where_nuts_of_one_do_not_lie_on_those_of_the_other(
    draw_plate, found, monkeypatch
):
    before = photo(found["before.jpg"], draw_plate(NUTS), 1, "before.jpg")
    after = photo(found["after.jpg"], draw_plate(NUTS), 2, "after.jpg")
    true = register(before, after)
    astray = Registration(np.array([[1, 0, 150], [0, 1, 0], [0, 0, 1]]) @ true.homography, 20)
    asked = []

    def ways(*_):
        for way in (astray, true, astray):
            asked.append(way)
            yield way

    monkeypatch.setattr(visits, "registrations", ways)
    comparison = compare(before, after)
    assert comparison.homography == pytest.approx(true.homography.ravel())
    assert len(comparison.turns) == 3
    assert asked == [astray, true]


def test_a_turn_that_the_corners_speak_against_is_measured_and_not_flagged(draw_plate, found, monkeypatch):
    before = photo(found["before.jpg"], draw_plate(NUTS), 1, "before.jpg")
    for unturned, flagged in ((0.02, True), (0.06, True), (0.12, False)):
        turn = Turn(7.0, 0.6, support=0.04, unturned=unturned)
        monkeypatch.setattr(visits, "measure_turn", lambda *_, turn=turn: turn)
        comparison = compare(before, before)
        assert {(t.turn, t.turned) for t in comparison.turns} == {(7.0, flagged)}


def test_views_hardly_alike_tell_of_a_plain_turn_but_not_that_a_nut_stayed(draw_plate, found, monkeypatch):
    before = photo(found["before.jpg"], draw_plate(NUTS), 1, "before.jpg")
    for turn, measured in (
        (Turn(25.0, 0.06, 0.06), 3),
        (Turn(9.0, 0.06, 0.06), 0),
        (Turn(25.0, 0.04, 0.06), 0),
    ):
        monkeypatch.setattr(visits, "measure_turn", lambda *_, turn=turn: turn)
        assert len(compare(before, before).turns) == measured


def test_the_later_photo_is_searched_by_what_the_earlier_one_shows(draw_plate, found, monkeypatch):
    before = photo(found["before.jpg"], draw_plate(NUTS), 1, "before.jpg")
    after = photo(found["after.jpg"], draw_plate(NUTS), 2, "after.jpg")
    overview = visits.look_over(before)
    asked = []

    def look_over(photo, radii):
        asked.append((photo.info.name, radii))
        return overview

    monkeypatch.setattr(visits, "look_over", look_over)
    compare(before, after, overview=overview)
    ((name, (least, largest)),) = asked
    assert name == "after.jpg"
    assert least == pytest.approx(44 / visits.SIZE_MARGIN, rel=0.1)
    assert largest == visits.SOUGHT[1]


def test_another_joint_is_refused(draw_plate, found):
    before = photo(found["before.jpg"], draw_plate(NUTS, seed=1), 1, "before.jpg")
    after = photo(found["after.jpg"], draw_plate(NUTS, seed=9), 2, "after.jpg")
    comparison = compare(before, after)
    assert not comparison.comparable
    assert "another joint" in comparison.why
    assert comparison.turns == ()


def test_a_photo_too_dark_to_judge_is_refused_by_name(draw_plate, found):
    before = photo(found["before.jpg"], draw_plate(NUTS), 1, "before.jpg")
    dark = photo(found["after.jpg"], 0.1 * draw_plate(NUTS), 2, "after.jpg")
    assert compare(before, dark).why.startswith("the photo after cannot be judged: ")
    assert compare(dark, before).why.startswith("the photo before cannot be judged: ")


def test_a_photo_is_refused_for_what_calls_for_a_retake_and_not_for_a_caution(draw_plate, found):
    """It is a little smaller than is good as well, which alone would not send it back."""
    sharp = photo(found["before.jpg"], draw_plate(NUTS), 1, "before.jpg")
    soft = Photo.from_array(cv2.GaussianBlur(sharp.full, (0, 0), 6), "soft.jpg")
    assert [problem.code for problem in judge(soft).problems] == ["too_small", "blurred"]
    assert "hold still" in compare(soft, sharp).why


def test_photos_without_a_nut_are_refused(draw_plate, found, monkeypatch):
    before = photo(found["before.jpg"], draw_plate(NUTS), 1, "before.jpg")
    after = photo(found["after.jpg"], draw_plate(NUTS), 2, "after.jpg")
    monkeypatch.setattr(visits, "find_fasteners", lambda *_: ())
    assert "no nut" in compare(before, after).why


def record(kinds, candidates=()):
    fasteners = tuple(
        Fastener(i, kind, x, y, r) for i, (kind, (x, y, r, _)) in enumerate(zip(kinds, NUTS, strict=True), 1)
    )
    flagged = tuple(
        Candidate(i, cue, fastener, (0, 0, 1, 1), (), score, reason="a run")
        for i, (cue, fastener, score) in enumerate(candidates, 1)
    )
    return Screening("0", PhotoInfo("x", "x", "", 640, 640), Quality(True), fasteners, flagged)


def test_new_evidence_is_what_only_the_later_record_has(draw_plate, camera, found):
    found["after.jpg"] = camera(0, 0)
    before = photo(camera(0, 0), draw_plate(NUTS), 1, "before.jpg")
    after = photo(camera(0, 0), draw_plate(NUTS), 2, "after.jpg")
    early = record(["hex_nut"] * 3, [("rust_trail", 1, 0.6)])
    late = record(
        ["hex_nut", "hex_nut", "bare_stud"],
        [("rust_trail", 1, 0.9), ("rust_trail", 2, 0.8), ("dust_trail", 2, 0.2), ("gap", None, 0.9)],
    )
    news = compare(before, after, records=(early, late)).news
    assert [(n.cue, n.candidate) for n in news] == [("rust_trail", 2), ("missing_nut", None)]
    assert (news[1].cx, news[1].cy) == NUTS[2][:2]
    assert compare(before, after, records=(early, early)).news == ()


def test_the_line_of_json_has_the_agreed_fields():
    turn = NutTurn(10.04, 20.06, 30.0, (1.0, 2.0), 12.345, 0.61, True)
    news = News("gap", 4, 1.0, 2.0, "not there before: a gap")
    line = Comparison("a.jpg", "b.jpg", turns=(turn,), not_measured=2, news=(news,)).to_json()
    assert "\n" not in line
    assert json.loads(line) == {
        "schema": SCHEMA,
        "before": "a.jpg",
        "after": "b.jpg",
        "comparable": True,
        "why": None,
        "homography": None,
        "turns": [
            {
                "cx": 10.0,
                "cy": 20.1,
                "radius": 30.0,
                "after": [1.0, 2.0],
                "turn": 12.3,
                "uncertainty": 0.6,
                "turned": True,
            }
        ],
        "not_measured": 2,
        "news": [{"cue": "gap", "candidate": 4, "cx": 1.0, "cy": 2.0, "say": "not there before: a gap"}],
    }
    assert json.loads(Comparison("a.jpg", "b.jpg", why="blurred").to_json())["comparable"] is False


def test_a_comparison_is_read_back():
    turn = NutTurn(10.0, 20.1, 30.0, (1.0, 2.0), 12.3, 0.6, True)
    comparison = Comparison("a.jpg", "b.jpg", homography=(1.5, 0, 0, 0, 1.5, 0, 0, 0, 1), turns=(turn,))
    assert Comparison.from_dict(json.loads(comparison.to_json())) == comparison
    with pytest.raises(ValueError, match="not a comparison"):
        Comparison.from_dict({"schema": "other"})


@settings(max_examples=30)
@given(tilt=st.floats(0, 45), axis=st.floats(0, 180), turn=st.floats(5, 170), doubt=st.floats(0.3, 2.0))
def test_a_turned_nut_is_outlined_where_the_later_photo_shows_it(camera, tilt, axis, turn, doubt):
    look = camera(tilt, axis, roll=20)
    x, y, radius, _ = NUTS[0]
    place, _ = look.see(x, y)
    one = NutTurn(x, y, radius, tuple(place), -turn, doubt, True)
    still = NutTurn(*NUTS[1][:3], (0.0, 0.0), 0.5, doubt, False)
    homography = tuple(look.matrix.ravel())
    (flagged,) = Comparison("a.jpg", "b.jpg", homography=homography, turns=(still, one)).candidates()
    rim = np.array(flagged.outline)
    assert rim.mean(axis=0) == pytest.approx(place, abs=0.01)
    back = np.column_stack([rim, np.ones(len(rim))]) @ np.linalg.inv(look.matrix).T
    away = np.hypot(*(back[:, :2] / back[:, 2:] - (x, y)).T)
    # A circle in the part's plane but for perspective within its own width.
    assert away == pytest.approx(visits.RIM * radius, rel=0.1)
    assert flagged.reason == f"turned {turn:.1f}° ± {doubt:.1f}° anticlockwise since a.jpg"
    assert 0.5 < flagged.score <= 1


def test_a_turn_is_the_likelier_the_larger_and_the_surer_it_is():
    def chance(turn, doubt):
        return NutTurn(0, 0, 1, (0, 0), turn, doubt, True).chance

    assert chance(2.0, 1.0) == pytest.approx(0.5)  # half the least turn that counts, from either side
    # One and two standard deviations of the normal distribution: 84.13 and 97.72 % (any table).
    assert chance(3.0, 1.0) == pytest.approx(0.8413, abs=1e-4)
    assert chance(-6.0, 2.0) == pytest.approx(0.9772, abs=1e-4)
