"""How much a place looks as labelled places do where a nut is missing, in all that the finder sees of it.

The finder's own description of a patch (rings, edges and colours against the surroundings) and gradient
histograms, by kernel regression on places that the finder takes for nuts or doubts.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from importlib.resources.abc import Traversable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from visual_aid.evidence.resemblance import patches
from visual_aid.fasteners.find import circle_of
from visual_aid.fasteners.patches import Image, features
from visual_aid.fasteners.regression import Floats, Regression
from visual_aid.model import Fastener
from visual_aid.photo import Photo

STEP, FARTHEST = 24.0, 4.0
"""Descriptions are kept in steps of 1/24 of a standard deviation, up to four of them: so coded, sums over
them stay exact in float32 (see ``regression.centred``)."""


def describe(octaves: list[Image], photo: Photo, fasteners: Sequence[Fastener]) -> Floats:
    """Describe the patch around every place, shape (N, F).

    Parameters
    ----------
    octaves : list of ndarray
        CIELAB octaves of the working image, from ``fasteners.patches.lab_octaves``.
    """
    circles = np.array([circle_of(photo, f) for f in fasteners], np.float32).reshape(-1, 3)
    described: Floats = np.hstack([features(octaves, circles), patches(octaves, photo, fasteners)])
    return described


@dataclass(frozen=True)
class Vacancy:
    """What vacant places look like.

    Attributes
    ----------
    centre, spread : ndarray of float32, shape (F,)
        Mean and standard deviation of each feature.
    regression : Regression
        On descriptions in steps of the spread.
    """

    centre: Floats
    spread: Floats
    regression: Regression

    def __call__(self, described: Floats) -> Floats:
        """Read off descriptions, shape (N,): about 0 for nuts as they should be, 1 for vacant places."""
        return self.regression(coded(described, self.centre, self.spread))[:, 0]

    def arrays(self) -> dict[str, NDArray[Any]]:
        """Name the arrays for an .npz file."""
        return {"centre": self.centre, "spread": self.spread, **self.regression.arrays()}

    @classmethod
    def load(cls, file: Traversable) -> Vacancy:
        """Read the arrays of an .npz file."""
        with np.load(str(file)) as arrays:
            return cls(arrays["centre"], arrays["spread"], Regression.load(file))


def coded(described: Floats, centre: Floats, spread: Floats) -> Image:
    """Give descriptions in steps of the spread about 128."""
    away = np.clip((described - centre) / spread, -FARTHEST, FARTHEST)
    steps: Image = np.round(128 + STEP * away).astype(np.uint8)
    return steps


@cache
def learned() -> Vacancy:
    """Read what the package knows."""
    return Vacancy.load(files("visual_aid.evidence") / "vacancy.npz")
