"""The work of the ``demo`` command: sample photos as one invented visit, ready to be decided on."""

from __future__ import annotations

import datetime as dt
import re
from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING, cast

from rich.console import Console
from rich.text import Text

from visual_aid.backlog.sources import photo_files
from visual_aid.cli.screen import Outputs, complain, screen_photos
from visual_aid.cli.store import open_store
from visual_aid.followup.intervals import Done, Joint
from visual_aid.followup.logged import done_body, joint_body
from visual_aid.followup.units import Measured
from visual_aid.records.entries import Position, Side, Visit

if TYPE_CHECKING:
    from visual_aid.model import Screening
    from visual_aid.records.store import Store

UNIT = "7 (demo)"
INSPECTOR = "demo data"
"""Signs whatever the demo writes down, so that it is not taken for anybody's work."""
ODOMETER = Measured(182_340, "mi")

PLACE = re.compile(r"_(?:axle(?P<axle>[1-9])|frame)_(?P<side>left|right|centre)_(?P<part>[a-z_]+)")
"""Where a sample was taken, as its file's name says."""
FRAME_AXLE = 2
"""The axle that parts of the frame are sorted to."""
STATES = ("_dark", "_moved")
"""Ends of names that tell what is wrong with the photo, not where it was taken."""


def show_samples(samples: Path, store: Path, jobs: int | None) -> int:
    """Screen the samples into records of their own, as photos of one visit, and print the worklist.

    Nobody's decision is made up: everything that was flagged waits for the person at the page.

    Returns
    -------
    int
        Exit code of the command.

    Raises
    ------
    click.UsageError
        There is no photo, or nothing can be written where the records are to be.
    """
    overlays, worn = store.with_name("overlays"), samples / "wear"
    # Worn parts are measured in a box that a person draws; screening finds nothing on them.
    photos = photo_files((samples,), complain, without=(overlays, worn))
    code = screen_photos(photos or (samples,), Outputs(overlays=overlays, store=str(store), keep=_keep), jobs)
    with closing(open_store(str(store))) as records:
        _what_is_due(records)
    if worn.is_dir():
        line = f"Pictures of worn parts, to try visual-aid measure on, are in {worn}"
        Console().print(Text(line), soft_wrap=True)
    return code


def _keep(store: Store, screening: Screening) -> None:
    store.add_photo(screening, visit=_visit(store), position=_position(store, screening.photo.name))


def _visit(store: Store) -> Visit:
    """Give the invented visit, which took place when the demo was first shown."""
    begun = store.visits.all(UNIT)
    return (
        begun[0]
        if begun
        else store.visits.begin(
            UNIT,
            dt.date.today(),
            inspector=INSPECTOR,
            odometer=ODOMETER.value,
            odometer_unit="mi",
        )
    )


def _position(store: Store, name: str) -> Position | None:
    found = PLACE.search(Path(name).stem)
    if found is None:
        return None
    part = found["part"]
    for state in STATES:
        part = part.removesuffix(state)
    if found["axle"] is None:
        part = f"frame {part}"
    axle = int(found["axle"] or FRAME_AXLE)
    return store.visits.position(UNIT, axle, cast("Side", found["side"]), part.replace("_", " "))


def _what_is_due(store: Store) -> None:
    """Write down when the invented unit was last worked on: something is overdue, and something soon due."""
    if store.logbook.lines(unit=UNIT):
        return
    day = _visit(store).date
    driven = Measured(ODOMETER.value - 430, ODOMETER.unit)
    joint = Joint("U-bolts, axle 1 left", day - dt.timedelta(days=9), driven)
    inspected = Done("shop_inspection", day - dt.timedelta(days=172), Measured(155_800, "mi"))
    tightened = Done("yearly_retorque", day - dt.timedelta(days=371), Measured(121_500, "mi"))
    store.logbook.write("duty_done", done_body(tightened), by=INSPECTOR, unit=UNIT)
    store.logbook.write("duty_done", done_body(inspected), by=INSPECTOR, unit=UNIT)
    store.logbook.write("joint", joint_body(joint), by=INSPECTOR, unit=UNIT)
