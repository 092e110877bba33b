import cv2
import numpy as np
import pytest

from visual_aid.outputs.before import laid_on
from visual_aid.photo import Photo


def plate(seed, size=(600, 800)):
    """Give a plate with blotches all over, which can be known again from elsewhere."""
    rng = np.random.default_rng(seed)
    pixels = np.full((*size, 3), 120, np.uint8)
    for _ in range(400):
        at = (int(rng.integers(0, size[1])), int(rng.integers(0, size[0])))
        cv2.circle(pixels, at, int(rng.integers(2, 14)), rng.integers(0, 255, 3).tolist(), -1)
    return pixels


def test_the_earlier_photo_lies_on_the_later_one():
    before = plate(1)
    homography = np.array([[0.94, 0.08, 30.0], [-0.06, 0.97, 18.0], [2e-5, -1e-5, 1.0]])
    after = cv2.warpPerspective(before, homography, (800, 600))
    laid = laid_on(Photo.from_array(before), Photo.from_array(after))
    inner = (slice(80, 500), slice(120, 680))
    apart = np.abs(laid[inner].astype(int) - after[inner]).mean()
    assert apart < 0.3 * np.abs(before[inner].astype(int) - after[inner]).mean()


@pytest.mark.parametrize("size", [(600, 800), (500, 400)])
def test_photos_without_a_common_plane_are_only_stretched(size):
    after = Photo.from_array(plate(2, size))
    laid = laid_on(Photo.from_array(plate(1)), after)
    assert laid.shape == after.working.shape
    assert laid.any()
