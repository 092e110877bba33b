"""The work of the ``report`` command."""

from __future__ import annotations

import datetime as dt
from contextlib import closing
from pathlib import Path

import click

from visual_aid.cli.store import open_records
from visual_aid.files import write_atomically
from visual_aid.followup.logged import odometer_of
from visual_aid.outputs.paper import Paper
from visual_aid.outputs.report_html import report_html
from visual_aid.outputs.report_pdf import report_pdf
from visual_aid.outputs.visit_report import visit_report

WRITERS = (".pdf", ".html")


def write_report(store: str, unit: str, date: dt.date | None, out: Path, paper: Paper) -> int:
    """Write the report of a unit's visit of that day, or of its last one.

    Returns
    -------
    int
        Exit code of the command.

    Raises
    ------
    click.UsageError
        No such visit, an ending that names no form of report, or no file can be written there.
    """
    if out.suffix.lower() not in WRITERS:
        raise click.UsageError(f"{out}: name a file that ends in {' or '.join(WRITERS)}")
    with closing(open_records(store)) as records:
        visits = [v for v in records.visits.all(unit) if date in (None, v.date)]
        of_the_day = [v for v in visits if v.date == visits[0].date]
        if not visits:
            known = ", ".join(sorted({v.unit for v in records.visits.all()})) or "none"
            day = f" on {date}" if date else ""
            raise click.UsageError(f"there is no visit of unit {unit}{day}; units with visits: {known}")
        if len(of_the_day) > 1:
            which = "; ".join(
                f"by {v.inspector}, {odometer_of(v) or 'no odometer reading'}" for v in of_the_day
            )
            raise click.UsageError(
                f"unit {unit} has {len(of_the_day)} visits on {visits[0].date} ({which}): "
                "take the report from the page, under Visit"
            )
        report = visit_report(records, visits[0], dt.datetime.now().astimezone())
        data = report_pdf(report, paper) if out.suffix.lower() == ".pdf" else report_html(report).encode()
    try:
        write_atomically(out, data)
    except OSError as error:
        raise click.UsageError(f"{out} cannot be written ({error.strerror}): name another file") from error
    click.echo(f"{out}: {report.title}, {'; '.join(report.summary)}")
    return 0
