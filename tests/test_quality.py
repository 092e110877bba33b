"""Sharp, well lit photos pass; blurred, shaken, dark, burnt-out, glaring and tiny ones say what to do."""

import math

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from visual_aid.model import Fastener
from visual_aid.photo import Photo
from visual_aid.quality import (
    LIMITS,
    MAX_SPREAD,
    bright_level,
    burnt_share,
    edge_spread,
    find_edges,
    glare_share,
    judge,
    smeared,
)


def nuts(centres: list[tuple[int, int]], radius: float) -> tuple[Fastener, ...]:
    return tuple(Fastener(i, "hex_nut", x, y, radius) for i, (x, y) in enumerate(centres, start=1))


CENTRES = [(x, y) for y in (350, 850) for x in (400, 800, 1200)]
NUTS = nuts(CENTRES, 60)


@pytest.fixture(scope="module")
def scene() -> np.ndarray:
    """Six grey nuts on a painted, slightly dirty plate, 1600 x 1200, drawn sharp."""
    rng = np.random.default_rng(11)
    dirt = cv2.GaussianBlur(rng.normal(0, 30, (1200, 1600)).astype(np.float32), (0, 0), 4) * 4
    image = np.clip(np.array([60, 90, 130]) + dirt[..., None], 0, 255).astype(np.uint8)
    for number, (x, y) in enumerate(CENTRES):
        for radius, grey in ((69, 175), (30, 110)):  # outer corner radius of the nut, radius of its bore
            turn = np.radians(7 * number + np.arange(0, 360, 60 if grey > 150 else 15))
            corners = np.stack([x + radius * np.cos(turn), y + radius * np.sin(turn)], axis=1)
            cv2.fillConvexPoly(
                image, np.round(corners * 16).astype(np.int32), (grey,) * 3, cv2.LINE_AA, shift=4
            )
    return image


def shaken(image: np.ndarray, length: int, angle: float) -> np.ndarray:
    """Smear along a line of ``length`` pixels."""
    kernel = np.zeros((length + 2, length + 2), np.float32)
    middle = (length + 1) / 2
    reach = np.array([math.cos(math.radians(angle)), math.sin(math.radians(angle))]) * length / 2
    ends = [tuple(np.round((middle + sign * reach) * 16).astype(int).tolist()) for sign in (-1, 1)]
    cv2.line(kernel, *ends, 1.0, 1, cv2.LINE_8, shift=4)
    return cv2.filter2D(image, -1, kernel / kernel.sum(), borderType=cv2.BORDER_REFLECT)


def found(image: np.ndarray, fasteners=()) -> dict[str, float]:
    return {p.code: p.value for p in judge(Photo.from_array(image), fasteners).problems}


def everywhere(image: np.ndarray) -> np.ndarray:
    return np.ones(image.shape[:2], np.uint8)


# The whole judgement


@pytest.mark.parametrize("fasteners", [(), NUTS])
def test_a_good_photo_has_no_problem(scene, fasteners):
    quality = judge(Photo.from_array(scene), fasteners)
    assert quality.usable
    assert quality.problems == ()


def glaring(image: np.ndarray) -> np.ndarray:
    y, x = np.mgrid[:1200, :1600]
    veil = 400 * np.exp(-(np.maximum(np.hypot(x - 700, y - 600) - 250, 0) ** 2) / (2 * 120**2))
    return np.clip(image + veil[..., None], 0, 255).astype(np.uint8)


WORSE = {
    "out of focus": ("blurred", lambda image: cv2.GaussianBlur(image, (0, 0), 6)),
    "shaken across": ("blurred", lambda image: shaken(image, 30, 0)),
    "shaken down": ("blurred", lambda image: shaken(image, 30, 90)),
    "shaken askew": ("blurred", lambda image: shaken(image, 30, 30)),
    "a twentieth of the light": ("too_dark", lambda image: (image * 0.05).astype(np.uint8)),
    "four stops too much": ("burnt_out", lambda image: np.clip(image * 4.0, 0, 255).astype(np.uint8)),
    "lamp in the way": ("glare", glaring),
}


@pytest.mark.parametrize("how", WORSE)
@pytest.mark.parametrize("fasteners", [(), NUTS])
def test_a_spoilt_photo_is_sent_back_with_the_reason(scene, how, fasteners):
    code, spoil = WORSE[how]
    rng = np.random.default_rng(12)
    noisy = spoil(scene) + rng.normal(0, 2, scene.shape)
    quality = judge(Photo.from_array(np.clip(noisy, 0, 255).astype(np.uint8)), fasteners)
    assert not quality.usable
    assert code in [p.code for p in quality.problems]


def test_slight_softness_is_told_and_the_photo_still_judged(scene):
    quality = judge(Photo.from_array(cv2.GaussianBlur(scene, (0, 0), 3)))
    assert quality.usable
    assert [p.code for p in quality.problems] == ["blurred"]


def test_a_dark_photo_is_not_called_blurred_as_well(scene):
    assert list(found((scene * 0.04).astype(np.uint8))) == ["too_dark"]


def test_problems_name_figure_limit_and_mend(scene):
    (problem,) = judge(Photo.from_array(cv2.GaussianBlur(scene, (0, 0), 6))).problems
    assert problem.value == pytest.approx(6, rel=0.15)
    assert problem.limit == LIMITS["edge_spread"].retake
    assert f"{problem.value:.1f} px" in problem.say
    assert "hold still" in problem.say


@pytest.mark.parametrize("limit", LIMITS.values(), ids=list(LIMITS))
def test_limits_count_from_the_limit_itself(limit):
    worse = math.copysign(1e-6, limit.retake - limit.caution)
    assert limit.problem(limit.caution - worse) is None
    assert limit.problem(limit.caution).limit == limit.caution
    assert limit.problem(limit.retake - worse).limit == limit.caution
    assert limit.problem(limit.retake).limit == limit.retake
    assert "{" not in limit.problem(limit.retake).say


# Sharpness. A step seen through a Gaussian of width s has spread s by definition.


def step(
    sigma: float, angle: float, height: int = 1200, width: int = 1600, contrast: float = 120
) -> np.ndarray:
    y, x = np.mgrid[:height, :width]
    across = (x - width / 2) * math.cos(math.radians(angle)) + (y - height / 2) * math.sin(
        math.radians(angle)
    )
    rise = np.vectorize(math.erf)(np.linspace(-5, 5, 4001))
    level = (
        60 + contrast * (np.interp(across / (sigma * math.sqrt(2)), np.linspace(-5, 5, 4001), rise) + 1) / 2
    )
    return np.repeat(np.round(level).astype(np.uint8)[..., None], 3, axis=2)


@pytest.mark.parametrize("sigma", [1.5, 2, 3, 4, 6])
@pytest.mark.parametrize("angle", [0, 30, 45, 90, 160])
def test_spread_of_a_gaussian_step_is_its_width(sigma, angle):
    image = step(sigma, angle)
    assert edge_spread(find_edges(image), everywhere(image)) == pytest.approx(sigma, rel=0.12, abs=0.3)


@pytest.mark.parametrize("sigma", [1, 2, 4])
def test_spread_is_in_pixels_of_small_photos_too(sigma):
    image = step(sigma, 0, 480, 640)
    assert edge_spread(find_edges(image), everywhere(image)) == pytest.approx(sigma, rel=0.12)


@pytest.mark.parametrize("contrast", [40, 180])
def test_spread_does_not_depend_on_contrast(contrast):
    # Focus measures such as the variance of the Laplacian rise with the square of the contrast.
    image = step(3, 20, contrast=contrast)
    assert edge_spread(find_edges(image), everywhere(image)) == pytest.approx(3, rel=0.12)


def test_the_sharpest_picture_there_is_has_next_to_no_spread():
    y, x = np.mgrid[:1200, :1600] // 40
    image = np.repeat(np.where((x + y) % 2, 220, 30).astype(np.uint8)[..., None], 3, axis=2)
    assert edge_spread(find_edges(image), everywhere(image)) < 1
    assert found(image) == {}


def test_a_smooth_plate_is_no_blur(scene):
    y, x = np.mgrid[:1200, :1600]
    plate = np.repeat((90 + 40 * np.sin(x / 300) + y / 40).astype(np.uint8)[..., None], 3, axis=2)
    plate[500:700, 700:900] = scene[250:450, 300:500]  # one sharp nut on it
    assert "blurred" not in found(plate)


def test_a_soft_background_does_not_matter(scene):
    soft = cv2.GaussianBlur(scene, (0, 0), 12)
    soft[250:950, 300:1300] = scene[250:950, 300:1300]
    assert "blurred" not in found(soft)


def test_nuts_out_of_focus_before_a_sharp_background_are_blurred(scene):
    image = scene.copy()
    for x, y in CENTRES[:3]:
        around = np.s_[y - 110 : y + 110, x - 110 : x + 110]
        image[around] = cv2.GaussianBlur(scene, (0, 0), 6)[around]
    assert "blurred" in found(image, NUTS[:3])
    assert "blurred" not in found(image, NUTS[3:])


@given(st.integers(0, 255))
def test_a_photo_without_an_edge_cannot_be_judged(level):
    image = np.full((600, 800, 3), level, np.uint8)
    assert edge_spread(find_edges(image), everywhere(image)) == MAX_SPREAD
    assert not judge(Photo.from_array(image)).usable


# Light, by construction: shares of pixels that were set


@pytest.mark.parametrize("share", [0.0, 0.25, 0.5, 1.0])
def test_burnt_share_counts_pixels_with_a_clipped_channel(share):
    image = np.full((400, 400, 3), 100, np.uint8)
    image[:, : int(400 * share), 0] = 255
    assert burnt_share(image, everywhere(image)) == share


def test_only_the_subject_has_to_be_well_exposed(scene):
    burnt = scene.copy()
    burnt[:, :500] = burnt[:, 1300:] = 255
    assert "burnt_out" not in found(burnt, NUTS[1::3])
    assert found(burnt, NUTS[0::3])["burnt_out"] > 0.7
    dim = scene.copy()
    dim[:, :600] //= 20
    assert "too_dark" not in found(dim, NUTS[1::3])
    assert found(dim, NUTS[0::3])["too_dark"] < 20


def test_bright_level_is_surpassed_by_a_twentieth_of_the_subject():
    image = np.full((100, 100, 3), 40, np.uint8)
    image[:4] = 200
    assert bright_level(image, everywhere(image)) == 40
    image[:6] = 200
    assert bright_level(image, everywhere(image)) == 200


@given(st.integers(20, 120), st.integers(130, 470), st.integers(130, 470))
def test_glare_share_is_the_area_of_a_white_disc(radius, x, y):
    image = np.full((600, 600, 3), 90, np.uint8)
    cv2.circle(image, (x, y), radius, (255, 255, 255), cv2.FILLED)
    assert glare_share(image) == pytest.approx(math.pi * radius**2 / 600**2, rel=0.1)


def test_glare_takes_the_largest_patch_and_no_sky():
    image = np.full((400, 400, 3), 90, np.uint8)
    assert glare_share(image) == 0
    image[:150] = 255  # sky: touches three sides
    assert glare_share(image) == 0
    image[200:300, 100:140] = 255
    image[200:240, 200:240] = 255
    assert glare_share(image) == 100 * 40 / 400**2
    image[200:300, :40] = 255  # reaches one side only: a lamp at the edge
    image[200:300, 40:60] = 255
    assert glare_share(image) == 100 * 60 / 400**2


def test_a_red_lamp_is_no_glare():
    image = np.full((400, 400, 3), 90, np.uint8)
    image[100:300, 100:300] = (255, 60, 40)
    assert glare_share(image) == 0


# Size


@pytest.mark.parametrize(
    ("radius", "code", "usable"), [(14, False, True), (10, True, True), (5, True, False)]
)
def test_nuts_that_are_too_small_ask_to_go_closer(scene, radius, code, usable):
    quality = judge(Photo.from_array(scene), nuts(CENTRES, radius))
    assert ("too_small" in [p.code for p in quality.problems]) is code
    assert quality.usable is usable
    assert all("go closer" in p.say for p in quality.problems)


def test_nut_size_counts_at_the_working_scale(scene):
    large = np.repeat(np.repeat(scene, 2, axis=0), 2, axis=1)
    assert found(large, nuts([(2 * x, 2 * y) for x, y in CENTRES], 20)) == {"too_small": 10}


@pytest.mark.parametrize(("side", "usable"), [(790, True), (240, False)])
def test_a_preview_asks_for_the_original(scene, side, usable):
    small = cv2.resize(scene, (side, side * 3 // 4), interpolation=cv2.INTER_AREA)
    quality = judge(Photo.from_array(small))
    assert quality.usable is usable
    assert [(p.code, p.value) for p in quality.problems] == [("too_small", side)]


def test_fasteners_off_the_photo_leave_the_middle_as_subject(scene):
    photo = Photo.from_array(scene)
    assert judge(photo, nuts([(9000, 9000)], 60)) == judge(photo)


def test_what_is_smeared_is_told_in_whatever_light(scene):
    dark = (scene // 8).astype(np.uint8)
    assert smeared(Photo.from_array(scene)) is None
    assert smeared(Photo.from_array(dark)) is None
    for image in (scene, dark):
        soft = smeared(Photo.from_array(cv2.GaussianBlur(image, (0, 0), 6)))
        assert soft is not None
        assert "take it again" in soft
