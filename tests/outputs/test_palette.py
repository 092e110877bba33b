"""Colours and dashes that tell the cues apart."""

import itertools

import pytest

from visual_aid.model import CUES, SIGNS
from visual_aid.outputs.palette import CUE_STYLE, SIGN_STYLE

# Okabe and Ito, Color Universal Design, 2008: the palette's 8-bit values, from memory.
OKABE_ITO = {
    (230, 159, 0),
    (86, 180, 233),
    (0, 158, 115),
    (240, 228, 66),
    (0, 114, 178),
    (213, 94, 0),
    (204, 121, 167),
}


def test_every_cue_has_a_style_of_its_own():
    assert list(CUE_STYLE) == list(CUES)
    for field in ("label", "colour", "dash"):
        assert len({getattr(style, field) for style in CUE_STYLE.values()}) == len(CUES)


def test_the_colours_are_those_of_the_published_palette():
    assert {tuple(bytes.fromhex(style.colour[1:])) for style in CUE_STYLE.values()} == OKABE_ITO


def test_every_sign_is_told_apart_without_its_colour():
    assert set(SIGN_STYLE) == set(SIGNS)
    for field in ("label", "dash"):
        assert len({getattr(style, field) for style in SIGN_STYLE.values()}) == len(SIGNS)


@pytest.mark.parametrize("sign", SIGNS)
def test_dashes_come_in_pairs_of_drawn_and_left_out(sign):
    dash = SIGN_STYLE[sign].dash
    assert len(dash) % 2 == 0
    assert all(length > 0 for length in dash)


def test_labels_are_no_part_of_one_another():
    labels = [style.label for style in SIGN_STYLE.values()]
    assert not any(a in b for a, b in itertools.permutations(labels, 2))
