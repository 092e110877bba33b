"""A second search for nuts of known size beside known ones, on drawn joints."""

import dataclasses
import math

import numpy as np
import pytest

from tests.fasteners.test_find import CENTRES, joint
from visual_aid.fasteners.beside import LEAST_SCORE, LIKE_SIZE, REACH, search_beside, worth_keeping
from visual_aid.fasteners.channels import ANY_SIZE
from visual_aid.fasteners.find import find_fasteners, look_over
from visual_aid.fasteners.patches import Octaves
from visual_aid.fasteners.search import Find, same_place
from visual_aid.fasteners.weights import load
from visual_aid.photo import Photo

SIZE = 42.0


@pytest.fixture(scope="module")
def overview():
    return look_over(Photo.from_array(joint(CENTRES, SIZE)))


def without(finds, centre):
    return [f for f in finds if math.dist((f.x, f.y), centre) > SIZE]


def at(finds, centre):
    return [f for f in finds if math.dist((f.x, f.y), centre) < 0.3 * SIZE]


@pytest.mark.parametrize("centre", CENTRES)
def test_a_nut_that_was_passed_over_is_found_beside_the_others(overview, centre):
    known = without(overview.finds, centre)
    found = search_beside(overview.octaves, load(), known, ANY_SIZE)
    assert len(at(found, centre)) == 1
    assert not any(same_place(f.circle, k.circle) for f in found for k in known if k.score >= 0.25)


def test_without_a_sure_nut_nothing_is_sought(overview):
    unsure = [dataclasses.replace(f, score=min(f.score, 0.45)) for f in overview.finds]
    bores = [dataclasses.replace(f, kind="empty_hole") for f in overview.finds]
    for finds in ([], unsure, bores):
        assert search_beside(overview.octaves, load(), finds, ANY_SIZE) == []


def test_sizes_that_are_not_sought_are_not_sought_again(overview):
    assert search_beside(overview.octaves, load(), without(overview.finds, CENTRES[0]), (100.0, 200.0)) == []


def test_an_even_surface_gives_nothing():
    even = Octaves((np.full((400, 600, 3), 120, np.uint8),))
    known = [Find(300.0, 200.0, 30.0, "hex_nut", 0.9, 0.9)]
    assert search_beside(even, load(), known, ANY_SIZE) == []


KNOWN = Find(400.0, 300.0, 30.0, "hex_nut", 0.9, 0.9)
NEW = Find(520.0, 300.0, 30.0, "hex_nut", 0.6, 0.5)


@pytest.mark.parametrize(
    "changed",
    [
        {"score": LEAST_SCORE - 0.01},
        {"radius": 1.01 * LIKE_SIZE * KNOWN.radius},
        {"radius": KNOWN.radius / LIKE_SIZE / 1.01},
        {"x": KNOWN.x + 1.01 * REACH * KNOWN.radius},
        {"x": KNOWN.x + 0.7 * KNOWN.radius},
    ],
)
def test_what_is_unsure_unlike_far_or_known_is_not_kept(changed):
    assert worth_keeping([NEW], [KNOWN]) == [NEW]
    assert worth_keeping([dataclasses.replace(NEW, **changed)], [KNOWN]) == []


def test_finds_of_both_searches_stand_apart_best_first():
    photo = Photo.from_array(joint(CENTRES, SIZE))
    finds = look_over(photo).finds
    assert len({f.circle for f in finds}) == len(finds)
    assert [f.score for f in finds] == sorted((f.score for f in finds), reverse=True)
    found = find_fasteners(photo)
    assert not any(
        math.dist((f.cx, f.cy), (g.cx, g.cy)) < 0.5 * f.radius for f in found for g in found if f.id != g.id
    )
