"""From measurements to candidates, with a cue of the tests' own."""

import numpy as np
import pytest

from visual_aid.evidence import register
from visual_aid.evidence.register import SURE, find_evidence
from visual_aid.evidence.scene import Measured, Measurement
from visual_aid.model import Fastener

OUTLINE = ((0.0, 0.0), (10.0, 0.0), (0.0, 10.0))


def candidates(monkeypatch, *measurements, stands=0.6):
    monkeypatch.setattr(register, "MEASURE", {"gap": lambda _: Measured(measurements)})
    monkeypatch.setattr(register, "score", lambda _, each: np.full(len(each), stands))
    return find_evidence(None).candidates


def measurement(score, **more):
    fastener = None if score is None else Fastener(1, "hex_nut", 5.0, 5.0, 5.0, score=score)
    return Measurement(fastener, {}, {}, OUTLINE, "", **more)


@pytest.mark.parametrize(
    ("one", "expected"),
    [
        (measurement(0.99), 0.6),
        (measurement(SURE), 0.6),
        (measurement(0.3), 0.6 * 0.3),
        (measurement(None), 0.6),
        (measurement(0.3, of_fastener=False), 0.6),
    ],
)
def test_evidence_on_a_doubtful_fastener_is_doubted_unless_that_is_what_is_asked(monkeypatch, one, expected):
    (found,) = candidates(monkeypatch, one)
    assert found.score == pytest.approx(expected)


def test_what_is_hardly_probable_is_no_candidate(monkeypatch):
    assert candidates(monkeypatch, measurement(0.99), stands=0.04) == ()
