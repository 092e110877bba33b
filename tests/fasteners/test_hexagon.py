import math

import numpy as np
import pytest
from skimage.measure import points_in_poly

from visual_aid.fasteners.hexagon import POINTS, hexagon_sides


def test_points_lie_on_the_sides_of_a_regular_hexagon():
    points, normals = hexagon_sides(math.radians(12), 0.8)
    assert (points.shape, normals.shape) == ((6, POINTS, 2), (6, 2))
    # The flats of a hexagon lie at its inradius, its corners at 2 / sqrt(3) of it (elementary geometry).
    assert np.allclose((points * normals[:, None]).sum(axis=2), 1)
    corners = (
        2 / math.sqrt(3) * np.array([[math.cos(a), math.sin(a)] for a in np.radians(42 + 60 * np.arange(6))])
    )
    assert points_in_poly(0.999 * points.reshape(-1, 2), corners).all()
    assert not points_in_poly(1.001 * points.reshape(-1, 2), corners).any()


@pytest.mark.parametrize("reach", [0.5, 0.85])
def test_points_end_short_of_the_corners(reach):
    points, normals = hexagon_sides(0.0, reach)
    ends = np.hypot(*(points[:, -1] - normals).T)
    assert ends == pytest.approx(reach / math.sqrt(3))


def test_many_hexagons_are_laid_out_as_one_by_one():
    turns = np.radians([0.0, 7.5, 59.0])
    points, normals = hexagon_sides(turns, 0.8)
    for turn, some, facing in zip(turns, points, normals, strict=True):
        one, its = hexagon_sides(turn, 0.8)
        assert (some == one).all()
        assert (facing == its).all()
