"""Drawn photos: what is where, and what is not in the file."""

import numpy as np
import pytest
from PIL import Image

from visual_aid.model import Candidate, Fastener, NotJudged, PhotoInfo, Quality, Screening
from visual_aid.outputs import overlay
from visual_aid.outputs.overlay import SIDE, draw_overlay, write_overlay
from visual_aid.outputs.palette import CUE_STYLE

GREY = 120


def photo(width=1600, height=1200):
    return np.full((height, width, 3), GREY, np.uint8)


def record(*candidates, fasteners=(), width=1600, height=1200, not_judged=()):
    info = PhotoInfo("a.jpg", "a.jpg", "", width, height)
    return Screening("0", info, Quality(True), tuple(fasteners), candidates, tuple(not_judged))


def candidate(number=1, cue="rust_trail", box=(400, 300, 200, 100), score=0.9):
    return Candidate(number, cue, None, box, (), score, {}, "a run that starts at the nut")


def rgb(colour):
    return np.array(tuple(bytes.fromhex(colour[1:])))


def drawn_in(picture, colour):
    """Rows and columns of pixels of a colour, blending at edges aside."""
    return np.nonzero((np.abs(picture.astype(int) - rgb(colour)) < 12).all(axis=2))


def test_a_box_is_outlined_where_it_is_at_any_scale():
    big = record(candidate(box=(1600, 1200, 800, 400)), width=6400, height=4800)
    for pixels in (photo(), photo(800, 600), photo(3200, 2400)):
        picture = draw_overlay(pixels, big)
        rows, columns = drawn_in(picture[:1200], CUE_STYLE["rust_trail"].colour)
        on_top_edge = columns[np.abs(rows - 300) <= 1]
        assert abs(on_top_edge.min() - 400) <= 3
        assert abs(on_top_edge.max() - 600) <= 3


def test_the_strip_grows_with_reasons_and_leaves_the_photo_its_size():
    bare, full = draw_overlay(photo(), record()), draw_overlay(photo(), record(candidate(), candidate(2)))
    assert bare.shape[1] == full.shape[1] == SIDE
    assert 1200 < bare.shape[0] < full.shape[0]
    assert (bare[:1200] == GREY).all()


def test_small_photos_are_enlarged_at_most_twice():
    assert draw_overlay(photo(320, 240), record(width=320, height=240)).shape[1] == 640


def test_weak_candidates_are_counted_and_not_drawn():
    picture = draw_overlay(photo(), record(candidate(score=0.1)))
    assert (picture[:1200] == GREY).all()
    assert not np.array_equal(picture, draw_overlay(photo(), record()))


@pytest.mark.parametrize("cue", CUE_STYLE)
def test_dashes_leave_gaps_and_solid_lines_do_not(cue):
    style = CUE_STYLE[cue]
    picture = draw_overlay(photo(), record(candidate(cue=cue, box=(200, 300, 900, 600))))
    bottom = picture[898:903, 300:1000].astype(int)
    coloured = (np.abs(bottom - rgb(style.colour)) < 40).all(axis=2).any(axis=0)
    line, drawn, cycle = overlay._LINE, sum(style.dash[::2]), sum(style.dash) or 1
    least = drawn / cycle if style.dash else 1.0
    # Smooth ends spread over up to two pixels more a dash.
    most = least + 2 * len(style.dash[::2]) / (cycle * line)
    assert least - 0.05 <= coloured.mean() <= most + 0.05


def test_a_fastener_is_outlined_by_its_hexagon():
    picture = draw_overlay(photo(), record(fasteners=[Fastener(1, "hex_nut", 800, 600, 100, angle=0.0)]))
    rows, columns = drawn_in(picture[:1200], "#ffffff")
    # First corner at 0 degrees: corners lie 2/sqrt(3) r left and right, flats one r above and below.
    assert columns.max() == pytest.approx(800 + 200 / np.sqrt(3), abs=2)
    assert columns.min() == pytest.approx(800 - 200 / np.sqrt(3), abs=2)
    assert rows.max() == pytest.approx(700, abs=2)


def labels_of(monkeypatch, *candidates):
    placed = []
    place = overlay._place

    def spy(*arguments):
        placed.append(place(*arguments))
        return placed[-1]

    monkeypatch.setattr(overlay, "_place", spy)
    draw_overlay(photo(), record(*candidates))
    return placed


def test_labels_overlap_neither_each_other_nor_the_edge(monkeypatch):
    crowd = [candidate(i, "clean_outlier", (700 + 3 * i, 500 + 2 * i, 60, 60)) for i in range(1, 25)]
    places = labels_of(monkeypatch, *crowd)
    for i, (x0, y0, x1, y1) in enumerate(places):
        assert x0 >= 0
        assert y0 >= 0
        assert x1 <= 1600
        assert y1 <= 1200
        for other in places[:i]:
            assert x1 <= other[0] or other[2] <= x0 or y1 <= other[1] or other[3] <= y0


def test_a_label_stands_beside_its_outline(monkeypatch):
    ((x0, y0, x1, y1),) = labels_of(monkeypatch, candidate())
    assert x1 <= 400 or x0 >= 600 or y1 <= 300 or y0 >= 400
    assert max(400 - x1, x0 - 600, 300 - y1, y0 - 400) < 30


def test_cues_that_stayed_silent_for_one_reason_share_a_line():
    reasons = [
        NotJudged("gap", "too far"),
        NotJudged("rust_trail", "too far"),
        NotJudged("dust_trail", "too dark"),
    ]
    one, two, three = (draw_overlay(photo(), record(not_judged=reasons[:n])).shape[0] for n in (1, 2, 3))
    assert one == two < three


def test_the_file_carries_nothing_of_the_camera(tmp_path):
    write_overlay(
        tmp_path / "new" / "a.jpg", photo(), record(candidate(), not_judged=[NotJudged("gap", "too far")])
    )
    with Image.open(tmp_path / "new" / "a.jpg") as written:
        assert written.format == "JPEG"
        assert not written.getexif()
        assert set(written.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}
