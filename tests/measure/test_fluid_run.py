"""Drawn bodies with and without a streak, and what resembles one."""

import cv2
import numpy as np
import pytest

from visual_aid.measure.fluid_run import UNSURE, streak
from visual_aid.measure.shock_body import TALL, WIDE


def body(seed=0):
    """Draw the lightness of a body laid flat: round, grained, with a dull highlight."""
    x = np.linspace(-1, 1, WIDE)
    light = 20 + 30 * np.sqrt(1 - (0.94 * x) ** 2) + 4 * np.exp(-(((x - 0.2) / 0.1) ** 2))
    return light + np.random.default_rng(seed).normal(0, 2, (TALL, WIDE))


def ribbon(middle, half, end, soft=1.0):
    """Give the share of each pixel under a ribbon that wanders down to ``end`` of the body."""
    y, x = np.mgrid[0:TALL, 0:WIDE]
    off = np.abs(x - middle - 6 * np.sin(y / 60)) - half
    return np.clip(0.5 - off / soft, 0, 1) * (y < end * TALL)


def traits(light):
    return streak(light.astype(np.float32))[0]


def test_a_sharp_dark_streak_has_run():
    wet = ribbon(45, 6, 0.7)
    light = body() * (1 - 0.35 * wet)
    found, outline = streak(light.astype(np.float32))
    assert found.chance > UNSURE[1]
    assert found.extent == pytest.approx(0.7, abs=0.08)
    drawn = np.zeros((TALL, WIDE), np.uint8)
    cv2.fillPoly(drawn, [np.round(outline).astype(np.int32)], 1)
    assert wet[drawn > 0].mean() > 0.8


def test_a_highlight_that_is_glossy_part_of_the_way_has_run():
    glossy = traits(body() + 22 * ribbon(72, 4, 0.6, 3.0))
    assert glossy.shine > 4
    assert glossy.chance > UNSURE[1]


@pytest.mark.parametrize("seed", range(3))
def test_a_bare_body_has_not(seed):
    assert traits(body(seed)).chance < UNSURE[0]


def test_a_film_that_fades_downwards_has_not():
    y = np.mgrid[0:TALL, 0:WIDE][0] / TALL
    assert traits(body() * (1 - 0.4 / (1 + np.exp((y - 0.5) / 0.1)))).chance < UNSURE[0]


def test_a_shadow_on_one_side_has_not():
    x = np.mgrid[0:TALL, 0:WIDE][1]
    assert traits(body() * np.where(x > 70, 0.6, 1.0)).chance < UNSURE[0]


def test_a_soft_stain_has_not():
    stain = cv2.GaussianBlur(ribbon(45, 6, 0.8), (0, 0), 12)
    assert traits(body() * (1 - 0.35 * stain)).chance < UNSURE[0]


def test_a_pale_streak_has_not():
    assert traits(body() + 8 * (1 - ribbon(45, 6, 0.3, 4.0)) * ribbon(45, 6, 1.0, 4.0)).chance < UNSURE[0]
