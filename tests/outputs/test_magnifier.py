import math

import numpy as np
import pytest
from skimage.draw import disk

from visual_aid.model import CUES, Candidate, Fastener
from visual_aid.outputs.magnifier import PIXELS_PER_RADIUS, SIDE, magnify
from visual_aid.outputs.palette import SIGN_STYLE
from visual_aid.photo import Photo

RADIUS, CENTRE = 40.0, (400.0, 300.0)
NUT = Fastener(1, "hex_nut", *CENTRE, RADIUS)
MEASURES = {
    "rust_trail": {"length_r": 2.0},
    "dust_trail": {"length_r": 2.0},
    "paint_break": {"arc_deg": 90.0},
    "stripe_offset": {"offset_deg": 30.0, "surface_deg": -90.0},
    "gap": {"width_r": 0.2},
}


def photo(size=(600, 800)):
    pixels = np.full((*size, 3), 110, np.uint8)
    pixels[disk(CENTRE[::-1], RADIUS, shape=size)] = 200
    return Photo.from_array(pixels)


def candidate(cue, measures, fastener=1):
    x, y = CENTRE[0] - RADIUS / 2, CENTRE[1] + RADIUS
    outline = ((x, y), (x + RADIUS, y), (x + RADIUS, y + 2 * RADIUS), (x, y + 2 * RADIUS))
    return Candidate(1, cue, fastener, (x, y, RADIUS, 2 * RADIUS), outline, 0.9, measures, "")


def inked(pixels, colour):
    """Rows and columns of a colour."""
    return np.nonzero((pixels == tuple(bytes.fromhex(colour[1:]))).all(axis=2))


@pytest.mark.parametrize("cue", [cue for cue in CUES if cue != "stripe_offset"])
def test_the_outline_is_drawn_where_it_lies_in_nut_radii(cue):
    rows, columns = inked(
        magnify(photo(), [NUT], candidate(cue, MEASURES.get(cue, {}))), SIGN_STYLE[cue].colour
    )
    # The outline starts one radius below the nut's middle, is one wide and two long. A disc has no lean
    # that could be known: the frame may be stretched by what the engine reads into it.
    assert np.ptp(rows) == pytest.approx(2 * PIXELS_PER_RADIUS, rel=0.5)
    assert len(columns) > 100


@pytest.mark.parametrize("cue", MEASURES)
def test_what_was_measured_is_drawn_in(cue):
    plain, measured = (
        magnify(photo(), [NUT], candidate("clean_outlier", {})),
        magnify(photo(), [NUT], candidate(cue, MEASURES[cue])),
    )
    assert len(inked(measured, "#ffffff")[0]) > len(inked(plain, "#ffffff")[0]) + 50


def test_a_run_too_faint_to_follow_has_no_length_drawn_in():
    faint = magnify(photo(), [NUT], candidate("rust_trail", {"length_r": 0.0}))
    assert len(inked(faint, "#ffffff")[0]) == len(
        inked(magnify(photo(), [NUT], candidate("rust_trail", {})), "#ffffff")[0]
    )


def test_a_stripe_of_which_nothing_is_on_the_nut_has_no_angle():
    assert (
        magnify(photo(), [NUT], candidate("stripe_offset", {})).shape
        == magnify(photo(), [NUT], candidate("stripe_offset", MEASURES["stripe_offset"])).shape
    )


def test_a_mark_without_a_fastener_is_shown_as_it_lies():
    shown = magnify(photo(), [NUT], candidate("chafe", {}, fastener=None))
    assert max(shown.shape[:2]) == SIDE
    rows, _ = inked(shown, SIGN_STYLE["chafe"].colour)
    # The box is one radius wide and two high, with twice its height around it: six radii in all.
    assert np.ptp(rows) == pytest.approx(SIDE / 3, abs=8)
    assert rows.mean() == pytest.approx(SIDE / 2, abs=8)


@pytest.mark.parametrize("at", [(5.0, 5.0), (795.0, 595.0)])
def test_a_nut_at_the_edge_is_shown_as_far_as_the_photo_reaches(at):
    nut = Fastener(1, "hex_nut", *at, RADIUS)
    shown = magnify(photo(), [nut], candidate("rust_trail", {"length_r": 2.0}))
    assert (shown == 0).all(axis=2).mean() > 0.1


def test_a_large_nut_is_smoothed_and_not_jagged():
    rng = np.random.default_rng(1)
    noisy = Photo.from_array(rng.integers(0, 255, (1500, 2000, 3), dtype=np.uint8))
    shown = magnify(noisy, [Fastener(1, "hex_nut", 1000.0, 750.0, 300.0)], candidate("clean_outlier", {}))
    assert shown[-60:, :60].std() < noisy.full.std() / math.sqrt(2)
