"""The photo of the visit before, laid on that of this visit."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from visual_aid.measure.laying import register, to_full_pixels
from visual_aid.photo import Photo

Pixels = NDArray[np.uint8]


def laid_on(before: Photo, after: Photo, homography: Sequence[float] | None = None) -> Pixels:
    """Give the earlier photo as it would look in the frame of the later one.

    Where the two show no common plane, the earlier photo is stretched over the frame of the later.

    Parameters
    ----------
    homography : sequence of 9 floats, optional
        Rows of the matrix from full pixels of the earlier photo to those of the later, where it is known.

    Returns
    -------
    ndarray of shape (H, W, 3), uint8
        sRGB at the later photo's working scale; black where the earlier photo does not reach.
    """
    height, width = after.working.shape[:2]
    if homography is None:
        laid = register(before, after)
        plane = None if laid is None else laid.homography
    else:
        plane = np.reshape(homography, (3, 3))
    if plane is None:
        stretched = cv2.resize(before.working, (width, height), interpolation=cv2.INTER_AREA)
        return np.asarray(stretched, np.uint8)
    there = to_full_pixels(after.scale)
    working = np.linalg.inv(there) @ plane @ to_full_pixels(before.scale)
    return np.asarray(cv2.warpPerspective(before.working, working, (width, height)), np.uint8)
