import dataclasses
import json
from pathlib import Path

import pytest

from visual_aid.evaluation.truth import parse_truth
from visual_aid.gallery.cases import labels
from visual_aid.model import Fastener, PhotoInfo, Quality, Screening

NUTS = (Fastener(1, "hex_nut", 500.0, 450.0, 40.0), Fastener(2, "flange_nut", 1500.0, 450.0, 40.0))


@pytest.fixture
def record():
    return Screening("test", PhotoInfo("x.jpg", "", "0", 2000, 1000), Quality(True), fasteners=NUTS)


def read(one, record):
    """Read labels as the evaluation does, through JSON."""
    return parse_truth(json.loads(json.dumps(labels(one, record, "case.jpg"))), Path())


def test_evidence_is_on_the_fastener_it_is_about(photo, record):
    truth = read(photo("a", [("rust_trail", 480, 500), ("gap", 1480, 500)]), record)
    assert [(f.kind, f.ignore, [c.cue for c in f.cues]) for f in truth.fasteners] == [
        ("hex_nut", False, ["rust_trail"]),
        ("flange_nut", False, ["gap"]),
    ]
    assert truth.fasteners[0].cues[0].box == (480, 500, 100, 100)


def test_what_nobody_checked_counts_neither_way(photo, record):
    truth = read(photo("a", [], [("rust_trail", 480, 500)], ((1400.0, 400.0, 50.0, 50.0),)), record)
    assert [f.ignore for f in truth.fasteners] == [True, True]
    assert [(d.type, d.box) for d in truth.look_alikes] == [("rust_trail", (480, 500, 100, 100))]
    assert truth.ignore_regions == ((1400, 400, 50, 50),)


def test_evidence_away_from_every_fastener_gets_a_place_of_its_own(photo, record):
    truth = read(photo("a", [("missing_nut", 900, 800)]), record)
    assert [(f.kind, f.ignore) for f in truth.fasteners] == [
        ("hex_nut", True),
        ("flange_nut", True),
        ("other", False),
    ]
    assert (truth.fasteners[2].cx, truth.fasteners[2].cy, truth.fasteners[2].radius) == (950, 850, 50)


def test_a_named_fastener_that_lies_near_comes_before_a_nearer_one(photo, region, record):
    between = region("clean_outlier", 560, 430, 20, 20, fastener=1)
    assert labels(photo("a"), record, "case.jpg")["fasteners"][0]["cues"] == []

    one = dataclasses.replace(photo("a"), evidence=(between,))
    assert [c.cue for c in read(one, record).fasteners[0].cues] == ["clean_outlier"]


def test_wear_is_no_cue(photo, record):
    assert all(not f.cues for f in read(photo("a", [("chafe", 480, 500)]), record).fasteners)
