"""Work in several processes."""

import os
import signal
import subprocess
import sys
import time

import cv2
import pytest
from threadpoolctl import threadpool_info

from visual_aid.backlog.processes import TASKS_A_PROCESS, as_done, in_order


def square(number):
    return number * number


def square_or_die(number):
    if number in (3, 7):
        os._exit(1)
    return number * number


def lost(number):
    return -number


@pytest.mark.parametrize("jobs", [1, 2, 3])
def test_results_come_in_the_order_of_the_tasks(jobs):
    tasks = [5, 1, 4, 2, 8, 3]
    assert list(in_order(square, tasks, jobs, lost)) == [25, 1, 16, 4, 64, 9]
    assert list(in_order(square, [], jobs, lost)) == []


def test_a_process_that_dies_costs_its_own_task_alone():
    assert list(in_order(square_or_die, list(range(10)), 2, lost)) == [0, 1, 4, -3, 16, 25, 36, -7, 64, 81]


def test_an_error_of_the_work_itself_is_passed_on():
    with pytest.raises(TypeError):
        list(in_order(square, [1, "x"], 2, lost))


def die_once(path):
    """End the process the first time that this path is worked on."""
    if not os.path.exists(path):
        open(path, "w").close()
        os.kill(os.getpid(), signal.SIGKILL)
    return path


@pytest.mark.parametrize("jobs", [1, 3])
def test_results_come_as_they_are_done_each_once(jobs):
    assert sorted(as_done(square, range(20), jobs, lost)) == sorted(n * n for n in range(20))
    assert list(as_done(square, [], jobs, lost)) == []


def test_tasks_are_read_only_as_they_are_needed():
    read = []

    def tasks():
        for number in range(100):
            read.append(number)
            yield number

    results = as_done(square, tasks(), 2, lost)
    for done in range(1, 4):
        next(results)
        assert len(read) <= done + 2 * TASKS_A_PROCESS
    results.close()
    assert len(read) < 20


def test_a_task_that_ends_its_process_is_lost_alone():
    expected = sorted(-n if n in (3, 7) else n * n for n in range(12))
    assert sorted(as_done(square_or_die, range(12), 2, lost)) == expected


def test_a_process_that_is_ended_from_outside_costs_nothing(tmp_path):
    paths = [str(tmp_path / str(n)) for n in range(3)]
    assert sorted(as_done(die_once, paths, 2, lambda path: "lost")) == paths


def test_an_error_of_unordered_work_is_passed_on():
    with pytest.raises(TypeError):
        list(as_done(square, ["x"], 1, lost))


def test_processes_end_with_a_parent_that_is_killed(tmp_path):
    script = tmp_path / "run.py"
    script.write_text(
        "import os, time\n"
        "from visual_aid.backlog.processes import as_done\n"
        "def work(number):\n"
        "    time.sleep(0.5)\n"
        "    return os.getpid()\n"
        "if __name__ == '__main__':\n"
        "    for pid in as_done(work, range(10**6), 2, None):\n"
        "        print(pid, flush=True)\n"
    )
    parent = subprocess.Popen([sys.executable, script], stdout=subprocess.PIPE, text=True)
    workers = {int(parent.stdout.readline()) for _ in range(4)}
    parent.kill()
    parent.wait()
    parent.stdout.close()
    deadline = time.monotonic() + 60
    while any(alive(pid) for pid in workers):
        assert time.monotonic() < deadline, "processes outlive their parent"
        time.sleep(0.1)


def alive(pid):
    try:
        with open(f"/proc/{pid}/stat") as stat:
            return stat.read().rpartition(")")[2].split()[0] != "Z"
    except FileNotFoundError:
        return False


def threads(_task):
    return max(cv2.getNumThreads(), *(library["num_threads"] for library in threadpool_info()))


@pytest.mark.parametrize("spread", [in_order, as_done])
def test_processes_that_share_the_cores_have_one_thread_each(spread):
    """With threads of their own, two processes did 1.15 times the work of one; without, 1.8 to 2."""
    assert list(spread(threads, [1, 2], 2, lost)) == [1, 1]
