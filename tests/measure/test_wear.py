"""Every kind of wear on the sample pictures, whose truth is exact, and what each refuses to measure.

Nothing was tuned on the samples. Figures on many pictures are printed by ``visual-aid evaluate --wear``.
"""

import json
import math
from pathlib import Path

import cv2
import numpy as np
import pytest

from visual_aid.evaluation.wear import measured, read_cases
from visual_aid.followup.handchecks import checks
from visual_aid.measure.measurement import CannotMeasure, Figure, Found, Limit, judge
from visual_aid.measure.rust_grade import D610, d610_grade, iso_4628_3_degree
from visual_aid.measure.scale import scale_of_length
from visual_aid.measure.scale_card import find_card
from visual_aid.measure.wear import NEEDS_SHARPNESS, WEAR_KINDS, measure_wear
from visual_aid.model import WEARS
from visual_aid.photo import Photo, read_photo_bytes

SAMPLES = read_cases(Path(__file__).parents[2] / "sample_images" / "wear")


def case_where(wear, wanted):
    return next(case for case in SAMPLES[wear] if wanted(case.truth))


def noise(seed=0, size=(300, 400)):
    pixels = np.random.default_rng(seed).integers(70, 180, (*size, 1), np.uint8).repeat(3, 2)
    return Photo.from_array(pixels, f"noise{seed}.png")


@pytest.mark.parametrize("wear", WEARS)
def test_every_kind_has_words_cautions_and_a_hand_check_that_settles_it(wear):
    kind = WEAR_KINDS[wear]
    assert kind.label
    assert kind.how
    assert any("chocked" in caution for caution in kind.cautions)
    check = checks()[kind.hand_check]
    assert wear in check.wears


def test_cautions_are_those_of_the_part():
    said = {wear: " ".join(WEAR_KINDS[wear].cautions) for wear in WEARS}
    for wear in ("chafe", "rubber_crack", "height_difference", "ride_height_hold"):
        assert "air spring under pressure" in said[wear]
    assert "can burn" in said["fluid_run"]
    assert "stores force" in said["broken_leaf"]


@pytest.mark.parametrize("wear", WEARS)
def test_a_photo_of_nothing_is_refused_or_shows_nothing(wear):
    kind = WEAR_KINDS[wear]
    photos = [noise(i) for i in range(kind.photos[1])]
    found = measure_wear(wear, photos, [(60.0, 30.0, 160.0, 220.0)] * kind.boxes)
    if found.outcome == "cannot_measure":
        assert len(found.reason) > 20
        assert not found.figures
    else:
        assert wear in ("rust_grade", "fluid_run", "broken_leaf", "chafe", "rubber_crack")
    assert json.loads(found.to_json())["schema"] == "visual-aid/measurement/1"


def test_movement_is_measured_in_millimetres():
    case = case_where("movement", lambda truth: truth["movement_mm"] > 3.6)
    found = measured(case)
    assert found.figure("movement_mm") == pytest.approx(case.truth["movement_mm"], abs=0.35)
    assert found.limit.at_most == 3.2
    assert found.outcome in ("beyond_limit", "unclear")
    assert "give or take" in found.reason


def test_a_bushing_s_offset_is_a_share_of_its_rubber():
    case = case_where("bushing_offset", lambda truth: truth["card"] and truth["offset_percent"] > 20)
    found = measured(case)
    assert found.figure("offset_percent") == pytest.approx(case.truth["offset_percent"], abs=3)
    assert found.figure("offset_mm") == pytest.approx(case.truth["offset_mm"], rel=0.05)
    assert {mark.label for mark in found.marks} == {"eye", "sleeve", "off by"}


def test_a_hole_is_measured_beside_the_card_and_refused_without():
    case = case_where("hole_elongation", lambda truth: truth["axis_ratio"] > 1.12)
    found = measured(case)
    assert found.figure("axis_ratio") == pytest.approx(case.truth["axis_ratio"], abs=0.02)
    assert found.outcome == "beyond_limit"
    bare = measure_wear("hole_elongation", [noise()], [(100.0, 100.0, 90.0, 90.0)])
    assert bare.outcome == "cannot_measure"
    assert "lay the card flat" in bare.reason


def test_heights_in_two_photos_are_compared_by_the_card():
    case = case_where("height_difference", lambda truth: True)
    found = measured(case)
    doubt = found.figures[0].uncertainty
    assert doubt < 5
    assert found.figure("difference_mm") == pytest.approx(abs(case.truth["difference_mm"]), abs=2.5 * doubt)
    assert found.limit.at_most == 6.4


def test_two_boxes_in_one_photo_give_a_ratio_without_a_scale():
    boxes = [(40.0, 40.0, 60.0, 200.0), (250.0, 40.0, 60.0, 180.0)]
    found = measure_wear("height_difference", [noise()], boxes)
    assert found.figure("difference_percent") == pytest.approx(-10, abs=0.1)
    assert found.outcome == "no_limit"
    assert "millimetres are not known" in found.reason
    scaled = measure_wear(
        "height_difference", [noise()], boxes, known=[scale_of_length((0, 0), (100, 0), 200.0, "rule")]
    )
    assert scaled.figure("difference_mm") == pytest.approx(40, abs=0.5)
    assert scaled.scale == "rule"


def test_two_equal_heights_in_one_photo_are_neither_higher_nor_lower():
    found = measure_wear(
        "height_difference", [noise()], [(40.0, 40.0, 60.0, 200.0), (250.0, 40.0, 60.0, 200.0)]
    )
    assert found.reason.startswith("right is as high as left, give or take ")


def test_each_of_two_photos_may_have_its_own_known_length():
    photos, boxes = [noise(), noise(1)], [(40.0, 40.0, 60.0, 200.0), (250.0, 40.0, 60.0, 180.0)]
    rule, half = (scale_of_length((0, 0), (100, 0), mm, "rule") for mm in (200.0, 100.0))
    found = measure_wear("height_difference", photos, boxes, known=[rule, half])
    assert found.figure("left_mm") == pytest.approx(400, abs=1)
    assert found.figure("right_mm") == pytest.approx(180, abs=1)
    assert found.scale == "rule"
    pole = scale_of_length((0, 0), (100, 0), 200.0, "pole")
    assert measure_wear("height_difference", photos, boxes, known=[pole, half]).scale == "pole and rule"
    assert measure_wear("height_difference", photos, boxes, known=[rule]).outcome == "cannot_measure"
    with pytest.raises(ValueError, match="more known lengths than photos"):
        measure_wear("height_difference", photos[:1], boxes, known=[rule, half])


def test_a_movement_is_measured_by_a_known_length():
    case = case_where("movement", lambda truth: truth["movement_mm"] > 3.6)
    photos = [read_photo_bytes(data, f"{i}.jpg") for i, data in enumerate(case.photos)]
    by_card = find_card(photos[0]).scale
    a, b = by_card.outline[:2]
    known = scale_of_length(tuple(a), tuple(b), by_card.length(tuple(a), tuple(b))[0], "the card's edge")
    pixels = [photo.full.copy() for photo in photos]
    for i in range(2):  # the card is painted over
        corners = np.round(find_card(photos[i]).outline).astype(np.int32)
        cv2.fillConvexPoly(pixels[i], corners, (90, 90, 90))
    bare = [Photo.from_array(p, f"bare{i}.png") for i, p in enumerate(pixels)]
    found = measure_wear("movement", bare, case.boxes, known=[known])
    assert found.scale == "the card's edge"
    doubt = found.figures[0].uncertainty
    assert found.figure("movement_mm") == pytest.approx(case.truth["movement_mm"], abs=2 * doubt)
    assert measure_wear("movement", bare, case.boxes).figures[0].name == "movement_px"


@pytest.mark.parametrize(("wanted", "kinds"), [("fluid_run", "beyond_limit"), ("light_film", "within_limit")])
def test_fluid_that_has_run_is_told_from_a_film(wanted, kinds):
    case = case_where("fluid_run", lambda truth: truth["state"] == wanted)
    found = measured(case)
    assert found.outcome in (kinds, "unclear")
    assert 0 <= found.score <= 1


def test_cracks_are_measured():
    cracked = measured(case_where("rubber_crack", lambda truth: truth["density_ratio"] > 1))
    assert cracked.figure("density_ratio") == pytest.approx(3.05, rel=0.3)
    assert cracked.outcome == "beyond_limit"
    assert cracked.marks


@pytest.mark.parametrize("way", ["radial", "circumferential"])
def test_radial_and_circumferential_cracks_are_told_apart(way):
    rng = np.random.default_rng(4)
    rubber = rng.normal(52, 3, (300, 300)).astype(np.float32)
    for bearing in np.radians((20, 140, 260)):
        reach = np.linspace(40, 120, 40) if way == "radial" else np.full(40, 90.0)
        around = np.full(40, bearing) if way == "radial" else bearing + np.linspace(-0.5, 0.5, 40)
        line = np.column_stack([150 + reach * np.cos(around), 150 + reach * np.sin(around)])
        cv2.polylines(rubber, [np.round(line * 16).astype(np.int32)], False, 10, 3, cv2.LINE_AA, 4)
    photo = Photo.from_array(
        cv2.GaussianBlur(rubber, (0, 0), 0.8).round().astype(np.uint8)[..., None].repeat(3, 2)
    )
    found = measure_wear("rubber_crack", [photo], [(0.0, 0.0, 300.0, 300.0)])
    assert found.figure("cracks") == 3
    # Three lines of 80 or 90 pixels on a box of 300.
    assert found.figure("density_ratio") == pytest.approx(0.8 if way == "radial" else 0.9, rel=0.25)
    share = found.figure("radial_share")
    assert share > 0.8 if way == "radial" else share < 0.2


def test_sound_rubber_shows_no_crack():
    rubber = np.random.default_rng(5).normal(52, 3, (300, 400, 1)).round().astype(np.uint8).repeat(3, 2)
    # Beside it bright metal, whose edge shows that the photo is sharp.
    photo = Photo.from_array(cv2.copyMakeBorder(rubber, 0, 0, 0, 60, cv2.BORDER_CONSTANT, value=(150,) * 3))
    found = measure_wear("rubber_crack", [photo], [(0.0, 0.0, 300.0, 300.0)])
    assert found.figure("density_ratio") == 0
    assert found.outcome == "within_limit"


def test_a_scuffed_place_is_found():
    case = case_where("chafe", lambda truth: truth["chafed_percent"] > 4)
    found = measured(case)
    assert found.figure("chafed_percent") == pytest.approx(case.truth["chafed_percent"], abs=4)
    assert found.marks


def test_a_broken_leaf_is_found_and_a_whole_pack_passed():
    for case in SAMPLES["broken_leaf"]:
        assert (measured(case).figure("breaks") > 0) == (case.truth["breaks"] > 0)


def test_the_rusted_share_and_its_grades():
    case = case_where("rust_grade", lambda truth: 1 < truth["rusted_percent"] < 20)
    found = measured(case)
    assert found.figure("rusted_percent") == pytest.approx(case.truth["rusted_percent"], abs=3)
    assert abs(found.figure("d610_grade") - d610_grade(case.truth["rusted_percent"])) <= 1
    assert found.marks


D610_EDGES = (0.01, 0.03, 0.1, 0.3, 1, 3, 10, 16, 33, 50)
"""ASTM D610-08 (2012), Table 1: the largest rusted area in percent of grades 10, 9, ... 1; over 50 is 0."""
ISO_4628_3_PICTURES = (0.05, 0.5, 1, 8, 45)
"""ISO 4628-3:2016, Table 1: rusted area in percent of the reference pictures of Ri 1, 2, ... 5; that of Ri 5
is 40 to 50, here its middle."""


@pytest.mark.parametrize(("edge", "grade"), list(zip(D610_EDGES, range(10, 0, -1), strict=True)))
def test_d610_grades_change_where_the_standard_says(edge, grade):
    """Lower edge exclusive, upper inclusive: the edge itself is of the better grade."""
    assert d610_grade(edge) == d610_grade(edge * (1 - 1e-6)) == grade
    assert d610_grade(edge * (1 + 1e-6)) == grade - 1


def test_d610_grades_end_at_10_and_0():
    assert (d610_grade(0), d610_grade(100)) == (10, 0)
    assert len(D610) == len(D610_EDGES)


@pytest.mark.parametrize(("percent", "degree"), list(zip(ISO_4628_3_PICTURES, range(1, 6), strict=True)))
def test_iso_4628_3_degrees_are_those_of_the_reference_pictures(percent, degree):
    assert iso_4628_3_degree(percent) == degree


def test_the_most_rusted_picture_of_iso_4628_3_is_degree_5_from_40_to_50_percent():
    assert [iso_4628_3_degree(p) for p in (0, 40, 50, 100)] == [0, 5, 5, 5]


@pytest.mark.parametrize("lower", range(1, 5))
def test_between_two_pictures_of_iso_4628_3_the_nearer_by_ratio_is_taken(lower):
    """The standard has the nearest picture taken and gives no class edges; by ratio (from memory)."""
    edge = math.sqrt(ISO_4628_3_PICTURES[lower - 1] * ISO_4628_3_PICTURES[lower])
    assert iso_4628_3_degree(edge * 0.999) == lower
    assert iso_4628_3_degree(edge * 1.001) == lower + 1


def test_the_least_rust_of_degree_1_lies_below_its_picture():
    """No published edge to Ri 0, which is 0 %: this tool's own, a factor of e under the picture of Ri 1."""
    edge = 0.05 / math.e
    assert (iso_4628_3_degree(edge * 0.999), iso_4628_3_degree(edge * 1.001)) == (0, 1)


def test_a_limit_is_told_only_where_the_doubt_leaves_it():
    limit = Limit("x", 3.2, "", "")

    def outcome(value, doubt):
        return judge(Found("", (Figure("x", value, doubt),), limit=limit))

    assert outcome(4.0, 0.2) == "beyond_limit"
    assert outcome(2.0, 0.2) == "within_limit"
    assert outcome(3.3, 0.2) == outcome(3.1, 0.2) == "unclear"
    assert judge(Found("")) == "no_limit"


@pytest.mark.parametrize(
    ("wear", "photos", "boxes", "say"),
    [
        ("movement", 1, [(1, 1, 50, 50)], "2 photos"),
        ("rust_grade", 2, [(1, 1, 50, 50)], "1 photo"),
        ("height_difference", 1, [(1, 1, 50, 50)], "takes 2 boxes"),
        ("rust_grade", 1, [(1, 1, 0, 50)], "is empty"),
        ("rust_grade", 1, [(math.nan, 1, 50, 50)], "is empty"),
        ("rust_grade", 1, [(1, 1, math.inf, 50)], "is empty"),
    ],
)
def test_what_makes_no_sense_is_refused_with_the_mend(wear, photos, boxes, say):
    with pytest.raises(ValueError, match=say):
        measure_wear(wear, [noise(i) for i in range(photos)], boxes)


@pytest.mark.parametrize("wear", ["movement", "height_difference", "ride_height_hold"])
def test_one_photo_given_twice_shows_no_change(wear):
    photo, boxes = noise(), [(1.0, 1.0, 50.0, 50.0)] * WEAR_KINDS[wear].boxes
    with pytest.raises(ValueError, match=r"noise0\.png is given twice"):
        measure_wear(wear, [photo, noise()], boxes)


def test_a_box_beside_the_photo_or_too_small_cannot_be_measured():
    for box in ((390.0, 10.0, 200.0, 100.0), (10.0, 10.0, 12.0, 80.0)):
        found = measure_wear("rust_grade", [noise()], [box])
        assert found.outcome == "cannot_measure"


@pytest.mark.parametrize("wear", WEARS)
@pytest.mark.parametrize("tone", [1, 128, 255])
def test_a_blank_photo_is_refused_with_the_mend(wear, tone):
    kind = WEAR_KINDS[wear]
    blank = [Photo.from_array(np.full((300, 400, 3), tone + i, np.uint8), "blank.jpg") for i in (0, -1)]
    found = measure_wear(wear, blank[: kind.photos[1]], [(60.0, 30.0, 160.0, 220.0)] * kind.boxes)
    assert found.outcome == "cannot_measure"
    assert len(found.reason) > 40
    assert not found.figures


def smeared_by(case, width):
    """Give a case's measurement, and that of the same photos out of focus."""
    photos = [read_photo_bytes(data, f"{i}.jpg") for i, data in enumerate(case.photos)]
    soft = [Photo.from_array(cv2.GaussianBlur(p.full, (0, 0), width), f"soft_{p.info.name}") for p in photos]
    return [measure_wear(case.wear, shown, case.boxes) for shown in (photos, soft)]


@pytest.mark.parametrize("wear", WEARS)
def test_a_smeared_photo_is_no_proof_that_nothing_is_there(wear):
    for case in SAMPLES[wear]:
        _, soft = smeared_by(case, 8)
        assert soft.outcome not in NEEDS_SHARPNESS


def test_a_grade_is_not_told_from_a_smeared_photo_and_the_mend_is_named():
    _, soft = smeared_by(SAMPLES["rust_grade"][0], 8)
    assert soft.outcome == "cannot_measure"
    assert "soft_0.jpg" in soft.reason
    assert "hold still, take it again" in soft.reason
    assert not soft.figures


def test_what_a_smeared_photo_shows_all_the_same_stands():
    sharp, soft = smeared_by(SAMPLES["rubber_crack"][1], 8)
    assert sharp.outcome == soft.outcome == "beyond_limit"


@pytest.mark.parametrize("wear", WEARS)
def test_a_box_off_the_photo_is_told_as_such(wear):
    kind = WEAR_KINDS[wear]
    photos = [noise(i) for i in range(kind.photos[1])]
    found = measure_wear(wear, photos, [(390.0, 10.0, 100.0, 200.0)] * kind.boxes)
    assert found.outcome == "cannot_measure"
    assert "outside the photo" in found.reason


def test_a_height_with_an_end_off_the_photo_is_refused():
    boxes = [(40.0, 40.0, 60.0, 200.0), (250.0, 140.0, 60.0, 180.0)]
    found = measure_wear("height_difference", [noise()], boxes)
    assert found.outcome == "cannot_measure"
    assert "both points" in found.reason


def test_figures_are_looked_up_by_name():
    found = measure_wear("rust_grade", [noise()], [(10.0, 10.0, 200.0, 200.0)])
    assert math.isfinite(found.figure("rusted_percent"))
    with pytest.raises(KeyError):
        found.figure("movement_mm")
    assert issubclass(CannotMeasure, Exception)
