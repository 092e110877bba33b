"""Known lengths as people write them."""

import pytest

from visual_aid.followup.known_length import known_length

ENDS = (0.0, 0.0), (100.0, 0.0)


@pytest.mark.parametrize(
    ("meant", "mm", "say"),
    [
        ("24", 24, "a known length of 24 mm"),
        ("1 in", 25.4, "a known length of 1 in"),
        (" M16 ", 24, "the width across flats of an M16 nut"),  # ISO 4032
        ("3/4 in nut", 28.575, "the width across flats of a 3/4 in nut"),  # ASME B18.2.2: 1 1/8 in
    ],
)
def test_figures_and_nuts(meant, mm, say):
    scale = known_length(*ENDS, meant)
    assert scale.length(*ENDS)[0] == pytest.approx(mm)
    assert scale.source == say


@pytest.mark.parametrize(("meant", "say"), [("M17", "no length"), ("24 kg", "no length"), ("0", "over 0")])
def test_what_is_no_length_is_refused_with_the_mend(meant, say):
    with pytest.raises(ValueError, match=say):
        known_length(*ENDS, meant)
