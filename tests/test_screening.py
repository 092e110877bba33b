import dataclasses
import json
import os
import subprocess
import sys
from pathlib import Path

import cv2
import numpy as np
import pytest

from visual_aid.model import CUES, Screening
from visual_aid.photo import Photo
from visual_aid.screening import screen_file, screen_photo


def test_a_record_survives_its_json(draw_joint):
    pixels, fasteners = draw_joint(tilt=20)
    record = screen_photo(Photo.from_array(pixels, name="joint.png"), fasteners)
    again = Screening.from_dict(json.loads(record.to_json()))
    assert again.to_json() == record.to_json()


def test_exactly_the_fasteners_pointed_at_are_judged(draw_joint):
    pixels, fasteners = draw_joint(tilt=20)
    record = screen_photo(Photo.from_array(pixels, name="joint.png"), fasteners[:3])
    assert [(f.id, f.cx, f.cy) for f in record.fasteners] == [(f.id, f.cx, f.cy) for f in fasteners[:3]]
    assert {c.fastener for c in record.candidates} <= {1, 2, 3, None}


def test_where_a_person_says_there_is_no_fastener_a_missing_one_is_asked_for(draw_joint, monkeypatch):
    photo = Photo.from_array(draw_joint()[0])
    monkeypatch.setattr("visual_aid.evidence.register.LEAST_SCORE", 0.0)
    gone, *kept = screen_photo(photo).fasteners
    asked = [c for c in screen_photo(photo, fasteners=kept).candidates if c.cue == "missing_nut"]
    places = [np.mean(c.outline, axis=0) for c in asked if c.fastener is None]
    away = [np.hypot(x - gone.cx, y - gone.cy) for x, y in places]
    assert sum(off < 0.3 * gone.radius for off in away) == 1


def test_what_is_too_faint_for_a_mark_still_orders_photos(draw_joint, monkeypatch):
    pixels, fasteners = draw_joint(tilt=20)
    photo = Photo.from_array(pixels, name="joint.png")
    usual = screen_photo(photo, fasteners)
    monkeypatch.setattr("visual_aid.evidence.register.LEAST_SCORE", 1.1)
    faint = screen_photo(photo, fasteners)
    assert faint.candidates == ()
    assert faint.priority == usual.priority > 0


def test_a_photo_to_be_taken_again_has_no_candidates():
    rng = np.random.default_rng(0)
    black = Photo.from_array(rng.integers(0, 3, (600, 800, 3)).astype(np.uint8), name="night.png")
    record = screen_photo(black)
    assert not record.quality.usable
    assert record.candidates == ()
    assert {n.why for n in record.not_judged} == {"the photo has to be taken again first"}


def test_a_photo_whose_fasteners_cannot_be_judged_has_none_either(draw_joint):
    pixels, fasteners = draw_joint(tilt=20)
    lit = np.clip(pixels.astype(float) * 1.6, 0, 255).astype(np.uint8)
    for f in fasteners:
        x, y = round(f.cx), round(f.cy)
        lit[max(y - 110, 0) : y + 110, max(x - 110, 0) : x + 110] = 255
    record = screen_photo(Photo.from_array(lit, name="glare.png"), fasteners)
    assert not record.quality.usable
    assert record.candidates == ()
    assert record.priority == 0


def test_a_missing_file_is_a_record_with_a_line_that_names_it(tmp_path):
    record = screen_file(tmp_path / "gone.jpg")
    assert record.error is not None
    assert "gone.jpg" in record.error.say
    assert "\n" not in record.error.say


def test_a_record_is_the_same_whatever_the_number_of_threads():
    # Libraries of linear algebra split their sums by the number of threads, and so round them otherwise.
    one, two = (
        subprocess.run(
            [sys.executable, "-c", SCREEN, *map(str, sorted(SAMPLES.glob("*unit23[1-3]*.jpg")))],
            env={**os.environ, "OPENBLAS_NUM_THREADS": threads, "OMP_NUM_THREADS": threads},
            stdout=subprocess.PIPE,
            check=True,
        ).stdout
        for threads in ("1", "2")
    )
    assert one.count(b"\n") == 3
    assert one == two


SAMPLES = Path(__file__).parents[1] / "sample_images"
SCREEN = """
import sys, dataclasses, visual_aid.screening as screening
for path in sys.argv[1:]:
    print(dataclasses.replace(screening.screen_file(path), seconds=0).to_json())
"""


def test_a_fastener_pointed_at_is_grouped_with_its_likes(draw_joint):
    pixels, fasteners = draw_joint(tilt=20)
    alone = [dataclasses.replace(f, group=None) for f in fasteners]
    record = screen_photo(Photo.from_array(pixels, name="joint.png"), alone)
    assert {f.group for f in record.fasteners} == {1}
    assert "clean_outlier" not in {n.cue for n in record.not_judged}


def test_fasteners_pointed_at_stay_on_a_photo_that_cannot_be_judged(draw_joint):
    pixels, fasteners = draw_joint(tilt=20)
    record = screen_photo(Photo.from_array(pixels // 60, name="night.png"), fasteners)
    assert not record.quality.usable
    assert len(record.fasteners) == len(fasteners)


def test_every_cue_is_measured_or_said_to_be_silent():
    rng = np.random.default_rng(1)
    soft = cv2.GaussianBlur(rng.integers(0, 255, (600, 800, 3), dtype=np.uint8), (0, 0), 1.2)
    record = screen_photo(Photo.from_array(soft), ())
    assert {n.cue for n in record.not_judged} == set(CUES)


def test_a_name_that_is_no_text_makes_a_record_all_the_same(tmp_path):
    record = screen_file(os.fsdecode(os.fsencode(tmp_path) + b"/bad\xff.jpg"))
    assert "bad" in Screening.from_dict(json.loads(record.to_json().encode())).photo.name


@pytest.mark.parametrize("gone", ["quality", "photo", "fasteners", "seconds"])
def test_half_a_record_is_refused_as_one(draw_joint, gone):
    pixels, fasteners = draw_joint(tilt=20)
    data = screen_photo(Photo.from_array(pixels), fasteners).to_dict()
    del data[gone]
    with pytest.raises(ValueError, match=gone):
        Screening.from_dict(data)
