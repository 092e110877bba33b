"""Bare rubber: whether a boxed part is any, and light enough to show what is fine."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from visual_aid.colour import srgb_to_lab
from visual_aid.measure.measurement import CannotMeasure
from visual_aid.measure.patch import Patch

LEAST_LIGHT, MOST_LIGHT = 4.0, 55.0
"""Median CIELAB lightness under which rubber shows nothing, and over which what is boxed is no bare rubber.
Own, no source; that of 73 made pictures of rubber lies between 9 and 31."""


def rubber_light(patch: Patch, to_show: str) -> NDArray[np.float32]:
    """Give the CIELAB lightness, shape (h, w), of a patch of bare rubber.

    Parameters
    ----------
    to_show : str
        What is looked for on it, in words.

    Raises
    ------
    CannotMeasure
        The part is too light to be bare rubber, or too dark to show anything.
    """
    light = srgb_to_lab(patch.pixels)[..., 0]
    if np.median(light) > MOST_LIGHT:
        raise CannotMeasure(
            "what is boxed is too light for bare rubber: wipe dust and mud off, or box the rubber alone"
        )
    if np.median(light) < LEAST_LIGHT:
        raise CannotMeasure(
            f"the rubber is too dark to show {to_show}: light it from the side and take it again"
        )
    return light
