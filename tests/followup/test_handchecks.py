"""Hand checks: their definitions, and what the figures found come to."""

import dataclasses
import datetime as dt
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from visual_aid.followup.handchecks import (
    CANNOT_TELL,
    Outcome,
    checks,
    checks_for,
    complete,
    load_checks,
    read_answers,
    settle,
)
from visual_aid.followup.units import Measured
from visual_aid.model import CUES, SIGNS

CHECKS = checks()
NOW = dt.datetime(2026, 5, 4, 7, 12, tzinfo=dt.UTC)

# Answers with which each check keeps to every limit.
KEPT = {
    "fastener_torque": {
        "maker_torque": "100 N m", "wrench_torque": "100 N m", "calibrated": "yes",
        "turned": "no", "seized": "no",
    },
    "rod_movement": {"movement": "1/16 in", "knock": "no"},
    "bushing_condition": {"cracked": "no", "walked": "no", "touching": "no"},
    "straddle_pin_holes": {"elongated": "no", "pin_worn": "no"},
    "u_bolts": {"gaps": "no", "centre_bolt": "in place", "shifted": "no", "u_bolt": "no"},
    "leaf_springs": {"cracked": "no", "missing": "no", "shifted": "no", "hanger": "no"},
    "shock_leak": {"wet": "light film", "foreign": "no"},
    "shock_warmth": {"run": "yes", "warmth": "warmer"},
    "shock_mounts": {"loose": "no", "rubber": "no", "bent": "no"},
    "air_spring": {"chafe": "no", "cracks": "no", "debris": "no", "line": "no", "mounting": "no"},
    "equal_height": {"level": "yes", "left": "300 mm", "right": "302 mm"},
    "height_control_valve": {
        "pressure": "105 psi", "up": "yes", "down": "yes", "height_before": "300 mm",
        "height_after": "299 mm", "rest": "15 min", "bubbles": "no", "linkage": "yes",
    },
    "air_loss": {"before": "100 psi", "after": "98 psi", "waited": "yes", "normal": "yes"},
    "rusted_part": {"flakes": "no", "holed": "no"},
    "broken_part": {"broken": "no", "missing": "no", "makeshift": "no"},
}  # fmt: skip


def outcome(check, **changes):
    answers = {**KEPT[check], **changes}
    return settle(CHECKS[check], read_answers(CHECKS[check], answers))


def test_every_check_is_tried_here():
    assert KEPT.keys() == CHECKS.keys()


@pytest.mark.parametrize("name", KEPT)
def test_what_keeps_to_every_limit_is_within_the_limit_stated(name):
    found = outcome(name)
    assert found.verdict == "within_limit"
    assert found.say == "Within the limit stated."


@pytest.mark.parametrize("name", KEPT)
def test_without_answers_nothing_is_settled(name):
    assert settle(CHECKS[name], {}).verdict == "cannot_settle"


@pytest.mark.parametrize(("name", "missing"), [(name, i) for name, answers in KEPT.items() for i in answers])
def test_each_answer_is_needed(name, missing):
    found = outcome(name, **{missing: ""})
    assert found.verdict == "cannot_settle"
    assert f"{CHECKS[name].input(missing).label}: not given" in found.say


@pytest.mark.parametrize(
    ("name", "changes", "verdict"),
    [
        # 49 CFR 393.207(f): 3 psi in 5 minutes.
        ("air_loss", {"after": "97 psi"}, "within_limit"),
        ("air_loss", {"after": "96.9 psi"}, "beyond_limit"),
        ("air_loss", {"before": "690 kPa", "after": "669.4 kPa"}, "within_limit"),
        ("air_loss", {"before": "690 kPa", "after": "669.2 kPa"}, "beyond_limit"),
        ("air_loss", {"waited": "no"}, "cannot_settle"),
        ("air_loss", {"normal": "no"}, "cannot_settle"),
        # 1/8 in of movement, common practice, no source.
        ("rod_movement", {"movement": "1/8 in"}, "within_limit"),
        ("rod_movement", {"movement": "3.2 mm"}, "within_limit"),
        ("rod_movement", {"movement": "3.3 mm"}, "beyond_limit"),
        ("rod_movement", {"movement": "9/64 in"}, "beyond_limit"),
        ("rod_movement", {"movement": "3 mm", "maker_limit": "2 mm"}, "beyond_limit"),
        ("rod_movement", {"movement": "4 mm", "maker_limit": "1/4 in"}, "within_limit"),
        ("rod_movement", {"knock": "yes"}, "beyond_limit"),
        # Maryland COMAR 11.14.05.03: U-bolt 1/4 in past the nut.
        ("u_bolts", {"thread": "1/4 in"}, "within_limit"),
        ("u_bolts", {"thread": "6 mm"}, "beyond_limit"),
        ("u_bolts", {"centre_bolt": "broken or missing"}, "beyond_limit"),
        ("fastener_torque", {"turned": "yes"}, "beyond_limit"),
        ("fastener_torque", {"calibrated": "no"}, "cannot_settle"),
        ("fastener_torque", {"seized": "yes"}, "cannot_settle"),
        ("fastener_torque", {"wrench_torque": "89 N m"}, "cannot_settle"),
        ("fastener_torque", {"wrench_torque": "111 N m"}, "cannot_settle"),
        ("fastener_torque", {"wrench_torque": "73.76 lbf ft"}, "within_limit"),
        ("shock_leak", {"wet": "dry"}, "within_limit"),
        ("shock_leak", {"wet": "fluid running down"}, "beyond_limit"),
        ("shock_leak", {"foreign": "yes"}, "cannot_settle"),
        ("shock_warmth", {"run": "no"}, "cannot_settle"),
        ("shock_warmth", {"warmth": "no warmer"}, "beyond_limit"),
        ("equal_height", {"left": "307 mm", "right": "300 mm"}, "beyond_limit"),
        ("equal_height", {"left": "300 mm", "right": "307 mm"}, "beyond_limit"),
        ("equal_height", {"left": "11 13/16 in", "right": "300 mm"}, "within_limit"),
        ("height_control_valve", {"pressure": "99 psi"}, "cannot_settle"),
        ("height_control_valve", {"pressure": "690 kPa"}, "within_limit"),
        ("height_control_valve", {"up": "no"}, "beyond_limit"),
        ("height_control_valve", {"height_after": "295 mm"}, "beyond_limit"),
        ("height_control_valve", {"rest": "14 min"}, "cannot_settle"),
        ("straddle_pin_holes", {"elongated": "yes"}, "beyond_limit"),
        ("straddle_pin_holes", {"longest": "22 mm", "shortest": "20 mm"}, "within_limit"),
        (
            "straddle_pin_holes",
            {"longest": "22 mm", "shortest": "20 mm", "maker_limit": "1 mm"},
            "beyond_limit",
        ),
        ("broken_part", {"makeshift": "yes"}, "beyond_limit"),
        ("air_spring", {"line": CANNOT_TELL}, "cannot_settle"),
    ],
)
def test_limits_decide(name, changes, verdict):
    assert outcome(name, **changes).verdict == verdict


def test_what_is_beyond_a_limit_stays_so_whatever_is_missing():
    found = outcome("air_spring", chafe="yes", line="", cracks="cannot tell")
    assert found.verdict == "beyond_limit"
    assert found.say == "Beyond the limit stated: rubber not chafed (found: yes)."


def test_the_outcome_names_figure_limit_and_source():
    first = outcome("rod_movement", movement="5 mm").judged[0]
    assert (first.found, first.bound) == ("5 mm", "at most 3.2 mm")
    assert first.source == "common practice, no source"
    maker = outcome("rod_movement", movement="5 mm", maker_limit="2 mm").judged[0]
    assert (maker.bound, maker.source) == ("at most 2 mm", "the maker's figure, as entered")


@given(st.floats(0, 1000), st.floats(0, 1000))
def test_more_movement_is_never_better(smaller, larger):
    smaller, larger = sorted((smaller, larger))
    order = {"within_limit": 0, "beyond_limit": 1}
    found = [outcome("rod_movement", movement=f"{mm:.6f} mm").verdict for mm in (smaller, larger)]
    assert order[found[0]] <= order[found[1]]


@given(st.floats(0.0, 12.0))
def test_the_unit_does_not_change_the_outcome(millimetres):
    check = CHECKS["rod_movement"]
    metric = {"movement": Measured(millimetres, "mm"), "knock": "no"}
    inch = {"movement": Measured(millimetres, "mm").to("in"), "knock": "no"}
    assert settle(check, metric).verdict == settle(check, inch).verdict


def test_answers_are_read_with_their_units_and_options():
    check = CHECKS["u_bolts"]
    answers = read_answers(check, {"centre_bolt": " In Place ", "thread": "7", "gaps": ""})
    assert answers == {"centre_bolt": "in place", "thread": Measured(7, "in")}


@pytest.mark.parametrize(
    ("texts", "message"),
    [
        ({"movement": "much"}, "Movement at the worse end: 'much' is no length"),
        ({"movement": "3 psi"}, "Movement at the worse end: '3 psi' is no length"),
        ({"knock": "perhaps"}, "Metal knocks on metal: 'perhaps' is none of yes, no, cannot tell"),
        ({"colour": "red"}, "there is no input 'colour'"),
    ],
)
def test_an_answer_that_is_none_is_refused(texts, message):
    with pytest.raises(ValueError, match=re.escape(message)):
        read_answers(CHECKS["rod_movement"], texts)


def test_a_record_says_who_and_when():
    check = CHECKS["rod_movement"]
    answers = read_answers(check, KEPT["rod_movement"])
    record = complete(check, answers, " mk ", NOW)
    assert (record.check, record.initials, record.at) == ("rod_movement", "mk", NOW)
    assert record.outcome == settle(check, answers)
    with pytest.raises(ValueError, match="initials are missing"):
        complete(check, answers, " ", NOW)
    with pytest.raises(ValueError, match="has no zone"):
        complete(check, answers, "mk", NOW.replace(tzinfo=None))


@pytest.mark.parametrize("sign", SIGNS)
def test_every_sign_has_a_check_that_settles_it_anywhere(sign):
    assert checks_for(CHECKS.values(), sign)


@pytest.mark.parametrize("cue", CUES)
def test_every_cue_has_a_check_that_settles_it_on_any_part(cue):
    assert checks_for(CHECKS.values(), cue, component="some bracket")


@pytest.mark.parametrize(
    ("finding", "expected"),
    [
        ({"sign": "rust_trail", "component": "Wheel nuts"}, ["fastener_torque"]),
        (
            {"sign": "rust_trail", "component": "Torque rod, rear"},
            ["rod_movement", "straddle_pin_holes", "fastener_torque"],
        ),
        ({"sign": "fluid_run", "component": "shock absorber"}, ["shock_leak", "shock_warmth"]),
        ({"sign": "chafe", "component": "air spring"}, ["air_spring", "air_loss"]),
        ({"sign": "missing_nut", "component": "repaired cover"}, ["broken_part"]),
    ],
)
def test_the_component_narrows_the_choice(finding, expected):
    assert [check.id for check in checks_for(CHECKS.values(), **finding)] == expected


def test_the_valve_test_has_its_waits():
    waits = [step.wait for step in CHECKS["height_control_valve"].steps if step.wait]
    assert waits == [15, 15, 900]
    assert [step.wait for step in CHECKS["air_loss"].steps if step.wait] == [300]


def test_every_check_cautions_and_chocks_or_forbids():
    for check in CHECKS.values():
        assert any(step.caution for step in check.steps), check.id


def test_no_check_calls_anything_safe():
    for check in CHECKS.values():
        texts = [*(s.say for s in check.steps), *(x.say for x in check.limits), check.when, check.title]
        assert not re.search(r"\bsafe", " ".join(texts)), check.id


def test_every_limit_names_its_source():
    for check in CHECKS.values():
        for limit in check.limits:
            assert re.search(
                r"CFR|AC 43|TM 5|Maryland|Quebec|maker's figure|common practice, no source", limit.source
            )


DEFINITION = """
[[check]]
id = "a"
title = "A"
when = "always"
[[check.step]]
say = "look"
[[check.input]]
id = "gap"
label = "Gap"
quantity = "length"
[[check.input]]
id = "loose"
label = "Loose"
[[check.limit]]
say = "gap small"
source = "common practice, no source"
input = "gap"
at_most = "1 mm"
"""


def test_a_definition_is_read_from_text():
    (check,) = load_checks(DEFINITION, "own.toml")
    assert check.limits[0].at_most == Measured(1, "mm")
    assert check.input("loose").options == ("yes", "no")
    assert dataclasses.asdict(check.steps[0]) == {"say": "look", "caution": "", "wait": None}


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ('at_most = "1 mm"', 'at_most = "1 psi"', "own.toml, check a: '1 psi' is no length"),
        ('at_most = "1 mm"', 'at_most = "1"', "unknown unit"),
        ('at_most = "1 mm"', 'at_most = "loose"', "loose is of another quantity"),
        ('at_most = "1 mm"', "", "give one of at_most, at_least, must_be"),
        ('at_most = "1 mm"', 'must_be = "no"', "must_be is for questions"),
        ('at_most = "1 mm"', 'at_most = 3', "own.toml, check a: "),
        ('input = "gap"', 'input = "gape"', "'gape' is missing or unknown"),
        ('source = "common practice, no source"', "", "'source' is missing or unknown"),
        ('source = "common practice, no source"', 'source = ""', "source is empty or no text"),
        ('quantity = "length"', 'quantity = "smell"', "'smell' is none of length"),
        ('quantity = "length"', 'quantity = "length"\nunits = ["psi"]', "psi does not measure length"),
        ('id = "loose"', 'id = "gap"', "two inputs have the same id"),
        ('when = "always"', 'when = "always"\ncues = ["smoke"]', "'smoke' is none of rust_trail"),
        ('when = "always"', 'when = "always"\nurgent = true', "'urgent' is unknown, the fields are"),
        ('say = "look"', 'say = "look"\nwait = "3 mm"', "'3 mm' is no time"),
        ('input = "gap"', 'input = "gap"\notherwise = "within_limit"', "otherwise is beyond_limit or"),
        ("[[check.step]]", "[[check.step", "own.toml: "),
        (DEFINITION, "", "holds no check"),
        (DEFINITION, DEFINITION * 2, "the id is taken by another check"),
    ],
)  # fmt: skip
def test_a_wrong_definition_is_refused_with_its_place(old, new, message):
    with pytest.raises(ValueError, match=re.escape(message)) as refused:
        load_checks(DEFINITION.replace(old, new, 1), "own.toml")
    assert str(refused.value).startswith("own.toml")
    assert "\n" not in str(refused.value)


def test_an_outcome_without_reasons_names_none():
    assert Outcome("cannot_settle", ()).say == Outcome("cannot_settle", ()).headline
