"""The rusted share of drawn plates does not hang on how bright the coat is."""

import cv2
import numpy as np
import pytest

from visual_aid.measure.measurement import View
from visual_aid.measure.rust_grade import measure
from visual_aid.photo import Photo

RUST = np.array([154, 72, 50])
"""sRGB of an iron oxide, from a Munsell chip inside the minerals' hue ranges (Schwertmann 1993)."""


@pytest.mark.parametrize("coat", [(30, 30, 32), (130, 132, 135), (205, 205, 200), (40, 56, 84)])
@pytest.mark.parametrize("radius", [4, 9, 40])
def test_discs_of_rust_are_measured_as_large_as_they_are(coat, radius):
    """Drawn eight times as large in linear light and averaged, as a lens does it."""
    size, fine = 240, 8
    cover = np.zeros((size * fine, size * fine), np.float32)
    pitch = max(3 * radius, 24)
    for x in range(pitch // 2, size, pitch):
        for y in range(pitch // 2, size, pitch):
            cv2.circle(cover, (x * fine, y * fine), radius * fine, 1.0, -1)
    share = cv2.GaussianBlur(cv2.resize(cover, (size, size), interpolation=cv2.INTER_AREA), (0, 0), 0.8)
    linear = [(np.array(c) / 255) ** 2.2 for c in (coat, RUST)]
    light = linear[0] + (linear[1] - linear[0]) * share[..., None]
    light *= np.linspace(0.6, 1.0, size)[:, None, None]  # the light falls off to one side
    pixels = (255 * light ** (1 / 2.2)).round() + np.random.default_rng(2).normal(0, 1, (size, size, 3))
    photo = Photo.from_array(pixels.clip(0, 255).round().astype(np.uint8))
    found = measure([View(photo, (0.0, 0.0, float(size), float(size)))]).figures[0]
    assert found.value == pytest.approx(100 * float(cover.mean()), abs=2)
