"""How counts, days and moments are written and what is always said, the same on the page and in reports."""

from __future__ import annotations

import datetime as dt

CAUTION = "Evidence to check by hand. A photo never proves a joint tight."
REPORT_CAUTION = (
    "Evidence to check by hand. A photo never proves a joint tight: what is not reported here may be loose "
    "all the same. Local rules, the maker's instructions and licensed practice go first."
)


def counted(count: int, one: str, many: str = "") -> str:
    """Write so many of something; without ``many`` the plural ends in s.

    >>> counted(1, "mark"), counted(2, "mark"), counted(2, "duty", "duties")
    ('1 mark', '2 marks', '2 duties')
    """
    return f"{count} {one if count == 1 else many or f'{one}s'}"


def day(date: dt.date) -> str:
    """Write a date.

    >>> day(dt.date(2026, 5, 4))
    '4 May 2026'
    """
    return f"{date.day} {date:%b %Y}"


def moment(at: dt.datetime) -> str:
    """Write a time in its own zone."""
    return f"{day(at)}, {at:%H:%M} {at.tzname() or ''}".strip()


def local(at: dt.datetime) -> str:
    """Write a time as the clock of this machine shows it, for whoever sits at it."""
    at = at.astimezone()
    return f"{day(at)}, {at:%H:%M}"
