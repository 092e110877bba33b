"""Which nut of one photo is which of another, on places made up for the purpose."""

import dataclasses

import numpy as np
import pytest

from visual_aid.measure.laying import Registration
from visual_aid.measure.pairing import Place, pair_fasteners, smooth_radii
from visual_aid.model import Fastener

SIZE = (1000, 800)
LAID = Registration(np.array([[0.8, 0.0, 50.0], [0.0, 0.8, 20.0], [0.0, 0.0, 1.0]]), 50)


def find(x, y, score=0.9, kind="hex_nut", radius=40.0):
    return Fastener(1, kind, x, y, radius, score=score)


def there(x, y, score=0.9, kind="hex_nut", shift=(0.0, 0.0)):
    return find(0.8 * x + 50 + 32 * shift[0], 0.8 * y + 20 + 32 * shift[1], score, kind, 32.0)


def paired(before, after):
    return pair_fasteners(LAID, before, after, SIZE, SIZE)


def test_nuts_pair_through_the_plane_and_share_a_shift():
    spots = [(200, 200), (500, 200), (200, 500), (500, 500)]
    places = paired([find(*s) for s in spots], [there(*s, shift=(0.3, -0.2)) for s in spots])
    assert np.array(sorted((p.cx, p.cy) for p in places)) == pytest.approx(np.array(sorted(spots)))
    for place in places:
        x, y = place.cx + 12, place.cy - 8
        assert place.after == pytest.approx((0.8 * x + 50, 0.8 * y + 20))
        assert place.radius == pytest.approx(40)


def test_tops_that_lie_more_than_a_radius_apart_pair_by_their_seats():
    # Looked down on from opposite sides, tops lean 0.6 r up in one photo and down in the other.
    spots = [(200, 200), (290, 200), (380, 200), (470, 200)]
    before = [dataclasses.replace(find(x, y - 24), seat=(float(x), float(y))) for x, y in spots]
    after = [
        dataclasses.replace(there(x, y, shift=(0, 0.7)), seat=(0.8 * x + 50, 0.8 * y + 20)) for x, y in spots
    ]
    places = paired(before, after)
    assert np.array([(p.cx, p.cy) for p in places]) == pytest.approx(np.array([(f.cx, f.cy) for f in before]))
    assert np.array([p.after for p in places]) == pytest.approx(np.array([(f.cx, f.cy) for f in after]))


@pytest.mark.parametrize(("scores", "count"), [((0.15, 0.15), 1), ((0.06, 0.1), 0), ((0.9, 0.06), 1)])
def test_two_faint_finds_back_each_other(scores, count):
    assert len(paired([find(300, 300, scores[0])], [there(300, 300, scores[1])])) == count


@pytest.mark.parametrize(("score", "count"), [(0.45, 1), (0.3, 0)])
def test_a_find_of_one_photo_alone_has_to_be_plain(score, count):
    assert len(paired([find(300, 300, score)], [])) == count
    assert len(paired([], [there(300, 300, score)])) == count


def test_holes_and_nuts_out_of_sight_are_left_out():
    assert paired([find(300, 300, kind="empty_hole")], [there(300, 300, kind="bare_stud")]) == []
    assert paired([find(10, 300)], []) == []
    assert paired([], [there(-60, 300)]) == []


def test_radii_follow_perspective_and_not_single_errors():
    xs = np.arange(100, 1000, 150)
    true = 40 * np.exp((xs - 475) / 4000)
    seen = true * np.array([1, 1, 1.2, 1, 1, 0.85])
    smooth = smooth_radii([Place(x, 300, r, 0.9) for x, r in zip(xs, seen, strict=True)])
    assert np.abs(np.log(smooth / true)).max() < 0.1


def test_a_nut_of_another_size_keeps_its_radius():
    places = [Place(x, 300, r, 0.9) for x, r in ((100, 40), (300, 40), (500, 40), (700, 40), (400, 80))]
    assert smooth_radii(places)[4] == pytest.approx(80)
