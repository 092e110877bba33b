"""Rows and rings drawn with known gaps come back as groups, with the gap as the one expected place."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from visual_aid.fasteners.groups import beside, expected_places, group_fasteners, rings
from visual_aid.model import Fastener


def nuts(points, radius=20.0):
    return [Fastener(i, "hex_nut", float(x), float(y), radius) for i, (x, y) in enumerate(points, 1)]


def ring(count, ring_radius, tilt, turn, centre=(600.0, 500.0)):
    angles = 2 * np.pi * np.arange(count) / count + 0.3
    flat = ring_radius * np.stack([np.cos(angles), np.sin(angles) * math.cos(math.radians(tilt))])
    c, s = math.cos(math.radians(turn)), math.sin(math.radians(turn))
    return (np.array([[c, -s], [s, c]]) @ flat).T + centre


@given(
    count=st.integers(6, 12),
    tilt=st.floats(0, 50),
    turn=st.floats(0, 180),
    gone=st.integers(0, 5),
    seed=st.integers(0, 99),
)
def test_tilted_ring_expects_the_one_that_is_gone(count, tilt, turn, gone, seed) -> None:
    places = ring(count, 25.0 * count, tilt, turn)
    jitter = np.random.default_rng(seed).normal(0, 1.0, places.shape)
    grouped = group_fasteners(nuts(np.delete(places + jitter, gone, axis=0)))
    assert {f.group for f in grouped} == {1}
    due = expected_places(grouped)
    assert len(due) == 1
    assert due[0][:2] == pytest.approx(tuple(places[gone]), abs=20.0)
    assert due[0][2] == pytest.approx(20.0)


@given(count=st.integers(4, 9), angle=st.floats(0, math.pi), pitch=st.floats(60, 130))
def test_row_expects_the_one_between(count, angle, pitch) -> None:
    along = np.arange(count)[:, None] * pitch * np.array([math.cos(angle), math.sin(angle)]) + 300
    grouped = group_fasteners(nuts(np.delete(along, 1, axis=0)))
    assert {f.group for f in grouped} == {1}
    due = expected_places(grouped)
    assert len(due) == 1
    assert due[0][:2] == pytest.approx(tuple(along[1]), abs=2.0)


def test_full_ring_and_even_row_expect_nothing() -> None:
    assert expected_places(group_fasteners(nuts(ring(8, 200, 30, 20)))) == ()
    assert expected_places(group_fasteners(nuts([(100, 100), (200, 100), (300, 100)]))) == ()


def test_a_bare_stud_found_in_its_place_is_no_expected_place() -> None:
    places = nuts(ring(8, 200, 0, 0))
    stud = Fastener(3, "bare_stud", places[2].cx, places[2].cy, 14.0)
    assert expected_places(group_fasteners([*places[:2], stud, *places[3:]])) == ()


def test_unlike_sizes_and_far_ones_are_not_grouped() -> None:
    apart = [Fastener(1, "hex_nut", 100, 100, 20), Fastener(2, "hex_nut", 180, 100, 50)]
    far = Fastener(3, "hex_nut", 1500, 100, 20)
    assert [f.group for f in group_fasteners([*apart, far])] == [None, None, None]


def test_beside_a_place_are_those_in_reach_and_of_like_size_without_itself() -> None:
    place, near, far = nuts([(100, 100), (370, 100), (400, 100)])  # 14 radii are 280
    small = Fastener(4, "hex_nut", 160, 100, 12.0)
    assert beside(place, [place, near, far, small]) == (near,)
    assert beside(place, [place, near, far, small], like_size=2.0) == (near, small)


def test_two_clusters_get_two_numbers_and_order_is_kept() -> None:
    left, right = [(100, 100), (160, 100)], [(1200, 900), (1260, 900)]
    grouped = group_fasteners(nuts([left[0], right[0], left[1], right[1]]))
    assert [f.group for f in grouped] == [1, 2, 1, 2]
    assert [f.id for f in grouped] == [1, 2, 3, 4]


def test_nothing_in_nothing_out() -> None:
    assert group_fasteners([]) == ()
    assert expected_places([]) == ()


@given(count=st.integers(6, 12), tilt=st.floats(0, 60), turn=st.floats(0, 180))
def test_a_ring_is_the_ellipse_that_its_members_were_drawn_on(count, tilt, turn) -> None:
    drawn, aside = ring(count, 25.0 * count, tilt, turn), [(640.0, 480.0)]
    (found,) = rings(nuts([*aside, *drawn]))
    assert found.members == tuple(range(1, count + 1))
    assert found.off(drawn).max() < 0.01
    # Singular values of the matrix are the ellipse's half axes.
    long, short = np.linalg.svd(found.matrix, compute_uv=False)
    assert short / long == pytest.approx(math.cos(math.radians(tilt)), abs=0.01)
    assert long == pytest.approx(25.0 * count, rel=0.01)


def test_a_row_is_no_ring() -> None:
    assert rings(nuts([(100 + 90 * k, 300) for k in range(7)])) == ()
    assert rings(nuts([(100, 100), (200, 120)])) == ()
