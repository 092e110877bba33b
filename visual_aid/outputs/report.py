"""What a visit's report is made of, and the words that its PDF and HTML forms share.

Everything here is plain: the records of the store and the page are turned into these by whoever asks for a
report, and ``report_pdf`` and ``report_html`` turn them into files.
"""

from __future__ import annotations

import datetime as dt
import itertools
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from visual_aid.followup.handchecks import VERDICT_WORDS, CheckRecord
from visual_aid.followup.intervals import Due
from visual_aid.followup.units import Measured
from visual_aid.model import Box, Outline
from visual_aid.outputs.wording import counted, day, moment
from visual_aid.records.entries import SIDES, Side

QUIET_NOTE = "Nothing was confirmed on these photos. That proves no joint tight."
OTHER_CHECKS = "Hand checks apart from findings"
OTHER_SHOTS = "Other shots of the same views"
NO_CHECK = "No hand check recorded."


@dataclass(frozen=True, slots=True)
class Place:
    """Where on the unit; axles count from 1 at the front."""

    axle: int | None = None
    side: Side | None = None
    component: str = ""

    def __str__(self) -> str:
        where = " ".join(w for w in (f"axle {self.axle}" if self.axle else "", self.side or "") if w)
        words = ", ".join(w for w in (where, self.component) if w)
        return words[:1].upper() + words[1:] if words else "Position not given"

    @property
    def order(self) -> tuple[bool, int, int, str]:
        """Sorts places from the front axle back, left before right, those not given last."""
        side = SIDES.index(self.side) if self.side else len(SIDES)
        return self == Place(), self.axle or 0, side, self.component


@dataclass(frozen=True, slots=True)
class ReportPhoto:
    """A photo of the visit.

    Attributes
    ----------
    taken : str or None
        Camera time, ISO 8601.
    pixels : callable
        Gives the full-size upright sRGB pixels, ndarray of shape (H, W, 3), uint8; may raise ``OSError``
        or ``PhotoError``, and the report then says so in the picture's place. Called once a report.
    small : callable, optional
        Gives them shrunk, where that costs less: enough for a photo on which nothing was found.
    """

    name: str
    place: Place
    taken: str | None
    pixels: Callable[[], NDArray[np.uint8]]
    small: Callable[[], NDArray[np.uint8]] | None = None


@dataclass(frozen=True, slots=True)
class ReportFinding:
    """A confirmed candidate or a person's own mark.

    Attributes
    ----------
    label, colour : str
        The kind in plain words, and the colour (``#rrggbb``) of its marker.
    box, outline : tuple
        In pixels of the full upright photo; an outline of fewer than three points is left out.
    score : float or None
        The engine's probability; None for a person's own mark.
    decision, by, at, note
        What was decided, by whom, when (with a time zone) and with which remark.
    follow_up : str
        What is to be done; empty if nothing was noted.
    """

    photo: ReportPhoto
    label: str
    colour: str
    box: Box
    outline: Outline
    reason: str
    score: float | None
    decision: str
    by: str
    at: dt.datetime
    note: str = ""
    checks: tuple[CheckRecord, ...] = ()
    follow_up: str = ""

    @property
    def decided(self) -> str:
        """The decision in one line."""
        line = f"{self.decision} by {self.by}, {moment(self.at)}."
        return f"{line} Note: {self.note}" if self.note else line

    @property
    def why(self) -> str:
        """The reason, with whose it is."""
        if self.score is None:
            return f"Marked by hand. {_capital(self.reason)}".strip()
        return f"{_capital(self.reason)} (score {self.score:.2f})"


@dataclass(frozen=True, slots=True)
class Remark:
    """A photo that is in the report for what is said of it."""

    photo: ReportPhoto
    say: str


@dataclass(frozen=True, slots=True)
class Report:
    """One visit of one unit.

    Attributes
    ----------
    quiet : tuple of Remark
        What was photographed and found quiet.
    not_judged : tuple of Remark
        What could not be judged, or was not, and why.
    other_shots : tuple of Remark
        Shots that nobody was asked about, each with the shot of the same view that stands for it.
    due : tuple of Due
        What is due on the unit.
    made_at : datetime
        When the report is made, with a time zone.
    engine : str
        Version of the program.
    checks : tuple of CheckRecord
        Hand checks apart from the findings: of no mark, or of one that was not confirmed in the end.
    """

    unit: str
    date: dt.date
    odometer: Measured | None
    inspector: str
    findings: tuple[ReportFinding, ...]
    quiet: tuple[Remark, ...]
    not_judged: tuple[Remark, ...]
    due: tuple[Due, ...]
    made_at: dt.datetime
    engine: str
    checks: tuple[CheckRecord, ...] = ()
    other_shots: tuple[Remark, ...] = ()

    @property
    def title(self) -> str:
        """What the report is called."""
        return f"Visit report: unit {self.unit}, {day(self.date)}"

    @property
    def facts(self) -> tuple[tuple[str, str], ...]:
        """Names and values of what stands at the head."""
        photos = [finding.photo for finding in self.findings]
        photos += [remark.photo for remark in (*self.quiet, *self.not_judged, *self.other_shots)]
        return (
            ("Unit", self.unit),
            ("Visit", day(self.date)),
            ("Odometer", "not noted" if self.odometer is None else str(self.odometer)),
            ("Inspector", self.inspector),
            ("Photos", str(len({id(photo) for photo in photos}))),
            ("Report made", f"{moment(self.made_at)}, visual-aid {self.engine}"),
        )

    @property
    def summary(self) -> tuple[str, ...]:
        """The outcome in a few lines."""
        unchecked = sum(not finding.checks for finding in self.findings)
        lines = [counted(len(self.findings), "finding")]
        checks = [*self.checks, *(check for finding in self.findings for check in finding.checks)]
        verdicts = [check.outcome.verdict for check in checks]
        for verdict, words in VERDICT_WORDS.items():
            if verdict in verdicts:
                lines.append(f"{counted(verdicts.count(verdict), 'hand check')}: {words.lower()}")
        if unchecked:
            lines.append(f"{counted(unchecked, 'finding')} without a hand check yet")
        lines.append(f"{counted(len(self.quiet), 'photo')} found quiet")
        lines.append(f"{counted(len(self.not_judged), 'photo')} not judged or not decided")
        if self.other_shots:
            lines.append(counted(len(self.other_shots), "other shot of the same views", OTHER_SHOTS.lower()))
        overdue = sum(due.overdue for due in self.due)
        if overdue:
            lines.append(f"{counted(overdue, 'duty', 'duties')} overdue")
        return tuple(lines)

    @property
    def in_order(self) -> tuple[ReportFinding, ...]:
        """Findings from the front of the unit to its back: the first is number 1."""
        return tuple(sorted(self.findings, key=lambda finding: finding.photo.place.order))

    @property
    def by_place(self) -> tuple[tuple[Place, tuple[tuple[int, ReportFinding], ...]], ...]:
        """Places from front to back, each with its findings and their numbers."""
        numbered = enumerate(self.in_order, 1)
        groups = itertools.groupby(numbered, key=lambda pair: pair[1].photo.place)
        return tuple((place, tuple(group)) for place, group in groups)


def check_lines(record: CheckRecord) -> tuple[str, ...]:
    """Say what a hand check found, limit by limit with its source, and who did it."""
    lines = [f"{record.title}: {record.outcome.say} {record.initials}, {moment(record.at)}."]
    for judged in record.outcome.judged:
        limit = f" (has to be {judged.bound})" if judged.bound else ""
        lines.append(
            f"{_capital(judged.say)}. Found: {judged.found}{limit}. "
            f"{VERDICT_WORDS[judged.verdict]}. Source: {judged.source}."
        )
    if record.note:
        lines.append(record.note)
    return tuple(lines)


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
