"""Round edges on drawn plates: where they lie, whatever the tilt, and how much goes around them."""

import math

import cv2
import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from visual_aid.evidence.bores import round_edges
from visual_aid.fasteners.patches import working_octaves
from visual_aid.model import Fastener
from visual_aid.photo import Photo

R = 30.0
# Of its nut's radius; a clearance hole of ISO 273 (medium) for M16 has 0.73, a stud's end 0.67 (ISO 4032).
HOLE = 0.73
WIDTH, HEIGHT = 900, 700


def ellipse(image, x, y, radius, tilt, axis, colour):
    """Draw a circle of the plane as seen: equal area, shortened across the axis."""
    short = math.sqrt(math.cos(math.radians(tilt)))
    axes = round(16 * radius / short), round(16 * radius * short)
    cv2.ellipse(image, (round(16 * x), round(16 * y)), axes, axis, 0, 360, colour, -1, cv2.LINE_AA, 4)


def plate(bores, tilt=0.0, axis=0.0, inside=25):
    rng = np.random.default_rng(3)
    image = np.full((HEIGHT, WIDTH, 3), 120, np.uint8)
    for x, y, radius in bores:
        ellipse(image, x, y, radius, tilt, axis, (inside,) * 3)
    image = cv2.GaussianBlur(image, (0, 0), 1.2) + rng.normal(0, 2, image.shape)
    return Photo.from_array(np.clip(image, 0, 255).astype(np.uint8))


def nut(number, x, y, tilt=0.0, axis=0.0, kind="hex_nut", score=0.9):
    return Fastener(number, kind, x, y, R, score=score, tilt=tilt, tilt_axis=axis, seat=(x, y))


def edges_of(photo, *nuts):
    return round_edges(photo, working_octaves(photo), nuts)


@settings(max_examples=25, deadline=None)
@given(
    st.floats(250, 650),
    st.floats(250, 450),
    st.floats(0, 50),
    st.floats(0, 179),
    st.sampled_from([0.5, HOLE, 1.0]),
    st.sampled_from([25, 215]),
)
def test_a_bore_is_the_roundest_edge_whatever_the_view(x, y, tilt, axis, size, inside):
    # Too far to be taken for its rim, near enough whatever the tilt.
    edges = edges_of(plate([(x, y, size * R)], tilt, axis, inside), nut(1, x - 4 * R, y, tilt, axis))
    ((at_x, at_y),) = edges.strongest(1, [])
    assert math.dist((at_x, at_y), (x, y)) < 0.2 * R
    # All around it is edge; nothing else on the plate has more than a part of a circle.
    assert edges.strength.max() > 1.0
    assert edges.strongest(2, [(x, y, 2.0)]) == []


def test_what_is_seen_as_a_circle_is_none_in_a_tilted_plane():
    photo = plate([(500.0, 350.0, HOLE * R)])
    level, tilted = (edges_of(photo, nut(1, 350.0, 350.0, tilt)) for tilt in (0.0, 55.0))
    assert tilted.strength.max() < 0.7 * level.strength.max()


def test_points_that_are_known_are_left_out_and_places_lie_apart():
    bores = [(350.0, 300.0, HOLE * R), (550.0, 300.0, HOLE * R), (450.0, 450.0, HOLE * R)]
    edges = edges_of(plate(bores), nut(1, 350.0, 500.0))
    three = edges.strongest(3, [])
    assert all(min(math.dist(place, bore[:2]) for place in three) < 0.2 * R for bore in bores)
    rest = edges.strongest(3, [(*bores[0][:2], 0.8)])
    assert all(math.dist(place, bores[0][:2]) > 0.79 * R for place in rest)
    assert all(math.dist(one, other) > 0.79 * R for one in rest for other in rest if one != other)


def test_large_photos_are_looked_at_in_their_own_pixels():
    small = plate([(500.0, 350.0, HOLE * R)])
    pixels = cv2.resize(small.working, None, fx=4, fy=4, interpolation=cv2.INTER_CUBIC)
    large = Photo.from_array(pixels)
    assert large.scale > 2
    near = Fastener(1, "hex_nut", 1400.0, 1400.0, 4 * R, score=0.9, tilt=0.0, tilt_axis=0.0)
    ((x, y),) = edges_of(large, near).strongest(1, [])
    assert math.dist((x, y), (2001.5, 1401.5)) < 0.2 * 4 * R


def test_what_is_out_of_reach_is_not_looked_at():
    assert edges_of(plate([(850.0, 350.0, HOLE * R)]), nut(1, 100.0, 350.0)).strongest(1, []) == []


def test_sure_nuts_tell_the_size_and_bores_do_not():
    photo = plate([(500.0, 350.0, HOLE * R)])
    unsure = Fastener(2, "hex_nut", 300.0, 500.0, 4 * R, score=0.3, tilt=0.0, tilt_axis=0.0)
    both, alone = edges_of(photo, nut(1, 350.0, 350.0), unsure), edges_of(photo, nut(1, 350.0, 350.0))
    assert np.array_equal(both.strength, alone.strength)
    assert edges_of(photo, nut(1, 350.0, 350.0, kind="empty_hole")) is None
    assert edges_of(photo) is None


def test_an_even_plate_has_no_round_edge():
    photo = Photo.from_array(np.full((HEIGHT, WIDTH, 3), 120, np.uint8))
    edges = edges_of(photo, nut(1, 400.0, 300.0))
    assert edges.strongest(3, []) == []
    assert edges.strength.max() == 0
