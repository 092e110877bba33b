"""When what is due again: by date, by odometer, and the overdue first."""

from __future__ import annotations

import calendar
import datetime as dt
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Literal, get_args

from visual_aid.followup.units import Measured, figure, quantity_of

Duty = Literal["walkaround", "shop_inspection", "yearly_retorque", "break_in_retorque"]
DUTIES: tuple[Duty, ...] = get_args(Duty)

DUTY_TITLE: Mapping[Duty, str] = MappingProxyType(
    {
        "walkaround": "Walkaround",
        "shop_inspection": "Detailed shop inspection",
        "yearly_retorque": "Torque check of all joints",
        "break_in_retorque": "Torque check after break-in",
    }
)


@dataclass(frozen=True, slots=True)
class Interval:
    """How long a duty waits; where several figures are given, whichever comes first.

    Raises
    ------
    ValueError
        No figure is given, one is not above zero, or the distance is none.
    """

    source: str
    days: int = 0
    months: int = 0
    distance: Measured | None = None

    def __post_init__(self) -> None:
        if self.days < 0 or self.months < 0 or not (self.days or self.months or self.distance):
            raise ValueError("an interval needs days, months or a distance over zero")
        if self.distance and (quantity_of(self.distance.unit) != "distance" or self.distance.value <= 0):
            raise ValueError(f"{self.distance} is no distance over zero: use mi or km")

    def due_date(self, since: dt.date) -> dt.date | None:
        """Give the day on which it is due; None for an interval of distance alone."""
        dates = []
        if self.days:
            dates.append(since + dt.timedelta(days=self.days))
        if self.months:
            dates.append(_months_later(since, self.months))
        return min(dates, default=None)


USUAL: Mapping[Duty, Interval] = MappingProxyType(
    {
        "walkaround": Interval("common practice, no source", days=1),
        "shop_inspection": Interval(
            "common practice, no source; 49 CFR 396.17 asks for every 12 months", months=6
        ),
        "yearly_retorque": Interval("common practice, no source", months=12),
        "break_in_retorque": Interval("common practice, no source", distance=Measured(500, "mi")),
    }
)
"""Intervals that hold where the maker's schedule for the unit says nothing else."""


@dataclass(frozen=True, slots=True)
class Reading:
    """The odometer on a day."""

    date: dt.date
    odometer: Measured


@dataclass(frozen=True, slots=True)
class Joint:
    """A joint that is new or was disturbed, and when; its odometer then is None if nobody noted it."""

    name: str
    date: dt.date
    odometer: Measured | None = None


@dataclass(frozen=True, slots=True)
class Done:
    """A duty that was carried out; ``joint`` names the one of a torque check after break-in."""

    duty: Duty
    date: dt.date
    odometer: Measured | None = None
    joint: str = ""


@dataclass(frozen=True, slots=True)
class UnitLog:
    """What is known of one unit.

    ``schedule`` holds the maker's intervals, which go before the usual ones.
    """

    unit: str
    readings: tuple[Reading, ...] = ()
    joints: tuple[Joint, ...] = ()
    done: tuple[Done, ...] = ()
    schedule: Mapping[Duty, Interval] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Due:
    """One duty that waits.

    Attributes
    ----------
    since : date or None
        The day it was last done, or of the work on the joint; None without a record.
    date : date or None
        The day on which it is due; today where there is no record to count from.
    odometer, odometer_now : Measured or None
        Where it is due by distance, and the last reading.
    expected : date or None
        The day on which the unit will come to that odometer, or did, at the distance it has made a day so
        far; None where the readings do not tell.
    today : date
        The day for which this was worked out.
    """

    unit: str
    duty: Duty
    joint: str
    since: dt.date | None
    date: dt.date | None
    odometer: Measured | None
    odometer_now: Measured | None
    expected: dt.date | None
    today: dt.date
    source: str

    @property
    def title(self) -> str:
        """The duty in words, with its joint."""
        return f"{DUTY_TITLE[self.duty]}: {self.joint}" if self.joint else DUTY_TITLE[self.duty]

    @property
    def counted_from(self) -> str:
        """What happened on the day ``since``, in words."""
        return "Joint worked on" if self.joint else "Last done"

    @property
    def days_left(self) -> int | None:
        """Days until the date, negative once it has passed."""
        return None if self.date is None else (self.date - self.today).days

    @property
    def distance_left(self) -> Measured | None:
        """Distance until the odometer, in its unit, negative once it has been passed."""
        if self.odometer is None or self.odometer_now is None:
            return None
        now = self.odometer_now.to(self.odometer.unit)
        return Measured(self.odometer.value - now.value, now.unit)

    @property
    def overdue(self) -> bool:
        """Whether date or odometer has been passed."""
        days, distance = self.days_left, self.distance_left
        return (days is not None and days < 0) or (distance is not None and distance.value < 0)

    @property
    def by(self) -> dt.date:
        """The day to plan for: date or expected day, whichever is earlier; today where neither is known."""
        return min((day for day in (self.date, self.expected) if day is not None), default=self.today)

    @property
    def say(self) -> str:
        """How it stands, in words."""
        parts = []
        if self.since is None:
            parts.append("no record yet, due today")
        elif self.days_left is not None:
            parts.append(_days(self.days_left))
        left = self.distance_left
        if left is not None:
            amount = f"{figure(round(abs(left.value)))} {left.unit}"
            parts.append(f"{amount} overdue" if left.value < 0 else f"in {amount}")
        elif self.odometer is not None:
            parts.append(f"at {figure(round(self.odometer.value))} {self.odometer.unit}")
        return ", ".join(parts)


def due_list(logs: Iterable[UnitLog], today: dt.date) -> tuple[Due, ...]:
    """Give everything that waits, the overdue first, then by the day to plan for."""
    found = [due for log in logs for due in _of_unit(log, today)]
    return tuple(sorted(found, key=lambda d: (not d.overdue, d.by, d.unit, d.title)))


def _of_unit(log: UnitLog, today: dt.date) -> Iterator[Due]:
    intervals = {**USUAL, **log.schedule}
    for duty in DUTIES:
        if duty != "break_in_retorque":
            last = max((d for d in log.done if d.duty == duty), key=lambda d: d.date, default=None)
            yield _due(log, duty, "", last, intervals[duty], today)
    for joint in log.joints:
        checks = (d for d in log.done if d.duty == "break_in_retorque" and d.joint == joint.name)
        if not any(d.date >= joint.date for d in checks):
            yield _due(log, "break_in_retorque", joint.name, joint, intervals["break_in_retorque"], today)


def _due(
    log: UnitLog, duty: Duty, joint: str, last: Done | Joint | None, interval: Interval, today: dt.date
) -> Due:
    readings = sorted(log.readings, key=lambda r: (r.date, r.odometer.to("km").value))
    now = readings[-1].odometer if readings else None
    date = None if last is None else interval.due_date(last.date)
    odometer = None
    if last is not None and last.odometer is not None and interval.distance is not None:
        start = last.odometer.to(interval.distance.unit)
        odometer = Measured(start.value + interval.distance.value, start.unit)
    if date is None and odometer is None:
        date = today  # without a record to count from it cannot wait
    return Due(
        unit=log.unit,
        duty=duty,
        joint=joint,
        since=None if last is None else last.date,
        date=date,
        odometer=odometer,
        odometer_now=now,
        expected=None if odometer is None else _expected(readings, odometer),
        today=today,
        source=interval.source,
    )


def _expected(readings: list[Reading], odometer: Measured) -> dt.date | None:
    """Give the day on which the unit comes to an odometer at its mean distance a day."""
    if len(readings) < 2:
        return None
    first, last = readings[0], readings[-1]
    days = (last.date - first.date).days
    made = last.odometer.to(odometer.unit).value - first.odometer.to(odometer.unit).value
    if days == 0 or made <= 0:
        return None
    left = odometer.value - last.odometer.to(odometer.unit).value
    try:
        return last.date + dt.timedelta(days=round(left * days / made))
    except OverflowError:
        return None


def _months_later(date: dt.date, months: int) -> dt.date:
    """Give the same day of a later month, or that month's last day where it is shorter."""
    year, month = divmod(date.year * 12 + date.month - 1 + months, 12)
    return dt.date(year, month + 1, min(date.day, calendar.monthrange(year, month + 1)[1]))


def _days(left: int) -> str:
    if left == 0:
        return "due today"
    amount = f"{abs(left)} day{'' if abs(left) == 1 else 's'}"
    return f"{amount} overdue" if left < 0 else f"in {amount}"
