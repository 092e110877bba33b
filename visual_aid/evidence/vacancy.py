"""How much a place looks as labelled places do where a nut is missing, in all that the finder sees of it.

The finder's own description of a patch (rings, edges and colours against the surroundings) and gradient
histograms, by kernel regression on places that the finder takes for nuts or doubts.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from importlib.resources import files

import numpy as np

from visual_aid.fasteners.find import circle_of
from visual_aid.fasteners.patches import Image, Octaves, features
from visual_aid.fasteners.regression import Floats, StandardRegression
from visual_aid.model import Fastener
from visual_aid.photo import Photo

KNOWN = files("visual_aid.evidence") / "vacancy.npz"


def describe(octaves: Octaves, photo: Photo, fasteners: Sequence[Fastener], patches: Image) -> Floats:
    """Describe every place, shape (N, F).

    Parameters
    ----------
    octaves : Octaves
        Of the working image.
    patches : ndarray of uint8
        From ``resemblance.patches``, of the same places.
    """
    circles = np.array([circle_of(photo, f) for f in fasteners], np.float32).reshape(-1, 3)
    described: Floats = np.hstack([features(octaves, circles), patches])
    return described


@cache
def learned() -> StandardRegression:
    """Read what the package knows: readings are about 0 for nuts as they should be, 1 for vacant places."""
    return StandardRegression.load(KNOWN)
