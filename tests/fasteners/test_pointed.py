"""Others like a fastener that was pointed out, on the drawn joint of the finder's tests."""

import dataclasses
import math

import pytest

from tests.fasteners.test_find import CENTRES, joint
from visual_aid.fasteners.find import find_fasteners
from visual_aid.fasteners.pointed import others_like
from visual_aid.model import Fastener
from visual_aid.photo import Photo


@pytest.fixture(scope="module")
def photo():
    return Photo.from_array(joint(CENTRES, 42.0))


def near(found, place):
    return any(math.dist((f.cx, f.cy), place) < 0.3 * 42 for f in found)


def test_what_the_finder_knows_of_is_found_beside_the_one_pointed_out(photo):
    known = find_fasteners(photo)[:2]
    others = others_like(photo, known[0], known)
    assert sum(near(others, place) for place in CENTRES) >= 3
    assert not any(near([k], (o.cx, o.cy)) for k in known for o in others)
    assert [o.id for o in others] == sorted({o.id for o in others} - {k.id for k in known})


def test_the_finder_s_doubts_count_where_a_person_has_none(photo, monkeypatch):
    monkeypatch.setattr("visual_aid.fasteners.pointed.LIKE_SCORE", 1.1)
    assert others_like(photo, find_fasteners(photo)[0], ()) == ()


@pytest.mark.parametrize("times", [0.5, 2.0])
def test_what_has_another_size_is_not_like_it(photo, times):
    large = dataclasses.replace(find_fasteners(photo)[0], radius=42.0 * times)
    others = others_like(photo, large, ())
    assert not any(near(others, place) for place in CENTRES)


def test_one_pointed_out_twice_gives_the_same(photo):
    pointed = Fastener(1, "hex_nut", *CENTRES[0], 42.0)
    assert others_like(photo, pointed, [pointed]) == others_like(photo, pointed, [pointed])
