"""Figures as people write them."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from visual_aid.followup.units import QUANTITIES, UNITS, Measured, convert, figure, quantity_of, read

# NIST Special Publication 811, Appendix B (from memory).
NIST = [
    (1, "lbf ft", "N m", 1.355818),
    (1, "lbf in", "N m", 0.1129848),
    (1, "lbf", "N", 4.448222),
    (1, "in", "mm", 25.4),
    (1, "mi", "km", 1.609344),
    (3, "psi", "kPa", 20.68427),
    (55, "psi", "kPa", 379.2117),
    (1, "bar", "kPa", 100),
    (1, "min", "s", 60),
]
PAIRS = [(a, b) for units in UNITS.values() for a in units for b in units]


@pytest.mark.parametrize(("value", "unit", "to", "expected"), NIST)
def test_factors_are_those_of_nist(value, unit, to, expected):
    assert convert(value, unit, to) == pytest.approx(expected, rel=5e-7)


@given(st.floats(0, 1e9), st.sampled_from(PAIRS))
def test_there_and_back_is_the_same_figure(value, pair):
    unit, to = pair
    assert convert(convert(value, unit, to), to, unit) == pytest.approx(value, rel=1e-12)


def test_a_figure_is_not_changed_into_another_quantity():
    with pytest.raises(ValueError, match="psi measures pressure, N m measures torque"):
        Measured(3, "psi").to("N m")
    with pytest.raises(ValueError, match="unknown unit 'furlong'"):
        convert(1, "furlong", "mi")


@pytest.mark.parametrize(
    ("text", "quantity", "expected"),
    [
        ("1/8", "length", Measured(0.125, "in")),
        ("1/8 in", "length", Measured(0.125, "in")),
        ("1 3/8 in", "length", Measured(1.375, "in")),
        ('1-3/8"', "length", Measured(1.375, "in")),
        (" 3.2mm ", "length", Measured(3.2, "mm")),
        ("3,2 mm", "length", Measured(3.2, "mm")),
        (".5", "length", Measured(0.5, "in")),
        ("100 PSI", "pressure", Measured(100, "psi")),
        ("690 kPa", "pressure", Measured(690, "kPa")),
        ("55 ft-lbs", "torque", Measured(55, "lbf ft")),
        ("75 N·m", "torque", Measured(75, "N m")),
        ("75 N•m", "torque", Measured(75, "N m")),
        ("75Nm", "torque", Measured(75, "N m")),
        ("660 lbf in", "torque", Measured(660, "lbf in")),
        ("12°", "angle", Measured(12, "deg")),
        ("15 min", "time", Measured(15, "min")),
    ],
)
def test_what_people_write_is_read(text, quantity, expected):
    assert read(text, quantity, UNITS[quantity][0]) == expected


@pytest.mark.parametrize(
    "text",
    ["", "x", "-3", "1/0", "1,200", "3 psi", "3 mm 4", "1e9", "nan", "٣", "9" * 400, "1/" + "9" * 5000],
)
def test_what_is_no_length_is_refused_in_one_line(text):
    with pytest.raises(ValueError, match=r"\A[^\n]+\Z"):
        read(text, "length", "mm")


@given(st.text(), st.sampled_from(QUANTITIES))
def test_any_text_is_read_or_refused(text, quantity):
    try:
        measured = read(text, quantity, UNITS[quantity][0])
    except ValueError:
        return
    assert quantity_of(measured.unit) == quantity
    assert 0 <= measured.value < math.inf


@given(st.integers(0, 999_999), st.sampled_from([unit for units in UNITS.values() for unit in units]))
def test_what_is_shown_is_read_back(hundredths, unit):
    shown = str(Measured(hundredths / 100, unit))
    quantity = quantity_of(unit)
    back = read(shown, quantity, UNITS[quantity][0])
    assert back.unit == unit
    assert back.value == pytest.approx(hundredths / 100, rel=5e-4)


@pytest.mark.parametrize(
    ("value", "shown"),
    [(0, "0"), (0.125, "0.125"), (3551.1, "3551"), (106757.3, "106757"), (0.00123456, "0.00123")],
)
def test_figures_are_written_without_powers_of_ten(value, shown):
    assert figure(value) == shown
