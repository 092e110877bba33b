"""What a point of a frame shows: checked against points placed on a body in space."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from visual_aid.evidence.axis import CHAMFER, FACE, GIRTH, SEAT, SIDE, STUD, bases, unfold
from visual_aid.evidence.scene import Scene
from visual_aid.model import Fastener
from visual_aid.photo import Photo

angles = st.floats(0, 2 * np.pi)
leans = st.floats(0.3, 1.6)


def polar(radius, angle):
    return radius * np.array([np.cos(angle), np.sin(angle)])


@given(angles, leans, st.floats(0.05, 0.95), st.floats(-1.3, 1.3))
@settings(derandomize=True, max_examples=60)
def test_a_point_on_the_flats_is_seen_from_the_axis_at_its_own_height(way, lean, depth, aside):
    base = polar(lean, way)
    # The flats that face the viewer are those on the base's side.
    foot = polar(GIRTH, way + aside)
    point = foot + depth * base
    if np.hypot(*point) < GIRTH * 1.001:  # hidden under the face of this thin lean
        return
    part, seen = unfold(point[None], base, stud=False)
    assert part[0] == SIDE
    np.testing.assert_allclose(seen[0], foot, atol=1e-6)


@given(angles, leans, angles, st.floats(0.0, 0.95))
@settings(derandomize=True, max_examples=60)
def test_a_point_on_the_face_is_seen_from_above_the_centre(way, lean, bearing, radius):
    base = polar(lean, way)
    foot = polar(radius, bearing)
    point = foot - CHAMFER * base
    part, seen = unfold(point[None], base, stud=False)
    assert part[0] == FACE
    np.testing.assert_allclose(seen[0], foot, atol=1e-9)


@given(angles, leans, angles)
@settings(derandomize=True, max_examples=60)
def test_a_point_on_the_surface_is_seen_from_the_seat(way, lean, bearing):
    base = polar(lean, way)
    foot = polar(3.0, bearing)
    part, seen = unfold((foot + base)[None], base, stud=False)
    assert part[0] == SEAT
    np.testing.assert_allclose(seen[0], foot, atol=1e-9)


def test_a_stud_hides_the_middle_and_what_lies_behind_it():
    base = np.array([0.0, 1.0])
    part, _ = unfold(np.array([[0.0, 0.0], [0.0, -1.5], [0.0, 1.3], [0.9, 0.0]]), base, stud=True)
    assert part.tolist() == [STUD, STUD, SIDE, FACE]


def test_head_on_there_are_no_flats():
    points = np.array([[0.0, 0.0], [0.9, 0.0], [1.5, 0.0]])
    part, _ = unfold(points, np.zeros(2), stud=True)
    assert part.tolist() == [STUD, FACE, SEAT]


def test_the_seat_of_a_fastener_is_taken_where_it_is_known():
    rng = np.random.default_rng(5)
    photo = Photo.from_array(rng.integers(60, 90, (300, 300, 3)).astype(np.uint8))
    known = Fastener(1, "hex_nut", 150, 150, 30.0, tilt=0.0, seat=(150.0, 195.0))
    unknown = Fastener(2, "hex_nut", 60, 60, 20.0, tilt=30.0, tilt_axis=0.0)
    scene = Scene.build(photo, [known, unknown])
    places = bases(scene.in_place, scene.stances)
    np.testing.assert_allclose(places[0], (0.0, 1.5), atol=1e-6)
    # ISO 4032: a nut is about 1.2 r high; its top is displaced by the height times tan(tilt).
    np.testing.assert_allclose(np.abs(places[1]), (0.0, 1.2 * np.tan(np.radians(30))), atol=1e-6)
