import datetime as dt

import numpy as np
import pytest

from visual_aid.model import Candidate
from visual_aid.records.gallery import Looks
from visual_aid.records.teaching import Example, Item, Region, Wording


def _outline(box):
    x, y, w, h = box
    return ((x, y), (x + w, y), (x + w, y + h), (x, y + h))


@pytest.fixture
def region():
    def make(cue, x, y, w=100.0, h=100.0, **more):
        return Region(cue, (x, y, w, h), _outline((x, y, w, h)), **more)

    return make


@pytest.fixture
def photo(region):
    """Give an item of 2000 by 1000 pixels, so that a tap reaches 60 pixels."""

    def make(name, evidence=(), look_alikes=(), unsettled=()):
        return Item(
            name,
            2000,
            1000,
            tuple(region(*e) for e in evidence),
            tuple(region(*e) for e in look_alikes),
            unsettled,
        )

    return make


@pytest.fixture
def example():
    def make(number, cue="rust_trail", outcome="confirmed", grade="moderate", score=0.5, photo=None, **more):
        box = (100.0, 100.0, 40.0, 80.0)
        return Example(
            id=number,
            photo=photo or f"photo-{number}",
            width=2000,
            height=1000,
            number=number,
            candidate=None
            if cue is None
            else Candidate(1, cue, 1, box, _outline(box), score, reason="a run"),
            source=more.get("source", "engine"),
            outcome=outcome,
            wording=Wording(grade=grade),
            by="Mo",
            at=dt.datetime(2026, 5, 4, tzinfo=dt.UTC),
        )

    return make


@pytest.fixture
def looks():
    """Give looks of one fastener a photo, at the examples' place, with the vectors given."""

    def make(**vectors):
        return Looks(
            tuple(vectors),
            np.arange(len(vectors)),
            np.array([(120.0, 80.0, 30.0)] * len(vectors), np.float32),
            np.array(list(vectors.values()), np.uint8),
        )

    return make
