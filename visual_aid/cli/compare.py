"""The work of the ``compare`` command, and of ``evaluate`` where it compares pairs."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import click
from rich.console import Console
from rich.table import Table
from rich.text import Text

from visual_aid.cli.screen import complain, write_files
from visual_aid.decoder import read_photo
from visual_aid.evaluation.pairs import PairFigures, TruePair, judge_pairs, read_pairs
from visual_aid.fasteners.find import look_over
from visual_aid.measure.visits import SCHEMA, Comparison, compare
from visual_aid.outputs.turns import write_turns
from visual_aid.outputs.wording import CAUTION
from visual_aid.photo import PhotoError
from visual_aid.screening import screen_photo


def compare_photos(before: Path, after: Path, lines: Path | None, overlay: Path | None) -> int:
    """Compare two photos, print what was found and write what is asked for.

    Returns
    -------
    int
        Exit code of the command: 1 if the photos cannot be compared or a file not be written.

    Raises
    ------
    click.UsageError
        A photo cannot be read.
    """
    try:
        photos = read_photo(before), read_photo(after)
    except PhotoError as refused:
        raise click.UsageError(str(refused)) from refused
    overview = look_over(photos[0])
    records = screen_photo(photos[0], overview=overview), screen_photo(photos[1])
    comparison = compare(*photos, records, overview)
    _print(Console(), comparison)
    failed = not comparison.comparable
    if lines is not None:
        failed |= not _append(lines, comparison.to_json())
    if overlay is not None:
        try:
            write_turns(overlay, *photos, comparison)
        except OSError as error:
            complain(f"{overlay} was not written ({error.strerror}): make room, or name another place")
            failed = True
    return int(failed)


def evaluate_pairs(folder: Path, records: Path | None, figures: Path | None) -> int:
    """Compare every labelled pair of a folder, and wrong pairs, and print how right the turns are.

    Parameters
    ----------
    records : Path or None
        Judge these comparisons instead of comparing the photos.

    Returns
    -------
    int
        Exit code of the command.

    Raises
    ------
    click.UsageError
        The folder holds no labelled pairs, or a photo or record cannot be read.
    """
    try:
        truths = read_pairs(folder)
        comparisons = list(compare_all(folder, truths)) if records is None else read_comparisons(records)
    except (OSError, ValueError, PhotoError) as error:
        raise click.UsageError(str(error)) from error
    result = judge_pairs(truths, comparisons)
    _print_figures(Console(), result)
    if figures is None:
        return 0
    return int(write_files({figures: json.dumps(result.to_dict(), indent=1).encode()}))


def compare_all(folder: Path, truths: list[TruePair]) -> Iterator[dict[str, Any]]:
    """Compare the two photos of each pair, and its first photo with every other pair's second."""
    befores = [read_photo(folder / truth.before) for truth in truths]
    afters = [read_photo(folder / truth.after) for truth in truths]
    for before in befores:
        for after in afters:
            yield compare(before, after).to_dict()


def read_comparisons(path: Path) -> list[dict[str, Any]]:
    """Read comparisons that were written one JSON line each.

    Raises
    ------
    ValueError
        A line is not a comparison; the message names the file and the line.
    """
    comparisons = []
    for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), start=1):
        if not line.strip():
            continue
        try:
            data = json.loads(line)
            known = isinstance(data, dict) and data.get("schema") == SCHEMA
        except ValueError:
            known = False
        if not known:
            raise ValueError(f"{path}, line {number}: not a comparison of schema {SCHEMA}")
        comparisons.append(data)
    return comparisons


def _append(path: Path, line: str) -> bool:
    """Add a line to a file, so that many comparisons make one file; tell whether it could be done."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with path.open("a", encoding="utf-8") as file:
            file.write(line + "\n")
    except OSError as error:
        complain(f"{path} was not written ({error.strerror}): make room, or name another place")
        return False
    return True


def _print(console: Console, comparison: Comparison) -> None:
    if comparison.why is not None:
        console.print(Text(f"Not compared: {comparison.why}"), soft_wrap=True)
        return
    table = Table("Nut at", box=None, pad_edge=False, header_style="bold")
    for column in ("Turn", "Uncertainty"):
        table.add_column(column, justify="right")
    table.add_column("")
    for turn in comparison.turns:
        table.add_row(
            f"{turn.cx:.0f}, {turn.cy:.0f}",
            f"{turn.turn:+.1f}°",
            f"{turn.uncertainty:.1f}°",
            "turned" if turn.turned else "",
        )
    console.print(table)
    if comparison.not_measured:
        console.print(f"Not measured, too unlike in the two photos: {comparison.not_measured}")
    for news in comparison.news:
        console.print(Text(f"New at {news.cx:.0f}, {news.cy:.0f}: {news.say}"), soft_wrap=True)
    console.print(CAUTION, soft_wrap=True)


def _print_figures(console: Console, figures: PairFigures) -> None:
    def degrees(value: float | None) -> str:
        return "-" if value is None else f"{value:.2f}°"

    def share(value: float | None) -> str:
        return "-" if value is None else f"{100 * value:.1f} %"

    for line in (
        f"{figures.pairs} pairs, {figures.declined} declined; nuts: {figures.nuts_compared} compared, "
        f"{figures.nuts_not_compared} not",
        f"Turn, modulo 60°: median error {degrees(figures.turn_error_median)}, "
        f"95th percentile {degrees(figures.turn_error_95)}",
        f"Turned by 5° or more: {share(figures.turned_found)} found; "
        f"unturned: {share(figures.unturned_called_turned)} called turned",
        f"Wrong pairs: {figures.wrong_pairs}, {share(figures.wrong_pairs_refused)} refused",
    ):
        console.print(line, soft_wrap=True)
