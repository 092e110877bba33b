"""The work of ``evaluate`` where it judges measurements of wear."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path

import click
from rich.console import Console
from rich.table import Table

from visual_aid.cli.screen import write_files
from visual_aid.evaluation.wear import (
    CASES,
    HELD_OUT,
    MAKERS,
    WearFigures,
    judge_wear,
    made_cases,
    read_cases,
)
from visual_aid.photo import PhotoError


def evaluate_wear(folder: Path | None, kinds: Sequence[str], count: int | None, figures: Path | None) -> int:
    """Measure labelled or made cases of wear and print how right the measurements are.

    Parameters
    ----------
    folder : Path or None
        Labelled pictures; None makes cases from held-out seeds.
    kinds : sequence of str
        Kinds to judge; empty for all.
    count : int or None
        Cases to make of each kind; None for ``CASES``.

    Returns
    -------
    int
        Exit code of the command.

    Raises
    ------
    click.UsageError
        The folder holds no labelled wear, a label or a picture is damaged, or a kind is unknown.
    """
    unknown = [kind for kind in kinds if kind not in MAKERS]
    if unknown:
        raise click.UsageError(f"unknown kind {unknown[0]}: name one of {', '.join(MAKERS)}")
    count = count or CASES
    wanted = [kind for kind in MAKERS if not kinds or kind in kinds]
    if folder is None:
        cases = {kind: made_cases(kind, count) for kind in wanted}
        where = f"{count} made cases a kind, seeds from {HELD_OUT} on, which nothing was tuned on"
    else:
        try:
            labelled = read_cases(folder)
        except ValueError as error:
            raise click.UsageError(str(error)) from error
        cases = {kind: iter(labelled[kind]) for kind in wanted if kind in labelled}
        where = f"labelled pictures in {folder}"
    console = Console()
    console.print(where, soft_wrap=True)
    results = []
    for kind, of_kind in cases.items():
        try:
            results.append(judge_wear(kind, of_kind))
        except PhotoError as error:
            raise click.UsageError(str(error)) from error
        console.print(_line(results[-1]), soft_wrap=True, highlight=False)
    _print(console, results)
    if figures is None:
        return 0
    data = json.dumps([result.to_dict() for result in results], indent=1).encode()
    return int(write_files({figures: data}))


def _line(result: WearFigures) -> str:
    extra = ", ".join(f"{name} {value:.3g}" for name, value in result.extra.items())
    return f"{result.wear}: {result.measured} of {result.cases} measured{'; ' if extra else ''}{extra}"


def _print(console: Console, results: Sequence[WearFigures]) -> None:
    table = Table("Kind", "Error of", box=None, pad_edge=False, header_style="bold")
    for column in ("Measured", "Median", "95 %", "Within doubt", "Within twice"):
        table.add_column(column, justify="right")
    for r in results:
        table.add_row(
            r.wear,
            r.figure,
            f"{r.measured}/{r.cases}",
            *("-" if v is None else f"{v:.3g}" for v in (r.error_median, r.error_95)),
            *("-" if v is None else f"{100 * v:.0f} %" for v in (r.within, r.within_twice)),
        )
    console.print("", table)
