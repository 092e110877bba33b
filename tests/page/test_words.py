import datetime as dt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from visual_aid.pages import words
from visual_aid.records.entries import Decision


@pytest.mark.parametrize(
    ("score", "say"),
    [
        # Likelihood scale of the IPCC's guidance note (2010), table 1.
        (1.0, "Very likely: 100\N{NO-BREAK SPACE}%"),
        (0.9, "Very likely: 90\N{NO-BREAK SPACE}%"),
        (0.89, "Likely: 89\N{NO-BREAK SPACE}%"),
        (0.66, "Likely: 66\N{NO-BREAK SPACE}%"),
        (0.5, "About as likely as not: 50\N{NO-BREAK SPACE}%"),
        (0.32, "Unlikely: 32\N{NO-BREAK SPACE}%"),
        (0.05, "Very unlikely: 5\N{NO-BREAK SPACE}%"),
        (0.0, "Very unlikely: 0\N{NO-BREAK SPACE}%"),
    ],
)
def test_a_chance_is_said_in_words_and_numbers(score, say):
    assert words.chance(score) == say


@given(st.floats(0, 1, exclude_min=True, exclude_max=True))
def test_a_chance_is_never_rounded_to_certainty(score):
    assert words.percent(score) not in ("0\N{NO-BREAK SPACE}%", "100\N{NO-BREAK SPACE}%")


@pytest.mark.parametrize(
    ("name", "value", "say"),
    [
        ("length_r", 3.214, ("Length", "3.2 nut radii")),
        ("turned_deg", 12.44, ("Turned", "12°")),
        ("ink_share", 0.417, ("Ink", "42\N{NO-BREAK SPACE}%")),
        ("rust_contrast_de", 14.23, ("Rust contrast, colour difference (CIELAB)", "14")),
        ("count", 3.0, ("Count", "3.0")),
        ("small_r", 0.0123, ("Small", "0.012 nut radii")),
        ("none_r", 0.0, ("None", "0 nut radii")),
    ],
)
def test_a_measure_is_said_with_its_unit(name, value, say):
    assert words.measure(name, value) == say


def test_who_decided_and_when_is_said():
    at = dt.datetime(2026, 5, 4, 7, 12, tzinfo=dt.UTC)
    decision = Decision(1, 1, "ruled_out", "J. Doe", "", at, None, None)
    assert words.said(decision).startswith("Ruled out by J. Doe, ")
    assert words.said(None) == "Not decided yet"
    assert words.said(Decision(2, 1, None, "J. Doe", "", at, 1, 1)) == "Not decided yet"


def test_a_reason_becomes_a_sentence():
    assert words.sentence("rust-coloured run") == "Rust-coloured run."
    assert words.sentence("Is it?") == "Is it?"
    assert words.sentence("90 % is rust") == "90\N{NO-BREAK SPACE}% is rust."
    assert words.sentence("") == ""
