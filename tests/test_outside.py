"""Published figures, standards and pictures of other people beside what the engine takes for granted."""

import math

import numpy as np
import pytest
from skimage import data

from visual_aid.colour import srgb_to_lab
from visual_aid.evidence.axis import STUD_GIRTH
from visual_aid.evidence.frame import BODY, HEIGHT, PIXELS_PER_RADIUS, RADIUS, SKIRT, WIDTH, Frame, V
from visual_aid.evidence.stance import HEIGHT_OF_NUT
from visual_aid.evidence.surroundings import look_around
from visual_aid.model import Fastener, PhotoInfo, Quality, Screening
from visual_aid.outputs.overlay import draw_overlay
from visual_aid.photo import Photo
from visual_aid.screening import screen_photo

# Thread: width across flats s, smallest s, smallest width across corners e, greatest height m of the nut, in
# mm. ISO 4032; the smallest s from memory, the others agree in two independent open tables. The standard's
# smallest e is 1.13 times the smallest s.
HEX_NUTS = {
    "M8": (13, 12.73, 14.38, 6.8),
    "M10": (16, 15.73, 17.77, 8.4),
    "M12": (18, 17.73, 20.03, 10.8),
    "M16": (24, 23.67, 26.75, 14.8),
    "M20": (30, 29.16, 32.95, 18.0),
    "M24": (36, 35.0, 39.55, 21.5),
    "M30": (46, 45.0, 50.85, 25.6),
    "M36": (55, 53.8, 60.79, 31.0),
}
# Threads of suspension joints: spring, hanger, track-bar and U-bolts (common practice, no source).
SUSPENSION = ("M12", "M16", "M20", "M24")


# Hexagons


@pytest.mark.parametrize("thread", HEX_NUTS)
def test_a_drawn_hexagon_has_the_proportions_of_the_standard(thread):
    """Across corners = across flats / cos 30 for sharp corners; real ones are rounded to no less than e."""
    flats, least_flats, least_corners, _ = HEX_NUTS[thread]
    assert least_corners == pytest.approx(1.13 * least_flats, abs=0.01)
    size, scale = 1600, 900 / flats  # pixels, pixels per mm
    nut = Fastener(1, "hex_nut", size / 2, size / 2, scale * flats / 2, angle=0.0)
    record = Screening("0", PhotoInfo("nut.jpg", "nut.jpg", "", size, size), Quality(True), (nut,))
    plain = np.full((size, size, 3), 128, np.uint8)
    drawn = np.any(draw_overlay(plain, record)[:size] != plain, axis=2)
    rows, columns = np.flatnonzero(drawn.any(axis=1)), np.flatnonzero(drawn.any(axis=0))
    # The first corner points to the right, and the line's width falls out of the difference.
    excess = (np.ptp(columns) - np.ptp(rows)) / scale
    assert excess == pytest.approx(flats / math.cos(math.radians(30)) - flats, abs=0.02 * flats)
    assert excess > least_corners - flats


def test_a_nut_s_body_and_skirt_hold_the_standard_nut_and_its_washer():
    for flats, _, least_corners, _ in HEX_NUTS.values():
        assert least_corners / flats < 1 / math.cos(math.radians(30)) < BODY
    # Plain washers' outside diameter in mm: ISO 7089, from memory.
    washers = {"M12": 24, "M16": 30, "M20": 37, "M24": 44}
    for thread, outside in washers.items():
        assert 1 < outside / HEX_NUTS[thread][0] < SKIRT


@pytest.mark.parametrize("thread", SUSPENSION)
def test_a_usual_nut_is_as_high_and_its_stud_as_thick_as_the_standard_says(thread):
    flats, _, _, height = HEX_NUTS[thread]
    assert pytest.approx(height / (flats / 2), rel=0.05) == HEIGHT_OF_NUT
    diameter = float(thread[1:])
    assert diameter / flats < STUD_GIRTH < 1.15 * diameter / flats


# Rust

# Mineral, Munsell chip, CIELAB D65, sRGB. Hue ranges of the minerals: Schwertmann, "Relations between iron
# oxides, soil color, and soil formation", SSSA Special Publication 31 (1993); value and chroma chosen inside
# them; converted by the Munsell renotation and from illuminant C to D65 with the library colour-science.
IRON_OXIDES = [
    ("hematite", "10R 3/6", (30.4, 26.4, 20.6), (115, 53, 41)),
    ("hematite", "10R 4/8", (40.7, 32.6, 29.3), (154, 72, 50)),
    ("hematite", "2.5YR 3/6", (30.4, 23.2, 25.9), (113, 56, 32)),
    ("hematite", "2.5YR 4/8", (40.8, 28.4, 35.7), (150, 75, 38)),
    ("ferrihydrite", "5YR 4/6", (40.8, 18.5, 30.6), (137, 83, 46)),
    ("ferrihydrite", "5YR 5/8", (51.1, 23.1, 42.1), (174, 105, 49)),
    ("lepidocrocite", "7.5YR 6/8", (61.1, 17.4, 46.3), (197, 134, 64)),
    ("lepidocrocite", "7.5YR 7/8", (70.9, 16.5, 45.8), (225, 161, 90)),
    ("goethite", "7.5YR 5/8", (51.1, 18.2, 46.8), (169, 108, 38)),
    ("goethite", "10YR 5/6", (51.1, 9.7, 38.7), (155, 114, 54)),
    ("goethite", "10YR 6/8", (61.1, 11.5, 51.1), (190, 138, 53)),
    ("goethite", "2.5Y 6/6", (61.1, 3.7, 41.4), (176, 143, 73)),
    ("goethite", "2.5Y 7/8", (71.0, 4.7, 54.3), (209, 168, 71)),
]
BELOW = (V > 1.8) & (RADIUS < 3.5)
GREY = (128, 128, 128)


def rust_below(colour, surface=GREY):
    """How much a patch of one colour below a nut on a plain surface counts as rust, 0 to 1."""
    rgb = np.empty((HEIGHT, WIDTH, 3), np.uint8)
    rgb[:] = surface
    rgb[BELOW] = colour
    nut = Fastener(1, "hex_nut", 0.0, 0.0, float(PIXELS_PER_RADIUS))
    frame = Frame(
        nut,
        rgb,
        np.ones((HEIGHT, WIDTH), bool),
        np.eye(2) * PIXELS_PER_RADIUS,
        (0.0, 0.0),
    )
    return float(np.median(look_around(frame).rust[BELOW]))


def test_the_chips_come_out_at_their_published_colour():
    lab = srgb_to_lab(np.array([[rgb for *_, rgb in IRON_OXIDES]], np.uint8))[0]
    # Rounding to 8 bits moves a dark chip by up to about one unit of a* or b*.
    np.testing.assert_allclose(lab, [lab for _, _, lab, _ in IRON_OXIDES], atol=1.2)


@pytest.mark.parametrize(("mineral", "chip", "lab", "rgb"), IRON_OXIDES)
def test_iron_oxides_on_grey_count_as_rust(mineral, chip, lab, rgb):
    assert rust_below(rgb) > 0.5


@pytest.mark.parametrize(("mineral", "chip", "lab", "rgb"), IRON_OXIDES)
def test_they_count_as_rust_in_half_the_light(mineral, chip, lab, rgb):
    def dim(colour):
        linear = ((np.array(colour) / 255 + 0.055) / 1.055) ** 2.4 / 2
        return np.round(255 * (1.055 * linear ** (1 / 2.4) - 0.055)).astype(np.uint8)

    assert rust_below(dim(rgb), dim(GREY)) > 0.5


@pytest.mark.parametrize("level", range(0, 256, 15))
def test_neutral_greys_do_not_count_as_rust(level):
    assert rust_below((level, level, level)) < 0.05


@pytest.mark.parametrize("colour", [(30, 60, 140), (40, 110, 60), (90, 100, 120)])
def test_blue_green_and_steel_do_not_count_as_rust(colour):
    assert rust_below(colour) < 0.05


# Pictures without fasteners

PICTURES = (
    *("astronaut", "brick", "camera", "cat", "coffee", "coins", "grass", "gravel", "immunohistochemistry"),
    *("moon", "retina", "rocket"),
)
"""Shipped with scikit-image; none shows a nut or a bolt head, some show what is round."""


@pytest.mark.parametrize("name", PICTURES)
def test_a_picture_without_fasteners_gives_no_likely_candidate(name):
    pixels = getattr(data, name)()
    if pixels.ndim == 2:
        pixels = np.repeat(pixels[..., None], 3, axis=2)
    record = screen_photo(Photo.from_array(pixels, name))
    assert [c for c in record.candidates if c.score > 0.5] == []
