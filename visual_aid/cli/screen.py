"""The work of the ``screen`` command, and of others that screen photos."""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping, Sequence
from contextlib import ExitStack, closing
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click
from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn
from rich.table import Table
from rich.text import Text

from visual_aid import __version__
from visual_aid.backlog.processes import in_order
from visual_aid.backlog.sources import photo_files
from visual_aid.cli import STOPPED
from visual_aid.cli.store import open_store
from visual_aid.decoder import read_photo
from visual_aid.files import printable, write_atomically
from visual_aid.model import PhotoInfo, Quality, Screening, Trouble
from visual_aid.outputs.overlay import write_overlay
from visual_aid.outputs.tables import WorklistRow, candidates_csv, worklist
from visual_aid.outputs.wording import CAUTION
from visual_aid.photo import PhotoError
from visual_aid.screening import screen_file

if TYPE_CHECKING:
    from visual_aid.records.store import Store

PHOTOS_A_JOB = 4
"""With fewer photos a process, starting the process costs more than it brings."""
ROWS_SHOWN = 25
DASH = Path("-")

Keep = Callable[["Store", Screening], object]


@dataclass(frozen=True, slots=True)
class Outputs:
    """What is made of the records: files, folder and store, each where it is asked for.

    ``records`` may be ``DASH``, standard output. ``keep`` adds a record to the store, by default as a photo
    of no visit.
    """

    records: Path | None = None
    table: Path | None = None
    overlays: Path | None = None
    store: str | None = None
    keep: Keep | None = None


@dataclass(frozen=True, slots=True)
class Task:
    """One photo to screen and, where a place for it is given, to draw."""

    photo: Path
    overlay: Path | None


@dataclass(frozen=True, slots=True)
class Done:
    """The record of one photo, and what went wrong in words."""

    screening: Screening
    complaint: str = ""


def screen_photos(paths: Sequence[Path], outputs: Outputs, jobs: int | None) -> int:
    """Screen photos, write what is asked for and print the worklist.

    Returns
    -------
    int
        Exit code of the command.

    Raises
    ------
    click.UsageError
        There is no photo, or no result could be written where it is asked for.
    """
    left_out: list[str] = []
    photos = photo_files(paths, left_out.append, without=[outputs.overlays] if outputs.overlays else ())
    for line in left_out:
        complain(line)
    if not photos:
        raise click.UsageError(f"no photos in {', '.join(map(str, paths))}: name photos or their folder")
    for folder in _folders(outputs):
        _make_writable(folder)
    tasks = [Task(p, o) for p, o in zip(photos, overlay_paths(photos, outputs.overlays), strict=True)]
    done, ended = work_through(tasks, jobs, outputs.store, outputs.keep)
    stopped = len(done) < len(tasks)

    screenings = [d.screening for d in done]
    files: dict[Path, bytes] = {}
    if outputs.records == DASH:
        click.echo(_json_lines(screenings), nl=False)
    elif outputs.records is not None:
        files[outputs.records] = _json_lines(screenings)
    if outputs.table is not None:
        # The mark at the start tells spreadsheets that the text is UTF-8.
        files[outputs.table] = candidates_csv(screenings).encode("utf-8-sig", "backslashreplace")
    unwritten = write_files(files, suffix=".part" if stopped else "")
    # Standard output carries either records or words.
    console = Console(stderr=outputs.records == DASH)
    print_worklist(console, worklist(screenings), len(screenings))
    if outputs.overlays is not None:
        console.print(Text(f"Drawn photos are in {outputs.overlays}"), soft_wrap=True)
    if stopped:
        complain(f"stopped: {len(done)} of {len(tasks)} photos are done; files written are named .part")
        return ended
    return int(unwritten or bool(left_out) or any(d.complaint for d in done))


def work_through(
    tasks: Sequence[Task], jobs: int | None, store: str | None = None, keep: Keep | None = None
) -> tuple[list[Done], int]:
    """Screen photos behind a progress bar, complaining of each that fails in one line.

    Parameters
    ----------
    jobs : int or None
        Processes; None for one a processor, fewer for few photos.
    store : str or None
        Where to add each record as it comes.
    keep : callable, optional
        How to add it, as in ``Outputs``.

    Returns
    -------
    done : list of Done
        In the order of the tasks; Ctrl-C or a full disk ends it early.
    ended : int
        Exit code for how it ended: 0 at the last task, ``STOPPED`` by Ctrl-C, 1 with a full disk.

    Raises
    ------
    click.UsageError
        The store cannot be opened.
    """
    processes = jobs or max(1, min(os.cpu_count() or 1, len(tasks) // PHOTOS_A_JOB))
    log = Console(stderr=True)
    bar = Progress(
        TextColumn("Screening"),
        BarColumn(),
        MofNCompleteColumn(),
        TimeRemainingColumn(),
        console=log,
        transient=True,
        disable=not log.is_terminal,
    )
    done: list[Done] = []
    ended = 0
    with ExitStack() as stack:
        records = stack.enter_context(closing(open_store(store))) if store else None
        stack.enter_context(bar)
        try:
            for one in bar.track(in_order(_screen, tasks, processes, _lost), total=len(tasks)):
                if one.complaint:
                    log.print(Text(one.complaint), soft_wrap=True)
                if records is not None and one.screening.error is None:
                    keep(records, one.screening) if keep else records.add_photo(one.screening)
                done.append(one)
        except KeyboardInterrupt:
            ended = STOPPED  # what is done is kept
        except OSError as error:  # so it is where the records have no room for more
            complain(error.strerror or str(error))
            ended = 1
    return done, ended


def complain(line: str) -> None:
    """Say in one line on standard error what went wrong."""
    Console(stderr=True).print(Text(line), soft_wrap=True)


def write_files(files: Mapping[Path, bytes], suffix: str = "") -> bool:
    """Write files, complaining of each that cannot be written, and tell whether any could not.

    A ``suffix`` to the names keeps what a stopped run has done from taking the place of a whole one.
    """
    failed = False
    for path, data in files.items():
        try:
            write_atomically(path.with_name(path.name + suffix), data)
        except OSError as error:
            complain(f"{path} was not written ({error.strerror}): make room, or name another place")
            failed = True
    return failed


def overlay_paths(photos: Sequence[Path], folder: Path | None) -> list[Path | None]:
    """Name the drawn photo of every photo, all different."""
    if folder is None:
        return [None] * len(photos)
    taken: set[str] = set()
    paths: list[Path | None] = []
    for photo in photos:
        name, count = f"{photo.stem}_drawn.jpg", 2
        # Some file systems take small and capital letters for the same.
        while name.lower() in taken:
            name, count = f"{photo.stem}_drawn_{count}.jpg", count + 1
        taken.add(name.lower())
        paths.append(folder / name)
    return paths


def _screen(task: Task) -> Done:
    try:
        screening = screen_file(task.photo)
    except Exception as error:  # one photo that the engine fails on must not cost the others
        return _unscreened(
            task, "engine_failed", f"made the engine fail ({error!r}): report it with the photo."
        )
    if screening.error:
        return Done(screening, _with_path(task, screening.error.say))
    if task.overlay is not None:
        try:
            write_overlay(task.overlay, read_photo(task.photo).working, screening)
        except (OSError, PhotoError) as error:
            return Done(screening, f"{printable(str(task.photo))}: was screened, but not drawn ({error})")
    return Done(screening)


def _lost(task: Task) -> Done:
    return _unscreened(
        task,
        "process_died",
        "ended the process that screened it: save it as a smaller JPEG and screen it again.",
    )


def _unscreened(task: Task, code: str, why: str) -> Done:
    name, path = printable(task.photo.name), printable(str(task.photo))
    trouble = Trouble(code, f"{name} {why}")
    photo = PhotoInfo(name, path, "", 0, 0)
    screening = Screening(__version__, photo, Quality(usable=False), error=trouble)
    return Done(screening, _with_path(task, trouble.say))


def _with_path(task: Task, say: str) -> str:
    """Name the whole path in what people are told, which starts with the file's name alone."""
    name, path = printable(task.photo.name), printable(str(task.photo))
    return path + say.removeprefix(name) if say.startswith(name) else f"{path}: {say}"


def _folders(outputs: Outputs) -> list[Path]:
    files = [file.parent for file in (outputs.records, outputs.table) if file not in (None, DASH)]
    return files if outputs.overlays is None else [*files, outputs.overlays]


def _make_writable(folder: Path) -> None:
    """Make a folder before the work starts, so that the work is not done for nothing."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise click.UsageError(f"{folder} cannot be made ({error.strerror}): name another folder") from error
    if not os.access(folder, os.W_OK):
        raise click.UsageError(f"{folder} cannot be written: name another folder, or change its permissions")


def _json_lines(screenings: Sequence[Screening]) -> bytes:
    # A file name may hold bytes that are no text; escaped, they are valid in JSON.
    return "".join(f"{screening.to_json()}\n" for screening in screenings).encode(errors="backslashreplace")


def print_worklist(console: Console, rows: Sequence[WorklistRow], total: int) -> None:
    """Print the first photos to look at, of ``total`` that there are."""
    rows = rows[:ROWS_SHOWN]
    table = Table(box=None, pad_edge=False, header_style="bold")
    table.add_column("Priority", justify="right", no_wrap=True)
    table.add_column("Photo and its strongest evidence", overflow="fold")
    for row in rows:
        reason = f"{row.cue} {row.score:.2f}: {row.reason}" if row.cue else row.reason
        if row.weaker and not row.candidates:
            reason = f"Nothing likely; at most {reason[:1].lower()}{reason[1:]}"
        priority, counts = "-", ""
        if row.priority is not None:
            priority = f"{row.priority:.2f}"
            counts = f"  fasteners: {row.fasteners}, candidates: {row.candidates}, weaker: {row.weaker}"
        table.add_row(priority, Text.assemble((printable(row.photo), "bold"), counts, f"\n{reason}"))
    console.print(table)
    if (more := total - len(rows)) > 0:
        console.print(f"and {more} more photos of lower priority")
    console.print(CAUTION)
