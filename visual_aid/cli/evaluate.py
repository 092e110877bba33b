"""The work of the ``evaluate`` command."""

from __future__ import annotations

import io
import json
import math
from collections.abc import Iterable, Sequence
from pathlib import Path

import click
from PIL import Image
from rich.console import Console
from rich.table import Table

from visual_aid.cli.screen import Task, work_through, write_files
from visual_aid.decoder import read_photo
from visual_aid.evaluation.figures import (
    FALSE_PER_PHOTO_CUE,
    FALSE_PER_PHOTO_GRADE,
    Evaluation,
    RecallFigures,
    evaluate,
    precision_recall,
)
from visual_aid.evaluation.judging import JudgedPhoto, false_alarms, judge_all, misses
from visual_aid.evaluation.truth import TruthPhoto, read_truths
from visual_aid.model import CUES, Box, Cue, Screening, Sign
from visual_aid.outputs.chart import Line, draw_chart
from visual_aid.outputs.palette import CUE_STYLE, SIGN_STYLE, UNDER_STROKE
from visual_aid.outputs.sheet import Tile, draw_sheet
from visual_aid.photo import PhotoError, Pixels

ON_SHEET = 20
"""How many of the worst misses, and of the worst false alarms, the contact sheet shows."""


def evaluate_folder(
    folder: Path,
    records: Path | None,
    figures: Path | None,
    curve: Path | None,
    sheet: Path | None,
    jobs: int | None,
) -> int:
    """Compare records with the labels of a folder, print the figures and write what is asked for.

    Returns
    -------
    int
        Exit code of the command.

    Raises
    ------
    click.UsageError
        The folder holds no labelled photos, or the records are not theirs.
    """
    try:
        truths = read_truths(folder)
        screenings = read_records(records) if records else None
    except (OSError, ValueError) as error:
        raise click.UsageError(str(error)) from error
    failed = False
    if screenings is None:
        done, ended = work_through([Task(truth.path, None) for truth in truths], jobs)
        if len(done) < len(truths):
            return ended
        screenings = [d.screening for d in done]
        failed = any(d.complaint for d in done)
    elif not {truth.name for truth in truths} & {s.photo.name for s in screenings}:
        raise click.UsageError(f"{records}: none of these records is of a photo in {folder}")

    photos = judge_all(truths, screenings)
    evaluation = evaluate(photos)
    _print(Console(), evaluation)
    files: dict[Path, bytes] = {}
    if figures:
        files[figures] = json.dumps(evaluation.to_dict(), indent=1).encode()
    if curve:
        files[curve] = _encoded(draw_curves(photos), "PNG")
    if sheet:
        files[sheet] = _encoded(draw_worst(photos), "JPEG")
    return int(write_files(files) or failed)


def read_records(path: Path) -> list[Screening]:
    """Read records that were written one JSON line each.

    Raises
    ------
    ValueError
        A line is not a screening record; the message names the file and the line.
    """
    screenings = []
    for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), start=1):
        if line.strip():
            try:
                screenings.append(Screening.from_dict(json.loads(line)))
            except (ValueError, KeyError, TypeError, AttributeError) as error:
                raise ValueError(f"{path}, line {number}: not a screening record ({error})") from error
    return screenings


def _print(console: Console, e: Evaluation) -> None:
    f = e.fasteners
    lines = (
        f"{e.photos} photos, {e.photos_without_record} without a record, {e.photos_with_error} failed",
        f"Nuts and bolt heads: {f.labels} labelled, precision {_share(f.precision)}, "
        f"recall {_share(f.recall)}, F1 {_share(f.f1)}",
        f"Their centres are off by {_number(f.centre_error_r)} r, radii by {_share(f.radius_error_share)}",
        f"Worklist: area under the ROC curve {_number(e.photos_auc)}; the first third holds "
        f"{_share(e.first_third)} of the photos with evidence that fit into it",
        f"Scores: calibration error {_number(e.calibration_error)}",
        f"Look-alikes: {e.look_alikes} labelled, {_share(e.look_alikes_flagged)} flagged",
    )
    for line in lines:
        console.print(line, soft_wrap=True)
    rates = [f"at {rate:g} false a photo" for rate in e.evidence.recall]
    _print_table(
        console,
        ("Evidence found", "Labels", *rates),
        [("by its own cue", *_cells(e.evidence)), ("by any cue", *_cells(e.places))],
    )
    _print_table(
        console,
        ("How plain it is", "Labels", f"at {FALSE_PER_PHOTO_GRADE:g} false a photo"),
        [(grade, *_cells(figures)) for grade, figures in e.grades.items()],
    )
    _print_table(
        console,
        ("Cue", "Labels", f"at {FALSE_PER_PHOTO_CUE:g} false a photo", "Candidates"),
        [(CUE_STYLE[c].label, *_cells(figures), str(e.candidates[c])) for c, figures in e.cues.items()],
    )


def _print_table(console: Console, columns: Sequence[str], rows: Iterable[Sequence[str]]) -> None:
    table = Table(columns[0], box=None, pad_edge=False, header_style="bold")
    for column in columns[1:]:
        table.add_column(column, justify="right")
    for row in rows:
        table.add_row(*row)
    console.print("", table)


def draw_curves(photos: Sequence[JudgedPhoto]) -> Pixels:
    """Draw precision against recall of every labelled cue and of all together."""
    named: list[tuple[str, str, Cue | None]] = [("All cues", UNDER_STROKE, None)]
    named += [(CUE_STYLE[cue].label, CUE_STYLE[cue].colour, cue) for cue in CUES]
    lines = []
    for label, colour, cue in named:
        curve = precision_recall(photos, cue)
        if curve.labels and curve.recall:
            lines.append(Line(f"{label} ({curve.labels})", colour, curve.recall, curve.precision))
    return draw_chart("Candidates against labels", "Recall", "Precision", lines)


def draw_worst(photos: Sequence[JudgedPhoto]) -> Pixels:
    """Draw the plainest misses and the most confident false alarms as a contact sheet."""
    missed = [
        (photo.truth, cue.box, cue.cue, f"{CUE_STYLE[cue.cue].label}, {cue.grade or 'no grade'}")
        for photo, cue in misses(photos)[:ON_SHEET]
    ]
    false = [
        (photo.truth, c.box, c.cue, f"{SIGN_STYLE[c.cue].label} {c.score:.2f}: {c.reason}")
        for photo, c in false_alarms(photos)[:ON_SHEET]
    ]
    return draw_sheet(
        [
            ("Missed, the plainest first", [t for m in missed if (t := _tile(*m))]),
            ("False alarms, the most confident first", [t for f in false if (t := _tile(*f))]),
        ]
    )


def _tile(truth: TruthPhoto, box: Box, cue: Sign, caption: str) -> Tile | None:
    try:
        photo = read_photo(truth.path)
    except PhotoError:
        return None
    x, y, w, h = box
    shrunk = (photo.to_working(x), photo.to_working(y), w / photo.scale, h / photo.scale)
    return Tile(photo.working, shrunk, SIGN_STYLE[cue].colour, f"{truth.name}: {caption}")


def _cells(figures: RecallFigures) -> list[str]:
    return [str(figures.labels), *(_share(recall) for recall in figures.recall.values())]


def _share(value: float) -> str:
    return "-" if math.isnan(value) else f"{100 * value:.1f} %"


def _number(value: float) -> str:
    return "-" if math.isnan(value) else f"{value:.3f}"


def _encoded(pixels: Pixels, kind: str) -> bytes:
    data = io.BytesIO()
    Image.fromarray(pixels).save(data, kind, quality=88)
    return data.getvalue()
