"""The torque worksheet: which of the maker's two values applies, and what a mix-up does.

Inside, lengths are millimetres, forces newtons, torques newton metres and stresses megapascals.
"""

from __future__ import annotations

import functools
import math
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from importlib import resources
from typing import Literal

from visual_aid.followup.units import Measured, convert, figure, quantity_of

System = Literal["inch", "metric"]
Friction = Literal["dry", "lubricated"]
Level = Literal["within", "over_75", "over_90"]

REUSED_SHARE, PERMANENT_SHARE = 0.75, 0.90
"""Shares of the proof load aimed at in joints that are taken apart again, and in those that are not.
Source: Shigley, Mechanical Engineering Design, 9th ed., Eqs. 8-31 and 8-32."""
LEAST_SHARE = 0.10
"""Share of the proof load under which a torque on its own thread is rather a slip of the pen or of the unit.
Common practice, no source."""
MOST_TIMES = 3.0
"""How many times the lubricated value a dry one can be: highest K of a dry thread over lowest K of a
lubricated one comes to 2.3 in ``joints.toml``. Common practice, no source."""
BEARING_RATIO = 1.25
"""Mean diameter of the bearing face over the thread's. Source: the same, sec. 8-8."""
_SECANT = 1 / math.cos(math.radians(30))  # of half the thread angle, in both systems
_KSI = 6.894757  # MPa; NIST SP 811 App. B
_INCH = 25.4
_LOOK_AGAIN = "check the figure, its unit, the thread and the grade."


@dataclass(frozen=True, slots=True)
class Thread:
    """A thread size; diameter and pitch in millimetres."""

    name: str
    system: System
    diameter: float
    pitch: float

    @property
    def stress_area(self) -> float:
        """Tensile stress area in mm². Sources: ASME B1.1 (inch), ISO 898-1:2013 9.1.6.1 (metric)."""
        return math.pi / 4 * (self.diameter - (0.9743 if self.system == "inch" else 0.9382) * self.pitch) ** 2

    @property
    def mean_diameter(self) -> float:
        """Mean of nominal and minor diameter. Source: Shigley 9th ed. sec. 8-8 and Tables 8-1, 8-2."""
        return self.diameter - (1.299038 if self.system == "inch" else 1.226869) * self.pitch / 2


@dataclass(frozen=True, slots=True)
class Strength:
    """A grade or class with its proof strength over ranges of the nominal diameter.

    ``proof`` holds (over, up to, MPa), diameters in millimetres.
    """

    grade: str
    system: System
    proof: tuple[tuple[float, float, float], ...]
    source: str

    def proof_strength(self, thread: Thread) -> float | None:
        """Give the proof strength in MPa, None where the standard has none for this size."""
        if thread.system != self.system:
            return None
        return next((mpa for over, up_to, mpa in self.proof if over < thread.diameter <= up_to), None)

    def proof_load(self, thread: Thread) -> float | None:
        """Give the proof load in newtons, None where the standard has none for this size."""
        strength = self.proof_strength(thread)
        return None if strength is None else strength * thread.stress_area


@dataclass(frozen=True, slots=True)
class NutFactor:
    """A span of K in T = K F d for one state of the thread.

    Raises
    ------
    ValueError
        The span is empty or not above zero.
    """

    id: str
    thread: Friction
    name: str
    low: float
    high: float
    source: str

    def __post_init__(self) -> None:
        if not 0 < self.low <= self.high < math.inf:
            raise ValueError(
                f"K from {self.low:g} to {self.high:g}: give the lower figure first, both over zero"
            )


@dataclass(frozen=True, slots=True)
class Condition:
    """How a thread is found, and which of the maker's values then applies, if either."""

    id: str
    name: str
    use: Friction | None
    say: str


@dataclass(frozen=True, slots=True)
class Joints:
    """The tables of the worksheet by name or id, as ``joints.toml`` holds them."""

    threads: Mapping[str, Thread]
    strengths: Mapping[str, Strength]
    nut_factors: Mapping[str, NutFactor]
    conditions: Mapping[str, Condition]
    rule_of_thumb: Mapping[Friction, tuple[float, float, float]]
    rule_of_thumb_note: str


@dataclass(frozen=True, slots=True)
class Split:
    """Where a torque goes: friction under head or nut, friction in the thread, tension; newton metres."""

    bearing: float
    thread: float
    tension: float

    @property
    def total(self) -> float:
        """The whole torque."""
        return self.bearing + self.thread + self.tension

    @property
    def shares(self) -> tuple[float, float, float]:
        """The three parts as shares of the whole."""
        return self.bearing / self.total, self.thread / self.total, self.tension / self.total


@dataclass(frozen=True, slots=True)
class Entry:
    """What the person enters.

    Attributes
    ----------
    dry, lubricated : Measured or None
        The maker's torques for this fastener; None where the maker gives none.
    strength : Strength or None
        None where head or nut show no grade.

    Raises
    ------
    ValueError
        A torque is no torque or not above zero, or a nut factor is for the other state of the thread.
    """

    thread: Thread
    strength: Strength | None
    condition: Condition
    dry: Measured | None
    lubricated: Measured | None
    dry_factor: NutFactor
    lubricated_factor: NutFactor

    def __post_init__(self) -> None:
        for name, torque in (("dry", self.dry), ("lubricated", self.lubricated)):
            if torque is not None and not (
                quantity_of(torque.unit) == "torque" and 0 < torque.value < math.inf
            ):
                raise ValueError(
                    f"the {name} value {torque} is no torque over zero: enter the maker's figure"
                )
        for factor, state in ((self.dry_factor, "dry"), (self.lubricated_factor, "lubricated")):
            if factor.thread != state:
                raise ValueError(f"K for {factor.name} is for a {factor.thread} thread, not a {state} one")

    def torque(self, value: Friction) -> Measured | None:
        """Give the maker's torque for that state of the thread."""
        return self.dry if value == "dry" else self.lubricated

    def factor(self, thread: Friction) -> NutFactor:
        """Give the nut factor for that state of the thread."""
        return self.dry_factor if thread == "dry" else self.lubricated_factor


@dataclass(frozen=True, slots=True)
class Pairing:
    """One of the maker's values applied to one state of the thread.

    Attributes
    ----------
    clamp : (float, float)
        Lowest and highest clamp force in newtons over the span of K.
    proof_share : (float, float) or None
        The same as shares of the proof load; None where the strength is not known.
    level : str
        Whether the highest share is over 75 or 90 % of the proof load.
    """

    value: Friction
    thread: Friction
    torque: Measured
    clamp: tuple[float, float]
    proof_share: tuple[float, float] | None
    level: Level

    @property
    def mixed_up(self) -> bool:
        """Whether value and thread do not belong together."""
        return self.value != self.thread


@dataclass(frozen=True, slots=True)
class TorqueShares:
    """Where the torque goes in one state of the thread: bearing face, thread, tension.

    ``low_k`` and ``high_k`` follow from the long form for this size, with the one friction for thread and
    bearing face that gives the ends of the span of K; ``rule_of_thumb`` is the usual saying.
    """

    thread: Friction
    rule_of_thumb: tuple[float, float, float]
    low_k: tuple[float, float, float]
    high_k: tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Worksheet:
    """What the entry comes to.

    Attributes
    ----------
    use : Measured or None
        The torque to use; None where neither value applies as the thread is found, or where the one that
        does is above the proof load even at the highest K.
    say : str
        Which value to use and what to do first.
    mix_up : tuple of str
        What happens if the two values are taken for each other.
    warnings : tuple of str
        What speaks against going on.
    """

    use: Measured | None
    say: str
    pairings: tuple[Pairing, ...]
    shares: tuple[TorqueShares, ...]
    mix_up: tuple[str, ...]
    warnings: tuple[str, ...]


@functools.cache
def joints() -> Joints:
    """Give the tables of threads, strengths, nut factors and conditions."""
    text = (resources.files("visual_aid.followup") / "joints.toml").read_text(encoding="utf-8")
    data = tomllib.loads(text)
    inch = [Thread(n, "inch", d * _INCH, _INCH / tpi) for n, d, tpi in data["inch"]["threads"]]
    metric = [Thread(n, "metric", float(d), float(p)) for n, d, p in data["metric"]["threads"]]
    strengths = []
    for row in data["strength"]:
        mm, mpa = (_INCH, _KSI) if row["system"] == "inch" else (1.0, 1.0)
        proof = tuple((over * mm, up_to * mm, value * mpa) for over, up_to, value in row["proof"])
        strengths.append(Strength(row["grade"], row["system"], proof, row["source"]))
    factors = [
        NutFactor(f["id"], f["thread"], f["name"], f["span"][0], f["span"][1], f["source"])
        for f in data["nut_factor"]
    ]
    conditions = [Condition(c["id"], c["name"], c.get("use"), c["say"]) for c in data["condition"]]
    thumb = data["rule_of_thumb"]
    return Joints(
        threads={t.name: t for t in (*inch, *metric)},
        strengths={s.grade: s for s in strengths},
        nut_factors={f.id: f for f in factors},
        conditions={c.id: c for c in conditions},
        rule_of_thumb={"dry": tuple(thumb["dry"]), "lubricated": tuple(thumb["lubricated"])},
        rule_of_thumb_note=thumb["note"],
    )


def clamp_force(torque: float, k: float, diameter: float) -> float:
    """Give the clamp force by the short form T = K F d (Shigley 9th ed. Eq. 8-27).

    Parameters
    ----------
    torque : float
        Newton metres.
    k : float
        Nut factor, over zero.
    diameter : float
        Nominal diameter in millimetres.

    Returns
    -------
    float
        Newtons.
    """
    return 1000 * torque / (k * diameter)


def long_form(
    force: float,
    thread: Thread,
    thread_friction: float,
    bearing_friction: float,
    mean_diameter: float | None = None,
) -> Split:
    """Give the torque for a clamp force and where it goes, by the long form (Shigley 9th ed. Eq. 8-26).

    Parameters
    ----------
    force : float
        Clamp force in newtons.
    thread_friction, bearing_friction : float
        Friction coefficients in the thread and under head or nut, from 0.
    mean_diameter : float, optional
        Mean of nominal and minor diameter in millimetres, by default the thread's own.
    """
    mean = thread.mean_diameter if mean_diameter is None else mean_diameter
    climb = math.tan(_lead_angle(thread, mean))
    rub = thread_friction * _SECANT
    turning = force * mean / 2 * (climb + rub) / (1 - climb * rub) / 1000
    tension = force * thread.pitch / (2 * math.pi) / 1000
    bearing = force * bearing_friction * BEARING_RATIO * thread.diameter / 2 / 1000
    return Split(bearing, turning - tension, tension)


def friction_for(k: float, thread: Thread) -> float:
    """Give the one friction of thread and bearing face at which the long form comes to a nut factor.

    Raises
    ------
    ValueError
        The nut factor is below that of a thread without friction.
    """
    mean = thread.mean_diameter
    climb = math.tan(_lead_angle(thread, mean))
    least = mean * climb / (2 * thread.diameter)
    if k < least:
        raise ValueError(f"K of {k:g} is below that of {thread.name} without any friction ({least:.3f})")
    # (mean/2d)(climb + f s)/(1 - climb f s) + f b = K, multiplied out, is a quadratic in f.
    half, b, s = mean / (2 * thread.diameter), BEARING_RATIO / 2, _SECANT
    square, linear, constant = -b * climb * s, b + half * s + k * climb * s, least - k
    return 2 * constant / (-linear - math.sqrt(linear**2 - 4 * square * constant))


def worksheet(entry: Entry) -> Worksheet:
    """Say which of the maker's values to use, and what each does on each state of the thread.

    Raises
    ------
    ValueError
        A nut factor is below that of this thread without any friction.
    """
    states: tuple[Friction, ...] = ("dry", "lubricated")
    pairings = tuple(
        _pairing(entry, value, torque, thread)
        for value in states
        if (torque := entry.torque(value)) is not None
        for thread in states
    )
    value = entry.condition.use
    too_much = any(
        p.value == p.thread == value and p.proof_share is not None and p.proof_share[0] > 1 for p in pairings
    )
    return Worksheet(
        use=None if value is None or too_much else entry.torque(value),
        say=f"The {value} value cannot be meant: {_LOOK_AGAIN}" if too_much else _advice(entry),
        pairings=pairings,
        shares=tuple(_shares(entry, thread) for thread in states),
        mix_up=_mix_up(entry),
        warnings=_warnings(entry, pairings),
    )


def _lead_angle(thread: Thread, mean_diameter: float) -> float:
    return math.atan(thread.pitch / (math.pi * mean_diameter))


def _pairing(entry: Entry, value: Friction, torque: Measured, thread: Friction) -> Pairing:
    factor, newton_metres = entry.factor(thread), convert(torque.value, torque.unit, "N m")
    low, high = (clamp_force(newton_metres, k, entry.thread.diameter) for k in (factor.high, factor.low))
    proof = None if entry.strength is None else entry.strength.proof_load(entry.thread)
    share = None if proof is None else (low / proof, high / proof)
    level: Level = "within"
    if share is not None and share[1] > PERMANENT_SHARE:
        level = "over_90"
    elif share is not None and share[1] > REUSED_SHARE:
        level = "over_75"
    return Pairing(value, thread, torque, (low, high), share, level)


def _shares(entry: Entry, thread: Friction) -> TorqueShares:
    def at(k: float) -> tuple[float, float, float]:
        friction = friction_for(k, entry.thread)
        return long_form(1.0, entry.thread, friction, friction).shares

    factor = entry.factor(thread)
    return TorqueShares(thread, joints().rule_of_thumb[thread], at(factor.low), at(factor.high))


def _advice(entry: Entry) -> str:
    value = entry.condition.use
    if value is None:
        return entry.condition.say
    use = entry.torque(value)
    if use is None:
        return (
            f"The thread is {entry.condition.name}, and the maker's {value} value is not entered. Look it "
            "up; do not work it out from the other value and do not use that one instead."
        )
    return f"{entry.condition.say} That is {use}, by a calibrated wrench."


def _ratio(entry: Entry) -> float | None:
    """Give the dry value over the lubricated one: on one and the same thread K drops out of it."""
    if entry.dry is None or entry.lubricated is None:
        return None
    return entry.dry.value / entry.lubricated.to(entry.dry.unit).value


def _mix_up(entry: Entry) -> tuple[str, ...]:
    ratio = _ratio(entry)
    if ratio is None:
        return ()
    return (
        f"The dry value on a lubricated thread clamps {figure(ratio)} times as hard as meant"
        + (": the bolt can be stretched or broken." if ratio > 1 else "."),
        f"The lubricated value on a dry thread clamps {figure(1 / ratio)} times as hard as meant"
        + (": the joint can work loose." if ratio > 1 else "."),
    )


def _warnings(entry: Entry, pairings: tuple[Pairing, ...]) -> tuple[str, ...]:
    warnings = []
    for p in pairings:
        if p.level == "within" or p.proof_share is None:
            continue
        share = f"{100 * p.proof_share[1]:.0f} % of the proof load"
        what = f"The {p.value} value on a {p.thread} thread reaches {share}"
        if p.level == "over_90":
            warnings.append(f"{what}, over 90 %: the bolt can be stretched for good.")
        else:
            warnings.append(f"{what}, over the 75 % meant for joints that are taken apart again.")
    for p in pairings:
        if p.mixed_up or p.proof_share is None:
            continue
        low, high = p.proof_share
        if high < LEAST_SHARE:
            share = f"{100 * high:.1g}" if high > 0.001 else "under 0.1"
            warnings.append(f"The {p.value} value reaches {share} % of the proof load: {_LOOK_AGAIN}")
        elif low > 1:
            warnings.append(f"The {p.value} value is above the proof load whatever K is: {_LOOK_AGAIN}")
    if (ratio := _ratio(entry)) is not None and ratio < 1:
        warnings.append("The dry value is below the lubricated one: check that they are not swapped.")
    elif ratio is not None and ratio > MOST_TIMES:
        warnings.append(
            f"The dry value is {figure(ratio)} times the lubricated one: check both figures and their units."
        )
    if entry.strength is None:
        warnings.append("Without a grade or class on the head there is no proof load to compare with.")
    elif entry.strength.proof_strength(entry.thread) is None:
        warnings.append(f"{entry.strength.grade} gives no proof load for {entry.thread.name}: check both.")
    return tuple(warnings)
