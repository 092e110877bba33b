"""Stripes are told from rust by their number, and rust runs from stripes."""

import numpy as np
import pytest

from tests.evidence.test_stripe_offset import RED, Plate
from visual_aid.evidence import rust_trail
from visual_aid.evidence.scene import Scene
from visual_aid.photo import Photo

ORANGE = (215, 110, 40)


def scene(plate: Plate) -> Scene:
    return Scene.build(Photo.from_array(plate.image.astype("uint8")), plate.fasteners)


def row(colour, number, on_nut=True) -> Scene:
    plate = Plate(size=(500, 1100))
    for k in range(number):
        plate.nut(170 + 250 * k, 250, 90, colour=colour, on_nut=on_nut)
    return scene(plate)


@pytest.mark.parametrize("colour", [ORANGE, RED])
def test_stripes_down_from_several_nuts_are_no_rust(colour):
    striped = row(colour, 3)
    assert striped.stripes.plain
    assert striped.stripes.crossed == 3
    assert not rust_trail.measure(striped).measurements


def test_what_runs_down_from_the_nuts_and_does_not_cross_them_may_be_rust():
    running = row(ORANGE, 3, on_nut=False)
    assert not running.stripes.plain
    assert len(rust_trail.measure(running).measurements) == 3


def test_a_single_run_below_a_single_nut_may_be_rust():
    alone = row(ORANGE, 1)
    assert not alone.stripes.plain
    assert len(rust_trail.measure(alone).measurements) == 1


def test_beside_stripes_that_run_up_a_run_below_stays():
    plate = Plate(size=(500, 1100))
    for k in range(3):
        plate.nut(170 + 250 * k, 250, -90, colour=ORANGE)
    plate.stroke((420, 250), np.pi / 2, 1.25, 3.0, 0.0, (115, 80, 55), width=0.4)
    (run,) = [m for m in rust_trail.measure(scene(plate)).measurements if m.fastener.id == 2]
    assert run.measures["length_r"] > 1


@pytest.mark.parametrize("share", [0.0, 0.5, 1.0])
def test_how_much_of_an_outline_is_painted(share):
    striped = row(RED, 3)
    nut = striped.stripes.views[0].frame
    left = 0.15 - 0.3 * share  # the stripe reaches from -0.15 to 0.15 r
    right = left + 0.3
    outline = nut.outline([(left, 1.4), (right, 1.4), (right, 2.1), (left, 2.1)])
    assert striped.stripes.covers(nut.fastener, outline) == pytest.approx(share, abs=0.2)


def test_without_fasteners_there_are_no_stripes():
    assert scene(Plate()).stripes is None
