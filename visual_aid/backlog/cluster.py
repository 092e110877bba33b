"""Work on many photos on the machines of a Dask cluster."""

from __future__ import annotations

import importlib
from collections.abc import Callable, Generator, Iterable
from typing import Any, TypeVar

from visual_aid import __version__
from visual_aid.backlog.processes import TASKS_A_PROCESS

Task = TypeVar("Task")
Result = TypeVar("Result")

REACHED_WITHIN = "20s"
"""How long a scheduler is waited for."""


class ClusterError(Exception):
    """A cluster that cannot be worked with; the message says why and what to do."""


def as_done_on(
    scheduler: str,
    work: Callable[[Task], Result],
    tasks: Iterable[Task],
    lost: Callable[[Task], Result],
) -> Generator[Result, None, None]:
    """Work through any number of tasks on a cluster and give each result as it is done.

    As ``processes.as_done``, on the workers of a Dask scheduler, which may come and go: what a lost worker
    had is done again by another. ``lost`` gives the result of a task that several workers ended over.

    Parameters
    ----------
    scheduler : str
        Address, such as ``tcp://10.0.0.5:8786``.

    Raises
    ------
    ClusterError
        Dask is not installed, the scheduler cannot be reached or is gone, or a worker runs another version.
    """
    try:
        dask: Any = importlib.import_module("distributed")
    except ImportError as error:
        raise ClusterError("Dask is not installed: pip install 'visual-aid[cluster]'") from error
    try:
        client = dask.Client(scheduler, timeout=REACHED_WITHIN, set_as_default=False)
    except (OSError, ValueError) as error:
        raise ClusterError(f"{scheduler} cannot be reached ({error}): check the address") from error
    with client:
        _check_workers(client.run(_version))
        coming = iter(tasks)
        done = dask.as_completed(loop=client.loop)
        running: dict[str, Task] = {}
        try:
            while True:
                room = TASKS_A_PROCESS * max(1, sum(client.nthreads().values()))
                while len(running) < room and (task := next(coming, None)) is not None:
                    future = client.submit(work, task, pure=False)
                    running[future.key] = task
                    done.add(future)
                if not running:
                    return
                future = next(done)
                task = running.pop(future.key)
                try:
                    result: Result = future.result()
                except dask.KilledWorker:
                    result = lost(task)
                future.release()
                yield result
        except (dask.CancelledError, OSError) as error:
            raise ClusterError(f"{scheduler} is gone ({error}): what is done is kept, start again") from error


def _version() -> str:
    # Run once on each worker that is there; threads of libraries would crowd the worker's.
    from visual_aid.threads import one_thread

    one_thread()
    return __version__


def _check_workers(versions: dict[str, str]) -> None:
    for worker, version in versions.items():
        if version != __version__:
            raise ClusterError(f"worker {worker} runs visual-aid {version}, not {__version__}: update it")
