"""Pictures of a report: what they show, and how many bytes they take."""

import dataclasses
import io

import numpy as np
import pytest
from PIL import Image

from visual_aid.model import Trouble
from visual_aid.outputs.report import Remark
from visual_aid.outputs.report_pictures import (
    CLOSE,
    MOST_BYTES,
    WIDE,
    close_up,
    draw_pictures,
    encode,
    shrunk,
    wide_shot,
)
from visual_aid.photo import PhotoError

RED, MARK = (200, 30, 30), (213, 94, 0)  # of the part, and #d55e00 of the marker


def scene(box, width=2400, height=1800):
    pixels = np.full((height, width, 3), 120, np.uint8)
    x, y, w, h = box
    pixels[y : y + h, x : x + w] = RED
    return pixels


def near(pixels, colour):
    return np.abs(np.asarray(pixels, int) - colour).max(axis=2) < 12


@pytest.mark.parametrize(
    "box",
    [(1200, 900, 60, 40), (0, 0, 60, 40), (2340, 1760, 60, 40), (1000, 0, 90, 200), (300, 200, 1800, 1500)],
)
def test_a_close_up_shows_the_whole_part_wherever_it_is(finding, box):
    cut = close_up(scene(box), finding(box=box))
    assert max(cut.size) <= CLOSE
    w, h = box[2:]
    longer = max(w, h)
    side = (min(2400, max(160, round(2.6 * longer))), min(1800, max(160, round(2.6 * longer))))
    grow = cut.width / side[0]
    # The marker covers three pixels of the part's rim at either side.
    seen = near(cut, RED) | near(cut, MARK)
    assert seen.sum() == pytest.approx(w * h * grow**2, rel=0.12)
    assert not near(cut, (0, 0, 0))[[0, -1]].any(axis=1).all()


def test_a_close_up_of_a_tiny_part_is_not_blown_up_beyond_twice_its_size(finding):
    cut = close_up(scene((1200, 900, 8, 8)), finding(box=(1200, 900, 8, 8)))
    assert cut.size == (320, 320)


def test_an_outline_is_drawn_where_it_is_on_the_photo(finding):
    box = (1200, 900, 200, 200)
    triangle = ((1200, 900), (1400, 900), (1300, 1100))
    cut = close_up(scene(box), finding(box=box, outline=triangle))
    rows, columns = np.nonzero(near(cut, MARK))
    grow = cut.width / 520
    assert (columns.min(), columns.max()) == pytest.approx((160 * grow, 360 * grow), abs=3)
    assert (rows.min(), rows.max()) == pytest.approx((160 * grow, 360 * grow), abs=4)


@pytest.mark.parametrize(
    "box", [(1200, 900, 60, 40), (0, 0, 30, 30), (2370, 1770, 30, 30), (0, 0, 2400, 1800)]
)
def test_the_wide_shot_shows_the_whole_photo_with_a_marker_around_the_part(finding, box):
    small = shrunk(Image.fromarray(scene(box)), WIDE)
    before = small.copy()
    picture = wide_shot(small, small.width / 2400, finding(box=box), 7)
    assert picture.size == (WIDE, WIDE * 3 // 4)
    assert small == before
    marked = near(picture, MARK)
    assert marked.any()
    rows, columns = np.nonzero(marked & ~near(picture, RED))
    x, y, w, h = (v * WIDE / 2400 for v in box)
    assert columns.min() <= max(x, 6)
    assert columns.max() >= min(x + w, WIDE - 7)
    assert rows.min() <= max(y, 6)
    assert rows.max() >= min(y + h, picture.height - 7)


def test_findings_on_one_photo_read_it_once(report, finding, photo):
    calls = []

    def pixels():
        calls.append(1)
        return scene((1200, 900, 60, 40))

    shared = photo("a.jpg", pixels=pixels)
    draw_pictures(
        report(findings=(finding(photo=shared), finding(photo=shared)), quiet=(Remark(shared, ""),))
    )
    assert len(calls) == 1


def test_a_photo_without_a_finding_is_read_small(report, finding, photo):
    calls = []

    def read(size, shape):
        def pixels():
            calls.append(size)
            return np.full((*shape, 3), 120, np.uint8)

        return pixels

    def shot(name):
        full = photo(name, pixels=read(f"{name} full", (3000, 4000)))
        return dataclasses.replace(full, small=read(f"{name} small", (1200, 1600)))

    found, quiet = shot("found"), shot("quiet")
    drawn = draw_pictures(report(findings=(finding(photo=found),), quiet=(Remark(quiet, ""),)))
    assert sorted(calls) == ["found full", "quiet small"]
    assert Image.open(io.BytesIO(drawn.quiet[0])).size == (260, 195)


@pytest.mark.parametrize(
    "error", [OSError("gone"), PhotoError(Trouble("damaged", "a.jpg is damaged: copy it again."))]
)
def test_a_photo_that_cannot_be_read_leaves_the_others(report, finding, photo, error):
    def broken():
        raise error

    lost = photo("a.jpg", pixels=broken)
    drawn = draw_pictures(report(findings=(finding(photo=lost), finding()), quiet=(Remark(lost, ""),)))
    troubles = {pictures.trouble for pictures in drawn.findings}
    assert troubles == {"", f"a.jpg cannot be shown: {error}"}
    assert drawn.quiet == (b"",)
    assert all(bool(p.close) != bool(p.trouble) for p in drawn.findings)


def test_pictures_keep_within_the_budget_whatever_they_show(report, finding, photo):
    # Noise is the worst that JPEG can be given.
    noise = np.random.default_rng(1).integers(0, 256, (750, 1000, 3), np.uint8)
    photos = [photo(f"{i}.jpg", pixels=lambda: noise) for i in range(80)]
    drawn = draw_pictures(
        report(
            findings=tuple(finding(photo=p, box=(100, 100, 300, 300)) for p in photos[:40]),
            quiet=tuple(Remark(p, "") for p in photos[40:]),
        )
    )
    files = [data for p in drawn.findings for data in (p.close, p.wide)] + [*drawn.quiet, *drawn.not_judged]
    assert all(files)
    assert sum(map(len, files)) <= MOST_BYTES


def test_no_limit_is_too_small_to_end():
    assert encode(Image.effect_noise((640, 480), 80).convert("RGB"), 1)


def test_files_carry_no_metadata(report):
    drawn = draw_pictures(report())
    for data in (drawn.findings[0].close, drawn.findings[0].wide, drawn.quiet[0]):
        picture = Image.open(io.BytesIO(data))
        assert not picture.getexif()
        assert not {"exif", "xmp", "icc_profile", "comment"} & picture.info.keys()
