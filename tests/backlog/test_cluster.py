"""Work on a cluster of separate processes gives what one process gives."""

import os
import signal
from pathlib import Path

import pytest
from distributed import Client, LocalCluster

from visual_aid.backlog import cluster
from visual_aid.backlog.cluster import ClusterError, as_done_on


def square(number):
    return number * number


def die_once(path):
    """End the worker the first time that this path is worked on."""
    if not Path(path).exists():
        Path(path).touch()
        os.kill(os.getpid(), signal.SIGKILL)
    return path


def die(number):
    os.kill(os.getpid(), signal.SIGKILL)


@pytest.fixture(scope="module")
def workers():
    """Give the address of a cluster of two workers, each a process of its own."""
    with LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None, host="127.0.0.1"
    ) as local:
        yield local.scheduler_address


def test_all_results_come_each_once(workers):
    assert sorted(as_done_on(workers, square, range(20), None)) == sorted(n * n for n in range(20))


def test_a_worker_that_is_killed_costs_nothing(workers, tmp_path):
    # Three workers end. A task that was at hand when a fourth did would be taken for what ends them.
    paths = [str(tmp_path / str(n)) for n in range(3)]
    assert sorted(as_done_on(workers, die_once, paths, None)) == paths


def test_a_task_that_ends_every_worker_is_lost_alone(workers):
    with Client(workers) as client:
        client.run_on_scheduler(lambda dask_scheduler: setattr(dask_scheduler, "allowed_failures", 1))
    assert list(as_done_on(workers, die, [3], lambda number: -number)) == [-3]


def test_a_scheduler_that_is_not_there_is_named(monkeypatch):
    monkeypatch.setattr(cluster, "REACHED_WITHIN", "1s")
    with pytest.raises(ClusterError, match=r"tcp://127\.0\.0\.1:9 cannot be reached"):
        list(as_done_on("tcp://127.0.0.1:9", square, [1], None))


def test_workers_of_another_version_are_refused():
    with pytest.raises(ClusterError, match=r"worker tcp://b runs visual-aid 0\.0\.1, not"):
        cluster._check_workers({"tcp://b": "0.0.1"})
