"""What a backlog costs; not a test, since no time is asserted.

    python tests/benchmark/backlog.py speed [PHOTOS]
    python tests/benchmark/backlog.py many [PHOTOS]

``speed`` screens made twelve-megapixel photos with one and with two processes, in turns, and prints the ratio
of their rates and what a photo costs all in (read, hash, screen, store) on a processor as a multiple of
decoding the same file. ``many`` runs the command over small photos, made by varying 200, and prints the peak
memory of the parent and of its processes, and how long it takes to go over them again with 12 changed;
``speed`` prints the peak memory of the processes on large photos.
"""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import suppress
from itertools import islice
from pathlib import Path

import cv2
import numpy as np
from screening import enlarge

from visual_aid.backlog.job import Job, do, lost
from visual_aid.backlog.processes import as_done
from visual_aid.backlog.sources import find_files
from visual_aid.records.store import Store
from visual_aid.threads import one_thread

SAMPLES = Path(__file__).parents[2] / "sample_images"
KINDS = 200
CHANGED = 12
WARM_UP = 4
ROUNDS = 3


def say(line: str) -> None:
    """Print a line."""
    sys.stdout.write(f"{line}\n")
    sys.stdout.flush()


def large_photos(folder: Path, count: int) -> None:
    """Write twelve-megapixel photos made of the samples."""
    samples = sorted(SAMPLES.glob("*.jpg"))
    for n in range(count):
        enlarge(samples[n % len(samples)], folder / f"{n:04}.jpg", seed=n)


def small_photos(folder: Path, count: int) -> None:
    """Write small photos, made by varying ``KINDS``; no two files are the same.

    They are too blurred to be judged, so that the engine is soon done and all else is what is measured.
    """
    paths = sorted(SAMPLES.glob("*.jpg"))
    samples = [cv2.GaussianBlur(cv2.resize(cv2.imread(str(path)), (320, 240)), (0, 0), 14) for path in paths]
    for n in range(count):
        kind = n % KINDS
        image = cv2.convertScaleAbs(samples[kind % len(samples)], alpha=0.8 + 0.002 * kind)
        if n % 2:
            image = cv2.flip(image, 1)
        _, data = cv2.imencode(".jpg", image, [cv2.IMWRITE_JPEG_QUALITY, 60 + n % 30])
        path = folder / f"{kind:03}" / f"{n:06}.jpg"
        path.parent.mkdir(exist_ok=True)
        # Bytes behind the end of the image change the file and not the picture.
        path.write_bytes(data.tobytes() + n.to_bytes(4, "little"))


def seconds_a_photo(folder: Path, jobs: int) -> tuple[float, int]:
    """Screen a folder into records of their own.

    Gives the seconds a photo once all processes are at work, and the peak memory of the largest in MB.
    """
    with tempfile.TemporaryDirectory() as place:
        store = Store.open(Path(place) / "yard.sqlite")
        stream = as_done(do, (Job(file) for file in find_files(str(folder), print)), jobs, lost)
        store.backlog.add(list(islice(stream, WARM_UP)))
        start, done, largest = time.perf_counter(), 0, 0
        while some := list(islice(stream, 10)):
            store.backlog.add(some)
            done += len(some)
            largest = max(largest, *map(peak_memory, children(os.getpid())), 0)
        taken = time.perf_counter() - start
        store.close()
    return taken / done, largest


def decode(folder: Path) -> float:
    """Give the seconds that decoding a photo takes in full, on one processor."""
    one_thread()
    times = []
    for path in sorted(folder.iterdir())[:8]:
        data = np.frombuffer(path.read_bytes(), np.uint8)
        start = time.process_time()
        cv2.imdecode(data, cv2.IMREAD_COLOR)
        times.append(time.process_time() - start)
    return statistics.median(times)


def speed(count: int) -> None:
    """Compare one process with two, in turns."""
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        large_photos(folder, count)
        ratios, costs = [], []
        for _ in range(ROUNDS):
            unit = decode(folder)
            (one, largest), (two, _) = (seconds_a_photo(folder, jobs) for jobs in (1, 2))
            ratios.append(one / two)
            costs.append(one / unit)
            load = os.getloadavg()[0]
            say(f"load {load:.1f}: two processes {one / two:.2f} x one; {one / unit:.1f} decodes a photo")
            say(f"largest process {largest} MB")
        say(f"median: {statistics.median(ratios):.2f} x, {statistics.median(costs):.1f} decodes a photo")


def peaks(process: subprocess.Popen[bytes]) -> dict[int, int]:
    """Watch a command until its end; give the peak resident memory, in MB, of it and its processes."""
    peak: dict[int, int] = {}
    while process.poll() is None:
        for pid in (process.pid, *children(process.pid)):
            peak[pid] = max(peak.get(pid, 0), peak_memory(pid))
        time.sleep(0.2)
    return peak


def peak_memory(pid: int) -> int:
    """Give the peak resident memory of a process in MB, 0 if it has ended."""
    with suppress(OSError, StopIteration):
        lines = Path(f"/proc/{pid}/status").read_text().splitlines()
        return int(next(line for line in lines if line.startswith("VmHWM")).split()[1]) // 1024
    return 0


def children(pid: int) -> Iterator[int]:
    """Give the processes that a process has started."""
    with suppress(OSError):
        for task in Path(f"/proc/{pid}/task").iterdir():
            yield from map(int, (task / "children").read_text().split())


def many(count: int) -> None:
    """Run the command over many photos, and again."""
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place) / "yard"
        folder.mkdir()
        small_photos(folder, count)
        script = "from visual_aid.cli import main; main()"
        command = [sys.executable, "-c", script, "backlog", str(folder), "--store", f"{place}/yard.sqlite"]
        for name in ("first run", f"again with {CHANGED} changed"):
            start = time.perf_counter()
            process = subprocess.Popen(command, stdout=subprocess.PIPE)
            peak = peaks(process)
            assert process.stdout is not None
            said = process.stdout.read().decode().splitlines()[-1]
            parent = peak.pop(process.pid)
            largest, taken = max(peak.values(), default=0), time.perf_counter() - start
            say(f"{name}: {taken:.0f} s, parent {parent} MB, largest process {largest} MB; {said}")
            say(f"load {os.getloadavg()[0]:.1f}")
            for path in sorted(folder.rglob("*.jpg"))[:CHANGED]:
                path.write_bytes(path.read_bytes() + b"again")


if __name__ == "__main__":
    what, count = sys.argv[1], int(sys.argv[2]) if len(sys.argv) > 2 else 0
    {"speed": lambda: speed(count or 40), "many": lambda: many(count or 10_000)}[what]()
