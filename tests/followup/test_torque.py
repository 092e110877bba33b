"""The torque worksheet against published tables and worked examples."""

import dataclasses
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from visual_aid.followup.torque import (
    Entry,
    NutFactor,
    clamp_force,
    friction_for,
    joints,
    long_form,
    worksheet,
)
from visual_aid.followup.units import Measured, convert

JOINTS = joints()
THREADS, STRENGTHS, FACTORS = JOINTS.threads, JOINTS.strengths, JOINTS.nut_factors
LBF = 4.448222  # newtons; NIST SP 811 App. B
LBF_IN = 0.1129848  # newton metres; the same
IN2 = 25.4**2

# Shigley, Mechanical Engineering Design, 9th ed., Table 8-2 (from ANSI B1.1): square inches.
UNIFIED_AREAS = {
    "1/4-20 UNC": 0.0318, "5/16-18 UNC": 0.0524, "3/8-16 UNC": 0.0775, "7/16-14 UNC": 0.1063,
    "1/2-13 UNC": 0.1419, "9/16-12 UNC": 0.182, "5/8-11 UNC": 0.226, "3/4-10 UNC": 0.334,
    "7/8-9 UNC": 0.462, "1-8 UNC": 0.606, "1-1/4-7 UNC": 0.969, "1-1/2-6 UNC": 1.405,
    "1/4-28 UNF": 0.0364, "5/16-24 UNF": 0.0580, "3/8-24 UNF": 0.0878, "7/16-20 UNF": 0.1187,
    "1/2-20 UNF": 0.1599, "9/16-18 UNF": 0.203, "5/8-18 UNF": 0.256, "3/4-16 UNF": 0.373,
    "7/8-14 UNF": 0.509, "1-12 UNF": 0.663, "1-1/4-12 UNF": 1.073, "1-1/2-12 UNF": 1.581,
}  # fmt: skip
# ISO 898-1:2013 Tables 4 and 6: nominal stress areas in square millimetres.
METRIC_AREAS = {
    "M6": 20.1, "M8": 36.6, "M10": 58.0, "M12": 84.3, "M14": 115, "M16": 157, "M18": 192, "M20": 245,
    "M22": 303, "M24": 353, "M27": 459, "M30": 561, "M33": 694, "M36": 817, "M8x1": 39.2, "M10x1": 64.5,
    "M10x1.25": 61.2, "M12x1.25": 92.1, "M12x1.5": 88.1, "M14x1.5": 125, "M16x1.5": 167, "M18x1.5": 216,
    "M20x1.5": 272, "M22x1.5": 333, "M24x2": 384, "M27x2": 496, "M30x2": 621, "M33x2": 761, "M36x3": 865,
}  # fmt: skip
# ISO 898-1:2013 Table 4: proof loads in newtons of classes 8.8, 10.9 and 12.9.
PROOF_LOADS = {
    "M8": (21200, 30400, 35500), "M10": (33700, 48100, 56300), "M12": (48900, 70000, 81800),
    "M14": (66700, 95500, 112000), "M16": (91000, 130000, 152000), "M18": (115000, 159000, 186000),
    "M20": (147000, 203000, 238000), "M22": (182000, 252000, 294000), "M24": (212000, 293000, 342000),
    "M27": (275000, 381000, 445000), "M30": (337000, 466000, 544000), "M33": (416000, 576000, 673000),
    "M36": (490000, 678000, 792000),
}  # fmt: skip
# US Army TM 5-3895-367-14&P App. H Table H-1: dry torque in whole lbf ft; the column fits SAE grade 5.
# The smallest three sizes are left out: whole lbf ft are too coarse there (2 to 6 %).
DRY_TORQUES = {
    "5/16-24 UNF": 19, "3/8-16 UNC": 31, "3/8-24 UNF": 35, "7/16-14 UNC": 49, "7/16-20 UNF": 55,
    "1/2-13 UNC": 75, "1/2-20 UNF": 85, "9/16-12 UNC": 110, "9/16-18 UNF": 120, "5/8-11 UNC": 150,
    "5/8-18 UNF": 170, "3/4-10 UNC": 270, "3/4-16 UNF": 295,
}  # fmt: skip


def entry(**changes):
    plain = Entry(
        thread=THREADS["3/4-16 UNF"],
        strength=STRENGTHS["SAE grade 8"],
        condition=JOINTS.conditions["clean_dry"],
        dry=Measured(300, "lbf ft"),
        lubricated=Measured(225, "lbf ft"),
        dry_factor=FACTORS["plain_dry"],
        lubricated_factor=FACTORS["lubricated"],
    )
    return dataclasses.replace(plain, **changes)


@pytest.mark.parametrize("name", UNIFIED_AREAS)
def test_inch_stress_areas_are_those_of_the_handbook(name):
    assert THREADS[name].stress_area / IN2 == pytest.approx(UNIFIED_AREAS[name], rel=0.002)


@pytest.mark.parametrize("name", METRIC_AREAS)
def test_metric_stress_areas_are_those_of_the_standard(name):
    assert THREADS[name].stress_area == pytest.approx(METRIC_AREAS[name], rel=0.004)


@pytest.mark.parametrize("name", PROOF_LOADS)
@pytest.mark.parametrize("column", [0, 1, 2])
def test_proof_loads_are_those_of_the_standard_as_far_as_it_rounds(name, column):
    strength = STRENGTHS[("ISO class 8.8", "ISO class 10.9", "ISO class 12.9")[column]]
    assert strength.proof_load(THREADS[name]) == pytest.approx(PROOF_LOADS[name][column], rel=0.005)


@pytest.mark.parametrize(
    ("grade", "size", "ksi"),
    [  # Shigley 9th ed. Table 8-9
        ("SAE grade 2", "3/4-10 UNC", 55),
        ("SAE grade 2", "7/8-9 UNC", 33),
        ("SAE grade 5", "1-8 UNC", 85),
        ("SAE grade 5", "1-1/8-7 UNC", 74),
        ("SAE grade 8", "1-1/2-6 UNC", 120),
    ],
)
def test_proof_strength_follows_the_size(grade, size, ksi):
    assert STRENGTHS[grade].proof_strength(THREADS[size]) == pytest.approx(ksi * 6.894757)


def test_a_grade_says_nothing_of_sizes_and_systems_it_does_not_cover():
    assert STRENGTHS["SAE grade 8.2"].proof_strength(THREADS["1-1/8-7 UNC"]) is None
    assert STRENGTHS["ISO class 9.8"].proof_load(THREADS["M18"]) is None
    assert STRENGTHS["SAE grade 5"].proof_load(THREADS["M12"]) is None


def test_short_form_of_the_handbook_example():
    # Shigley 9th ed. Example 8-3(b): K = 0.2, 25 kip, 3/4 in give 3750 lbf in.
    assert clamp_force(3750 * LBF_IN, 0.2, 0.75 * 25.4) / LBF == pytest.approx(25000, rel=1e-5)


def test_long_form_of_the_handbook_example():
    # Shigley 9th ed. Example 8-3(c): 3/4-16 UNF, friction 0.15, 25 kip; printed 3551 lbf in.
    thread, force = THREADS["3/4-16 UNF"], 25000 * LBF
    printed_mean = 0.7093 * 25.4
    assert long_form(force, thread, 0.15, 0.15, printed_mean).total / LBF_IN == pytest.approx(3551, abs=0.5)
    own = long_form(force, thread, 0.15, 0.15)
    assert own.total / LBF_IN == pytest.approx(3551, abs=1)
    # Derived from the printed figures, not printed: 1757.8, 1544.3 and 248.7 lbf in.
    assert own.shares == pytest.approx((0.495, 0.435, 0.070), abs=0.0005)
    assert own.total / (force * thread.diameter / 1000) == pytest.approx(0.1894, abs=0.0001)


@pytest.mark.parametrize("name", DRY_TORQUES)
def test_a_published_dry_table_clamps_to_three_quarters_of_the_proof_load(name):
    force = clamp_force(convert(DRY_TORQUES[name], "lbf ft", "N m"), 0.20, THREADS[name].diameter)
    assert force / STRENGTHS["SAE grade 5"].proof_load(THREADS[name]) == pytest.approx(0.75, rel=0.016)


def test_preload_of_the_metric_handbook_example():
    # Solutions manual to Shigley, ch. 8, problem 8-37: M30 class 8.8, 0.75 of the proof load is 252.45 kN.
    proof = STRENGTHS["ISO class 8.8"].proof_load(THREADS["M30"])
    assert 0.75 * proof / 1000 == pytest.approx(252.45, rel=0.001)


@given(st.sampled_from(sorted(THREADS)), st.floats(1e-6, 1.0))
def test_friction_is_found_back_from_the_nut_factor_it_gives(name, friction):
    thread = THREADS[name]
    k = long_form(1000.0, thread, friction, friction).total / thread.diameter
    assert friction_for(k, thread) == pytest.approx(friction, abs=1e-9)


@given(st.sampled_from(sorted(THREADS)), st.floats(0.05, 0.5))
def test_tension_takes_the_pitch_s_share_whatever_the_friction(name, k):
    # Work of one turn: 2 pi T goes in, F times the pitch into tension (Motosh's form, from memory).
    thread = THREADS[name]
    friction = friction_for(k, thread)
    shares = long_form(1.0, thread, friction, friction).shares
    assert sum(shares) == pytest.approx(1)
    assert shares[2] == pytest.approx(thread.pitch / (2 * math.pi * k * thread.diameter))


def test_a_nut_factor_below_that_of_no_friction_is_refused():
    with pytest.raises(
        ValueError, match=r"K of 0.01 is below that of 3/4-16 UNF without any friction \(0.013\)"
    ):
        worksheet(entry(dry_factor=NutFactor("own", "dry", "own", 0.01, 0.2, "entered by hand")))


@pytest.mark.parametrize(
    ("condition", "expected"),
    [
        ("clean_dry", Measured(300, "lbf ft")),
        ("clean_lubricated", Measured(225, "lbf ft")),
        ("unknown_lubricant", None),
        ("rusty_or_painted", None),
        ("locking", None),
        ("damaged", None),
    ],
)
def test_the_condition_found_says_which_value_to_use(condition, expected):
    sheet = worksheet(entry(condition=JOINTS.conditions[condition]))
    assert sheet.use == expected
    assert (str(expected) in sheet.say) == (expected is not None)


def test_a_value_that_the_maker_does_not_give_is_not_made_up():
    sheet = worksheet(entry(condition=JOINTS.conditions["clean_lubricated"], lubricated=None))
    assert sheet.use is None
    assert "the maker's lubricated value is not entered" in sheet.say
    assert sheet.mix_up == ()
    assert {p.value for p in sheet.pairings} == {"dry"}


def test_a_mix_up_changes_the_clamp_force_by_the_ratio_of_the_values():
    sheet = worksheet(entry())
    clamp = {(p.value, p.thread): p.clamp for p in sheet.pairings}
    for i in (0, 1):
        assert clamp["dry", "lubricated"][i] / clamp["lubricated", "lubricated"][i] == pytest.approx(
            300 / 225
        )
        assert clamp["lubricated", "dry"][i] / clamp["dry", "dry"][i] == pytest.approx(225 / 300)
    assert "1.33 times" in sheet.mix_up[0]
    assert "0.75 times" in sheet.mix_up[1]


def test_units_of_the_two_values_may_differ():
    sheet = worksheet(entry(lubricated=Measured(225 * 1.355818, "N m")))
    assert sheet.mix_up == worksheet(entry()).mix_up


def dry_value_at(share):
    """Entry whose dry value on a dry thread reaches exactly this share of the proof load at the lowest K."""
    plain = entry()
    force = share * plain.strength.proof_load(plain.thread)
    torque = force * plain.dry_factor.low * plain.thread.diameter / 1000
    return entry(dry=Measured(torque, "N m"), lubricated=None)


@pytest.mark.parametrize(
    ("share", "level"),
    [(0.5, "within"), (0.749, "within"), (0.751, "over_75"), (0.899, "over_75"), (0.901, "over_90")],
)
def test_it_warns_above_three_quarters_and_above_nine_tenths_of_the_proof_load(share, level):
    sheet = worksheet(dry_value_at(share))
    (dry,) = (p for p in sheet.pairings if p.thread == "dry")
    assert dry.level == level
    assert dry.proof_share[1] == pytest.approx(share)
    warned = [w for w in sheet.warnings if "on a dry thread" in w]
    assert bool(warned) == (level != "within")


def test_it_says_when_there_is_no_proof_load_to_compare_with():
    assert "Without a grade" in worksheet(entry(strength=None)).warnings[-1]
    other = worksheet(entry(strength=STRENGTHS["ISO class 8.8"]))
    assert "gives no proof load for 3/4-16 UNF" in other.warnings[-1]
    assert {p.proof_share for p in other.pairings} == {None}


def test_it_warns_of_swapped_values():
    swapped = worksheet(entry(dry=Measured(200, "lbf ft")))
    assert any("swapped" in warning for warning in swapped.warnings)


@pytest.mark.parametrize(
    ("unit", "dry", "said"),
    [
        ("lbf ft", 300.0, ""),
        ("N m", 1.2, "dry value reaches 0.2 % of the proof load"),  # 1.200 where a point parts thousands
        ("lbf in", 300.0, "dry value reaches 4 % of the proof load"),
        ("lbf ft", 3000.0, "dry value is above the proof load whatever K is"),
    ],
)
def test_it_warns_of_a_slip_of_the_pen_or_of_the_unit(unit, dry, said):
    sheet = worksheet(entry(dry=Measured(dry, unit), lubricated=None))
    slips = [w for w in sheet.warnings if "check the figure, its unit" in w]
    assert len(slips) == bool(said)
    assert all(said in w for w in slips)
    assert (sheet.use is None) == ("above the proof load" in said)
    assert ("cannot be meant" in sheet.say) == ("above the proof load" in said)


def test_it_warns_where_one_of_the_two_values_has_another_unit_s_figure():
    mixed = worksheet(entry(dry=Measured(300, "lbf ft"), lubricated=Measured(225, "lbf in")))
    assert any("16 times the lubricated one: check both figures and their units" in w for w in mixed.warnings)


def test_nothing_that_can_be_typed_ends_in_a_figure_of_no_meaning():
    far = worksheet(entry(dry=Measured(999_999_999, "lbf in"), lubricated=Measured(1e-9, "lbf in")))
    assert "clamps 0.00 times" not in far.mix_up[1]
    assert any("reaches under 0.1 % of the proof load" in w for w in far.warnings)


@pytest.mark.parametrize("torque", [Measured(0, "N m"), Measured(3, "psi"), Measured(math.inf, "N m")])
def test_a_torque_that_is_none_is_refused(torque):
    with pytest.raises(ValueError, match=r"the dry value .* is no torque over zero"):
        entry(dry=torque)


def test_nut_factors_stay_with_their_state_of_the_thread():
    with pytest.raises(ValueError, match="is for a lubricated thread, not a dry one"):
        entry(dry_factor=FACTORS["lubricated"])
    with pytest.raises(ValueError, match="lower figure first"):
        NutFactor("own", "dry", "own", 0.3, 0.2, "")


def test_every_span_and_strength_names_its_source():
    for row in (*FACTORS.values(), *STRENGTHS.values()):
        assert len(row.source) > 10


def test_without_the_maker_s_values_there_is_nothing_to_use():
    sheet = worksheet(entry(dry=None, lubricated=None))
    assert (sheet.use, sheet.pairings) == (None, ())
