"""Many photos: which files they are, and work on them in several processes."""

from __future__ import annotations

import os
import signal
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from multiprocessing import get_context
from pathlib import Path
from typing import TypeVar

Task = TypeVar("Task")
Result = TypeVar("Result")

SUFFIXES = frozenset({".jpg", ".jpeg", ".png", ".tif", ".tiff", ".webp", ".bmp", ".heic", ".heif"})
"""Endings of photo files, in small letters."""


def photo_files(paths: Iterable[Path], without: Path | None = None) -> list[Path]:
    """List photo files, each once.

    Parameters
    ----------
    paths : iterable of Path
        Files are taken as they are, whatever their ending and whether or not they exist. Folders are
        searched with all their subfolders, in the order of names; hidden files and folders are left out.
    without : Path, optional
        A folder that is left out wherever the search meets it.
    """
    left_out = without.resolve() if without else None
    found: dict[Path, None] = {}
    for path in paths:
        if not path.is_dir():
            found[path] = None
            continue
        for folder, subfolders, names in os.walk(path):
            here = Path(folder)
            subfolders[:] = sorted(
                s for s in subfolders if not s.startswith(".") and (here / s).resolve() != left_out
            )
            for name in sorted(names):
                if not name.startswith(".") and Path(name).suffix.lower() in SUFFIXES:
                    found[here / name] = None
    return list(found)


def in_order(
    work: Callable[[Task], Result],
    tasks: Sequence[Task],
    jobs: int,
    lost: Callable[[Task], Result],
) -> Iterator[Result]:
    """Work through tasks in several processes and give the results in the order of the tasks.

    Parameters
    ----------
    work : callable
        Done in other processes if ``jobs`` is more than one; then it has to be picklable.
    jobs : int
        Number of processes, at least 1. One works in this process.
    lost : callable
        Gives the result of a task whose process died over it, called in this process. Such a task costs
        no other task its result.
    """
    if jobs == 1:
        yield from map(work, tasks)
        return
    waiting = deque(tasks)
    while waiting:
        pool = _pool(min(jobs, len(waiting)))
        try:
            futures = deque(pool.submit(work, task) for task in waiting)
            while futures:
                result = futures.popleft().result()
                waiting.popleft()
                yield result
        except BrokenProcessPool:
            # Which task it was cannot be told: the first one waiting is tried alone, then all go on.
            yield _alone(work, waiting.popleft(), lost)
        finally:
            pool.shutdown(cancel_futures=True)


def _alone(work: Callable[[Task], Result], task: Task, lost: Callable[[Task], Result]) -> Result:
    with _pool(1) as pool:
        try:
            return pool.submit(work, task).result()
        except BrokenProcessPool:
            return lost(task)


def _pool(jobs: int) -> ProcessPoolExecutor:
    # Not forked: threads of OpenCV do not survive a fork.
    return ProcessPoolExecutor(jobs, mp_context=get_context("spawn"), initializer=_start_worker)


def _start_worker() -> None:
    import cv2

    cv2.setNumThreads(1)
    # Ctrl-C reaches every process of the terminal; the parent decides what becomes of the work.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
