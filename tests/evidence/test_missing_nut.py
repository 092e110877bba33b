"""Empty holes and bare studs among drawn nuts, seen head on."""

import cv2
import numpy as np
import pytest

from visual_aid.evidence.missing_nut import RINGS, ROUND_ASKED, measure
from visual_aid.evidence.scene import Scene
from visual_aid.fasteners.find import Overview
from visual_aid.fasteners.patches import working_octaves
from visual_aid.fasteners.search import Find
from visual_aid.model import Fastener
from visual_aid.photo import Photo

R = 32.0
# ISO 4032: across flats about 1.5 times the thread, so a stud is 2/3 r and a clearance hole a little more.
STUD, HOLE = 0.667 * R, 0.73 * R


def polygon(image, x, y, radius, corners, colour, turn=0.0):
    angles = np.radians(turn + np.arange(corners) * 360 / corners)
    points = np.stack([x + radius * np.cos(angles), y + radius * np.sin(angles)], axis=1)
    cv2.fillPoly(image, [np.round(points * 16).astype(np.int32)], colour, cv2.LINE_AA, 4)


def draw(image, x, y, what, turn):
    if what == "nut":
        polygon(image, x, y, R * 2 / np.sqrt(3), 6, (150, 148, 145), turn)
        polygon(image, x, y, R * 0.95, 48, (165, 163, 160))
        polygon(image, x, y, STUD, 48, (105, 98, 92))
    elif what == "hole":
        polygon(image, x, y, HOLE, 48, (22, 21, 20))
    elif what == "stud":
        polygon(image, x, y, STUD, 48, (135, 128, 120))
    elif what == "washer mark":
        polygon(image, x, y, 1.2 * R, 48, (120, 128, 122))
        polygon(image, x, y, HOLE, 48, (22, 21, 20))


def row_pixels(*what, pitch=6.0, light=1.0):
    """A row of like places, and where their centres lie."""
    rng = np.random.default_rng(11)
    height, width = 300, int(pitch * R * (len(what) + 1))
    noise = cv2.GaussianBlur(rng.normal(0, 50, (height, width)).astype(np.float32), (0, 0), 2)[..., None]
    image = np.clip(np.array((88.0, 98.0, 92.0)) + noise + rng.normal(0, 3, (height, width, 3)), 0, 255)
    places = [(pitch * R * (k + 1), 150.0) for k in range(len(what))]
    for k, (thing, (x, y)) in enumerate(zip(what, places, strict=True)):
        draw(image, x, y, thing, 13.0 * k)
    return np.clip(light * cv2.GaussianBlur(image, (0, 0), 1.0), 0, 255).astype(np.uint8), places


def row(*what, found=None, doubted=(), kind="hex_nut", pitch=6.0, light=1.0):
    """Measure a row; the finder reports the places ``found`` and was in doubt of those ``doubted``."""
    pixels, places = row_pixels(*what, pitch=pitch, light=light)
    photo = Photo.from_array(pixels)
    fasteners, finds = [], []
    for k, (x, y) in enumerate(places):
        if found is None or k in found:
            fasteners.append(Fastener(k + 1, kind, x, y, R, tilt=0.0, group=1, seat=(x, y)))
            finds.append(Find(x, y, R, kind, 0.9, 0.9))
        elif k in doubted:
            finds.append(Find(x, y, R, "hex_nut", 0.1, 0.1))
    return measure(Scene.build(photo, fasteners, Overview(working_octaves(photo), finds)))


def centre(measurement):
    """Give the middle of a measurement's outline."""
    return np.mean(np.array(measurement.outline), axis=0)


def measures(measured, name):
    return {m.fastener.id: m.measures[name] for m in measured.measurements if m.fastener}


def features(measured, name):
    return {m.fastener.id: m.features[name] for m in measured.measurements if m.fastener}


@pytest.mark.parametrize("odd", ["hole", "stud", "washer mark"])
@pytest.mark.parametrize("light", [1.0, 0.45])
def test_a_place_misread_as_a_nut_follows_no_hexagon(odd, light):
    measured = row("nut", "nut", odd, "nut", "nut", light=light)
    hexagon = measures(measured, "hexagon_share")
    assert min(hexagon, key=hexagon.get) == 3
    assert hexagon[3] < 0.5 * min(v for i, v in hexagon.items() if i != 3)
    unlike = features(measured, "unlike_lightness")
    assert max(unlike, key=unlike.get) == 3


def test_a_bore_is_dark_and_the_plate_goes_on_around_it():
    measured = row("nut", "hole", "nut", "nut")
    dark, rim = measures(measured, "dark_de"), measures(measured, "rim_de")
    assert max(dark, key=dark.get) == 2
    assert min(rim, key=rim.get) == 2
    assert rim[2] < 6 < min(v for i, v in rim.items() if i != 2)


def test_the_reason_tells_the_likeness_to_known_vacant_places_within_its_range():
    for m in row("nut", "hole", "nut", "nut").measurements:
        share = m.measures["vacant_share"]
        assert 0 <= share <= 1
        assert f"resembles known empty holes and bare studs to {100 * share:.0f} %" in m.reason


def test_a_stud_has_no_flats():
    measured = row("nut", "stud", "nut", "nut")
    flats = features(measured, "hexagon_strength")
    assert min(flats, key=flats.get) == 2
    assert flats[2] < 0.5 * min(v for i, v in flats.items() if i != 2)


def test_an_expected_place_is_measured_where_nothing_was_found():
    measured = row("nut", "nut", "hole", "nut", "nut", found={0, 1, 3, 4})
    due = [m for m in measured.measurements if m.fastener is None]
    assert len(due) == 1
    assert due[0].features["nothing_found"] == 1
    assert due[0].measures["dark_de"] > 20
    x, y = np.mean(due[0].outline, axis=0)
    assert (x, y) == pytest.approx((6.0 * R * 3, 150.0), abs=2)


def test_an_expected_place_under_a_plain_plate_shows_no_bore():
    measured = row("nut", "nut", "plate", "nut", "nut", found={0, 1, 3, 4})
    (due,) = (m for m in measured.measurements if m.fastener is None)
    assert due.measures["dark_de"] < 5
    assert due.features["hexagon_strength"] < min(features(measured, "hexagon_strength").values())


def test_a_place_that_the_finder_was_in_doubt_of_is_measured_beside_nuts():
    measured = row("nut", "nut", "hole", found={0, 1}, doubted={2})
    (doubtful,) = (m for m in measured.measurements if np.hypot(*(centre(m) - (18 * R, 150))) < 0.2 * R)
    assert doubtful.fastener is None
    assert doubtful.measures["dark_de"] > 20
    assert doubtful.features["nothing_found"] == 0


def test_what_is_no_fastener_is_doubted_by_its_own_features_alone():
    assert not any(m.of_fastener for m in row("nut", "hole", "nut").measurements)


@pytest.mark.parametrize("kind", ["empty_hole", "bare_stud"])
def test_holes_and_studs_without_a_nut_beside_them_stay_silent(kind):
    measured = row("hole", "hole", "hole", kind=kind)
    assert not measured.measurements
    assert measured.not_judged[0].cue == "missing_nut"
    assert "beside" in measured.not_judged[0].why


def test_nuts_out_of_reach_say_nothing_of_a_place():
    assert not row("nut", "hole", pitch=15.0).measurements
    assert len(row("nut", "hole", pitch=12.0).measurements) == 2


def test_a_place_cut_off_by_the_photo_is_left_out():
    rng = np.random.default_rng(2)
    photo = Photo.from_array(rng.integers(80, 100, (200, 500, 3)).astype(np.uint8))
    places = [(5.0, 100.0), (150.0, 100.0), (300.0, 100.0), (420.0, 100.0)]
    fasteners = [Fastener(i + 1, "hex_nut", x, y, R, tilt=0.0, group=1) for i, (x, y) in enumerate(places)]
    measured = measure(Scene.build(photo, fasteners))
    assert {m.fastener.id for m in measured.measurements} == {2, 3, 4}


def test_every_measurement_has_the_same_features_without_gaps():
    measured = row("nut", "nut", "hole", "nut", "stud", "nut", found={0, 1, 3, 4, 5})
    assert len({tuple(m.features) for m in measured.measurements}) == 1
    values = np.array([list(m.features.values()) for m in measured.measurements])
    assert np.isfinite(values).all()


def test_the_rings_of_a_place_are_told_against_those_of_the_others():
    odd, alike = (row(*what).measurements for what in (("nut",) * 4 + ("hole",), ("nut",) * 5))
    unlike = [np.abs(m.details[2 * RINGS : 4 * RINGS]).mean() for m in odd]
    assert np.argmax(unlike) == 4
    assert unlike[4] > 2 * max(unlike[:4])
    assert {m.details.shape for m in (*odd, *alike)} == {(4 * RINGS + 3,)}


@pytest.mark.parametrize("vacant", ["hole", "stud", "washer mark"])
def test_a_round_edge_is_asked_where_nothing_was_found_and_no_pattern_expects_it(vacant):
    measured = row("nut", vacant, found={0})
    there = [m for m in measured.measurements if np.hypot(*(centre(m) - (12 * R, 150))) < 0.3 * R]
    assert [m.fastener for m in there] == [None]
    assert there[0].features["nothing_found"] == 0.0


def test_what_was_found_or_doubted_is_not_asked_again_for_its_round_edge():
    measured = row("nut", "hole", "stud", found={0, 1}, doubted={2})
    for x in (12 * R, 18 * R):
        assert sum(np.hypot(*(centre(m) - (x, 150))) < 0.7 * R for m in measured.measurements) == 1


def test_few_round_edges_are_asked():
    measured = row("nut", *["hole"] * 5, found={0}, pitch=2.6)
    assert sum(m.fastener is None for m in measured.measurements) == ROUND_ASKED


@pytest.mark.parametrize("how", ["doubted", "round"])
def test_no_second_nut_is_missed_where_a_sure_one_leaves_no_room(how):
    # ISO 4032: two hexagons 2 r across flats touch at 2 r at the nearest.
    measured = row("nut", "hole", found={0}, doubted={1} if how == "doubted" else (), pitch=1.6)
    assert not [m for m in measured.measurements if np.hypot(*(centre(m) - (3.2 * R, 150))) < 0.5 * R]
    measured = row("nut", "hole", found={0}, doubted={1} if how == "doubted" else (), pitch=2.5)
    assert [m for m in measured.measurements if np.hypot(*(centre(m) - (5 * R, 150))) < 0.5 * R]
