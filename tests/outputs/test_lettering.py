"""Breaking of lines, and signs that the font has to have."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from visual_aid.outputs.lettering import lettering, wrap

words = st.lists(st.text("abcdefgh", min_size=1, max_size=12), min_size=1, max_size=30)


@given(words, st.integers(60, 400))
def test_lines_hold_all_words_and_no_more_than_fits(words, width):
    font = lettering(14)
    lines = wrap(" ".join(words), font, width)
    assert " ".join(lines).split() == words
    assert all(font.getlength(line) <= width or " " not in line for line in lines)


@pytest.mark.parametrize("sign", "°±×²≤≥≈–’…é")
def test_signs_of_measurements_are_drawn(sign):
    font = lettering(20)
    missing = "\uffff"
    assert bytes(font.getmask(sign)) != bytes(font.getmask(missing))
