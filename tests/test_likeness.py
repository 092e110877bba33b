"""The perceptual hash: alike for shots of a burst, unlike for other photos."""

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from visual_aid.likeness import SIDE, distance, likeness
from visual_aid.photo import Photo
from visual_aid.records.bursts import SAME_VIEW


def scene(seed, size=(480, 640)):
    """A photo of blotches of all sizes."""
    rng = np.random.default_rng(seed)
    canvas = np.zeros((*size, 3), np.float32)
    for scale in (8, 16, 32, 80):
        small = rng.normal(0, 40, (size[0] // scale, size[1] // scale, 3)).astype(np.float32)
        canvas += cv2.resize(small, size[::-1], interpolation=cv2.INTER_CUBIC)
    return np.clip(128 + canvas, 0, 255).astype(np.uint8)


def seen(pixels):
    return likeness(Photo.from_array(np.ascontiguousarray(pixels)))


@given(
    seed=st.integers(0, 10),
    shift=st.tuples(st.floats(-0.008, 0.008), st.floats(-0.008, 0.008)),
    turn=st.floats(-0.7, 0.7),
    light=st.floats(0.85, 1.1),
)
@settings(max_examples=40, deadline=None)
def test_a_hand_that_moves_and_light_that_changes_leave_a_burst_alike(seed, shift, turn, light):
    pixels = scene(seed)
    height, width = pixels.shape[:2]
    matrix = cv2.getRotationMatrix2D((width / 2, height / 2), turn, 1.0)
    matrix[:, 2] += np.array(shift) * width
    moved = cv2.warpAffine(pixels, matrix, (width, height), borderMode=cv2.BORDER_REFLECT)
    lit = np.clip(moved * light, 0, 255).astype(np.uint8)
    assert distance(seen(pixels), seen(lit)) <= SAME_VIEW


def test_other_photos_are_unlike():
    hashes = [seen(scene(seed)) for seed in range(12)]
    apart = [distance(a, b) for i, a in enumerate(hashes) for b in hashes[:i]]
    assert min(apart) > SAME_VIEW


def test_each_bit_is_one_field_against_its_neighbour_on_the_right():
    # The definition of a difference hash, spelt out (Krawetz, Kind of Like That, 2013).
    pixels = scene(3)
    grey = cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY)
    small = cv2.resize(grey, (SIDE + 1, SIDE), interpolation=cv2.INTER_AREA)
    bits = "".join(str(int(small[y, x] < small[y, x + 1])) for y in range(SIDE) for x in range(SIDE))
    assert seen(pixels) == f"{int(bits, 2):064x}"


@pytest.mark.parametrize(("a", "b", "bits"), [("00", "00", 0), ("0f", "00", 4), ("ff", "00", 8)])
def test_the_distance_counts_bits(a, b, bits):
    assert distance(a, b) == distance(b, a) == bits
