"""The work of the ``measure`` and ``card`` commands."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from pathlib import Path

import click
from rich.console import Console
from rich.table import Table
from rich.text import Text

from visual_aid.cli.screen import complain, write_files
from visual_aid.decoder import read_photo
from visual_aid.followup.handchecks import checks
from visual_aid.followup.known_length import known_length
from visual_aid.measure.measurement import Measurement
from visual_aid.measure.scale import Scale
from visual_aid.measure.wear import measure_wear
from visual_aid.model import Box, Wear
from visual_aid.outputs.measured import in_words, write_measurement
from visual_aid.outputs.paper import Paper
from visual_aid.outputs.scale_card import scale_card_pdf
from visual_aid.outputs.wording import CAUTION
from visual_aid.photo import PhotoError

_KNOWN = re.compile(r"^([^=]+)=(.+)$")


def measure_photos(
    wear: Wear,
    paths: Sequence[Path],
    boxes: Sequence[str],
    known: Sequence[str],
    ruler: float,
    as_json: bool,
    overlay: Path | None,
) -> int:
    """Measure wear on one or two photos, print what was found and draw what is asked for.

    Returns
    -------
    int
        Exit code of the command: 1 if nothing could be measured or a file not be written.

    Raises
    ------
    click.UsageError
        A photo cannot be read, or a box, a length or the number of photos makes no sense.
    """
    try:
        photos = [read_photo(path) for path in paths]
        measurement = measure_wear(
            wear,
            photos,
            [read_box(box) for box in boxes],
            known=[read_known(length) for length in known],
            ruler=ruler,
        )
    except (PhotoError, ValueError) as refused:
        raise click.UsageError(str(refused)) from refused
    if as_json:
        click.echo(measurement.to_json())
    else:
        _print(Console(), measurement)
    failed = measurement.outcome == "cannot_measure"
    if overlay is not None:
        try:
            write_measurement(overlay, photos, measurement)
        except OSError as error:
            complain(f"{overlay} was not written ({error.strerror}): make room, or name another place")
            failed = True
    return int(failed)


def read_box(text: str) -> Box:
    """Read a box: x,y,width,height in pixels of the upright photo.

    Raises
    ------
    ValueError
        The text is no box; one line with the mend.
    """
    x, y, w, h = _numbers(text, 4, "a box", "left,top,width,height in pixels, such as 420,310,180,160")
    return x, y, w, h


def read_known(text: str) -> Scale:
    """Read a known length: two ends in pixels and what lies between, a length or a thread's nut.

    Raises
    ------
    ValueError
        The text is no known length; one line with the mend.
    """
    example = (
        "write x1,y1,x2,y2=LENGTH, such as 410,300,505,302=24 mm, or a nut's thread: 410,300,505,302=M16"
    )
    match = _KNOWN.match(text)
    if match is None:
        raise ValueError(f"{text!r} is no known length: {example}")
    x1, y1, x2, y2 = _numbers(match[1], 4, "the ends of a known length", example)
    return known_length((x1, y1), (x2, y2), match[2])


def write_card(path: Path, paper: Paper) -> int:
    """Write the scale cards as a PDF file; give the exit code of the command."""
    return int(write_files({path: scale_card_pdf(paper)}))


def _numbers(text: str, count: int, what: str, example: str) -> tuple[float, ...]:
    try:
        numbers = tuple(float(part) for part in text.split(","))
    except ValueError:
        numbers = ()
    if len(numbers) != count or not all(map(math.isfinite, numbers)):
        raise ValueError(f"{text!r} is not {what}: write {example}")
    return numbers


def _print(console: Console, measurement: Measurement) -> None:
    outcome, reason, *rest = in_words(measurement)
    console.print(Text(outcome, "bold"), soft_wrap=True)
    console.print(Text(reason), soft_wrap=True)
    if measurement.figures:
        table = Table("Figure", box=None, pad_edge=False, header_style="bold")
        table.add_column("Value", justify="right")
        table.add_column("Give or take", justify="right")
        for figure in measurement.figures:
            doubt = "" if figure.uncertainty is None else f"{figure.uncertainty:.3g}"
            table.add_row(figure.name, f"{figure.value:.4g}", doubt)
        console.print("", table, "")
    for line in rest:
        console.print(Text(line), soft_wrap=True)
    title = checks()[measurement.hand_check].title
    console.print(f"Hand check that settles it: {title} ({measurement.hand_check})", soft_wrap=True)
    console.print(CAUTION, soft_wrap=True)
