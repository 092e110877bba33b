"""Two opinions of one photo: where the mirror image's finds lie, and what both come to."""

import math

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from visual_aid.fasteners.mirror import SCALE, agreed, mirror_octaves, mirrored_back
from visual_aid.fasteners.search import SAME_PLACE, Find

NUT = Find(200.0, 150.0, 20.0, "hex_nut", 0.8)

finds = st.lists(
    st.builds(
        Find,
        st.floats(0, 400),
        st.floats(0, 300),
        st.floats(9, 60),
        st.sampled_from(["hex_nut", "bolt_head", "empty_hole"]),
        st.floats(0.0, 1.0),
    ),
    max_size=8,
)


@pytest.mark.parametrize("place", [(60, 40), (301, 177), (399, 212)])
def test_what_the_mirror_image_shows_is_placed_where_the_photo_shows_it(place):
    lab = np.full((300, 500, 3), 90, np.uint8)
    cv2.circle(lab, place, 12, (200, 128, 128), -1, cv2.LINE_AA)
    mirror = mirror_octaves([lab])[0]
    assert mirror.shape[:2] == (round(300 * SCALE), round(500 * SCALE))
    rows, columns = np.nonzero(mirror[..., 0] > 145)
    seen = Find(float(columns.mean()), float(rows.mean()), math.sqrt(len(rows) / math.pi), "hex_nut", 0.5)
    (back,) = mirrored_back([seen], 500, mirror.shape[1])
    assert (back.x, back.y) == pytest.approx(place, abs=0.5)
    assert back.radius == pytest.approx(12, abs=0.6)


def test_what_both_see_is_one_find_between_them():
    other = Find(204.0, 148.0, 24.0, "flange_nut", 0.6)
    (found,) = agreed([NUT], [other])
    assert (found.x, found.y, found.kind) == (202.0, 149.0, "hex_nut")
    assert found.radius == pytest.approx(math.sqrt(20 * 24))
    assert found.score > 0.6


def test_what_one_alone_sees_counts_for_less():
    (alone,) = agreed([NUT], [])
    (both,) = agreed([NUT], [NUT])
    assert alone.score < 0.5 * both.score
    assert both.score > NUT.score


def test_a_washer_found_under_the_nut_stays_no_find_of_its_own():
    washer = Find(203.0, 152.0, 38.0, "flange_nut", 0.3)
    assert [f.kind for f in agreed([NUT], [washer])] == ["hex_nut"]


@given(finds, finds)
def test_neither_image_is_the_measure_of_both(some, others):
    one, other = agreed(some, others), agreed(others, some)
    assert sorted(f.score for f in one) == pytest.approx(sorted(f.score for f in other))


@given(finds, finds)
def test_finds_come_best_first_and_scores_stay_probabilities(some, others):
    scores = [f.score for f in agreed(some, others)]
    assert scores == sorted(scores, reverse=True)
    assert all(0 < score < 1 for score in scores)


@given(finds)
def test_an_image_that_agrees_with_itself_changes_nothing_but_scores(some):
    apart = [
        f
        for i, f in enumerate(some)
        if all(math.hypot(f.x - g.x, f.y - g.y) > SAME_PLACE * 60 for g in some[:i])
    ]
    assert {(f.x, f.y) for f in agreed(apart, apart)} == {(f.x, f.y) for f in apart}
