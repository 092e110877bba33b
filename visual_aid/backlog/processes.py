"""Work on many photos in several processes of this machine."""

from __future__ import annotations

import os
import signal
import threading
from collections import deque
from collections.abc import Callable, Generator, Iterable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from multiprocessing import get_context, parent_process
from typing import TypeVar

Task = TypeVar("Task")
Result = TypeVar("Result")

TASKS_A_PROCESS = 3
"""Tasks handed out for each process: enough that none waits, few enough that a stop is soon."""
CHANCES = 3
"""How often a task may be by itself with a process that dies before it counts as lost: a process may also
be ended from outside."""


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


def as_done(
    work: Callable[[Task], Result],
    tasks: Iterable[Task],
    jobs: int,
    lost: Callable[[Task], Result],
) -> Generator[Result, None, None]:
    """Work through any number of tasks in several processes and give each result as it is done.

    Takes the parameters of ``in_order``, but reads the tasks only as they are needed and holds no more
    than ``TASKS_A_PROCESS`` a process. The work is always done in other processes.
    """
    coming = iter(tasks)
    while True:
        pool = _pool(jobs)
        running: dict[Future[Result], Task] = {}
        task: Task | None = None
        try:
            while True:
                while len(running) < TASKS_A_PROCESS * jobs and (task := next(coming, None)) is not None:
                    running[pool.submit(work, task)] = task
                    task = None
                if not running:
                    return
                for future in wait(running, return_when=FIRST_COMPLETED).done:
                    result = future.result()
                    del running[future]
                    yield result
        except BrokenProcessPool:
            # Which task it was cannot be told: each is tried by itself, then all go on. One that the pool
            # no longer took is among them.
            unfinished = list(running.values())
            if task is not None:
                unfinished.append(task)
        finally:
            pool.shutdown(cancel_futures=True)
        for one in unfinished:
            yield _alone(work, one, lost)


def _alone(work: Callable[[Task], Result], task: Task, lost: Callable[[Task], Result]) -> Result:
    for _ in range(CHANCES):
        with _pool(1) as pool:
            try:
                return pool.submit(work, task).result()
            except BrokenProcessPool:
                continue
    return lost(task)


def _pool(jobs: int) -> ProcessPoolExecutor:
    # Not forked: threads of OpenCV do not survive a fork.
    return ProcessPoolExecutor(jobs, mp_context=get_context("spawn"), initializer=_start_worker)


def _start_worker() -> None:
    from visual_aid.threads import one_thread

    one_thread()
    # Ctrl-C reaches every process of the terminal; the parent decides what becomes of the work.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    # A parent that is killed says nothing, and a process that waits for work would wait for ever.
    if (parent := parent_process()) is not None:
        parent.join()
        os._exit(1)
