"""The work of the ``backlog`` command: any number of photos into the records, to be stopped at any time."""

from __future__ import annotations

import itertools
import os
import threading
import time
from collections.abc import Iterable, Iterator, Sequence
from contextlib import closing
from typing import TYPE_CHECKING

import click
from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TaskID, TextColumn, TimeRemainingColumn
from rich.text import Text

from visual_aid.backlog.cluster import ClusterError, as_done_on
from visual_aid.backlog.job import Job, Seen, do, lost
from visual_aid.backlog.processes import as_done
from visual_aid.backlog.sources import PhotoFile, PlaceError, find_files, reach
from visual_aid.cli import STOPPED
from visual_aid.cli.screen import complain, print_worklist
from visual_aid.cli.store import open_store
from visual_aid.files import printable
from visual_aid.outputs.tables import waiting

if TYPE_CHECKING:
    from visual_aid.records.store import Store

ASKED_AT_A_TIME = 500
"""Files of which the records are asked at once whether they are known."""
KEPT_AT_A_TIME = 50
KEPT_EVERY = 2.0
"""A transaction is closed after so many photos, or after so many seconds: that much work is lost at most."""
SHOWN = 20


class Tally:
    """What a run has come to, and its progress bar."""

    def __init__(self, log: Console) -> None:
        self.known = self.new = self.failed = 0
        self._log = log
        self.bar = Progress(
            TextColumn("Screening"),
            BarColumn(),
            MofNCompleteColumn(),
            TextColumn("{task.fields[rate]}"),
            TimeRemainingColumn(),
            TextColumn("{task.fields[failures]}"),
            console=log,
            transient=True,
            disable=not log.is_terminal,
        )
        self._task: TaskID = self.bar.add_task("", total=None, rate="", failures="")

    def expect(self, total: int) -> None:
        """Say how many files there are."""
        self.bar.update(self._task, total=total)

    def skip(self, count: int) -> None:
        """Count files that are known."""
        self.known += count
        self.bar.advance(self._task, count)

    def keep(self, new: int, of: int) -> None:
        """Count files that were screened, so many of which were not known."""
        self.new += new
        self.known += of - new

    def fail(self, line: str) -> None:
        """Count a file, folder or place of which nothing comes, and say why in one line."""
        self.failed += 1
        self._log.print(Text(line), soft_wrap=True)

    def show(self, seen: Seen) -> None:
        """Show that one more file is done, and say what is wrong with it."""
        if seen.trouble is not None:
            path, name = printable(seen.file.url), printable(seen.file.name)
            self.fail(path + seen.trouble.say.removeprefix(name))
        speed = next(task.speed for task in self.bar.tasks)
        rate = "" if speed is None else f"{speed:.1f}/s"
        self.bar.update(self._task, advance=1, rate=rate, failures=f"{self.failed} failed")


def screen_backlog(places: Sequence[str], store: str, jobs: int | None, scheduler: str | None = None) -> int:
    """Screen all photos of some folders or URLs into the records, and print what to look at first.

    Parameters
    ----------
    jobs : int or None
        Processes of this machine; None for one a processor.
    scheduler : str or None
        Address of the Dask cluster that screens instead.

    Returns
    -------
    int
        Exit code of the command.

    Raises
    ------
    click.UsageError
        A place cannot be searched or holds no photos, or the records cannot be opened.
    """
    try:
        for place in places:
            reach(place)
    except PlaceError as error:
        raise click.UsageError(str(error)) from error
    log = Console(stderr=True)
    tally, stopped, broken = Tally(log), False, False
    files = _files(places, tally)
    first = next(files, None)
    if first is None:
        raise click.UsageError(f"no photos in {', '.join(places)}: name their folder")
    with closing(open_store(store)) as records:
        with tally.bar:
            threading.Thread(target=_count, args=(places, tally), daemon=True).start()
            jobs_to_do = _left(records, itertools.chain([first], files), tally)
            if scheduler is None:
                stream = as_done(do, jobs_to_do, jobs or os.cpu_count() or 1, lost)
            else:
                stream = as_done_on(scheduler, do, jobs_to_do, lost)
            try:
                _keep(records, stream, tally)
            except KeyboardInterrupt:
                stopped = True
            except (ClusterError, OSError) as error:
                log.print(Text(getattr(error, "strerror", None) or str(error)), soft_wrap=True)
                broken = True
            finally:
                stream.close()
        try:
            if not broken:
                records.backlog.group_bursts()
            _report(records, tally)
        except KeyboardInterrupt:
            stopped = True
    if stopped:
        complain("stopped: what is done is in the records; the same command goes on from here")
        return STOPPED
    return int(tally.failed > 0 or broken)


def _files(places: Sequence[str], tally: Tally) -> Iterator[PhotoFile]:
    for place in places:
        try:
            yield from find_files(place, tally.fail)
        except PlaceError as error:  # it has gone since the run began
            tally.fail(str(error))


def _count(places: Sequence[str], tally: Tally) -> None:
    """Count the files ahead of the work, for the time left; without it the bar goes on without an end."""
    try:
        tally.expect(sum(1 for place in places for _ in find_files(place, str)))
    except PlaceError:
        return


def _left(records: Store, files: Iterable[PhotoFile], tally: Tally) -> Iterator[Job]:
    files = iter(files)
    while some := list(itertools.islice(files, ASKED_AT_A_TIME)):
        left = records.backlog.to_do(some)
        tally.skip(len(some) - len(left))
        yield from left


def _keep(records: Store, stream: Iterable[Seen], tally: Tally) -> None:
    """Add what comes to the records, in transactions; what came before a stop is added too."""
    waiting: list[Seen] = []
    began = time.monotonic()

    def keep() -> None:
        nonlocal waiting, began
        some, waiting, began = waiting, [], time.monotonic()
        tally.keep(records.backlog.add(some), of=sum(seen.trouble is None for seen in some))

    try:
        for seen in stream:
            tally.show(seen)
            waiting.append(seen)
            if len(waiting) >= KEPT_AT_A_TIME or time.monotonic() - began >= KEPT_EVERY:
                keep()
    finally:
        keep()


def _report(records: Store, tally: Tally) -> None:
    console = Console()
    first = records.worklist("to_decide", limit=SHOWN)
    print_worklist(console, waiting(first), records.stages().get("to_decide", 0))
    console.print(f"{tally.new} screened, {tally.known} known before, {tally.failed} failed")
