"""Time the stages of a screening in decodes, and its peak memory: ``python tests/benchmark/screening.py``.

One thread, processor time, best of three. The ratio takes the machine out of the figure. The photos are the
samples, enlarged to twelve megapixels and given the grain of a phone's picture, since a decode costs what the
grain costs. Memory is that of a process of its own, for a photo of twelve and one of fifty megapixels. Both
take in the reading of the file, which in use is done in another process (``visual_aid.decoder``), whose time
and memory would not count.
"""

from __future__ import annotations

import multiprocessing
import resource
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TypeVar

import cv2
import numpy as np

from visual_aid.evidence.register import MEASURE
from visual_aid.evidence.scene import Scene
from visual_aid.fasteners.find import find_fasteners
from visual_aid.model import Fastener
from visual_aid.photo import Photo, read_photo
from visual_aid.quality import Whole, judge
from visual_aid.screening import screen_photo
from visual_aid.threads import one_thread

SAMPLES = Path(__file__).parents[2] / "sample_images"
SIZE, LARGE = (4000, 3000), (8160, 6120)
GRAIN, QUALITY = 6.0, 90
PHOTOS, REPEATS = 5, 3

Result = TypeVar("Result")


def timed(work: Callable[[], Result]) -> tuple[Result, float]:
    """Give the work's result and its best processor time in seconds."""
    best = float("inf")
    for _ in range(REPEATS):
        start = time.process_time()
        result = work()
        best = min(best, time.process_time() - start)
    return result, best


def enlarge(source: Path, target: Path, size: tuple[int, int] = SIZE, seed: int = 0) -> None:
    """Write a JPEG of the size (width, height) that shows what the source shows, with grain of its own."""
    pixels = cv2.resize(cv2.imread(str(source)), size, interpolation=cv2.INTER_CUBIC)
    grain = np.random.default_rng(seed).normal(0, GRAIN, pixels.shape)
    cv2.imwrite(
        str(target), np.clip(pixels + grain, 0, 255).astype(np.uint8), [cv2.IMWRITE_JPEG_QUALITY, QUALITY]
    )


def stages(path: Path) -> dict[str, float]:
    """Seconds of each stage on one photo."""
    data = np.frombuffer(path.read_bytes(), np.uint8)
    out: dict[str, float] = {}
    _, out["decode"] = timed(lambda: cv2.imdecode(data, cv2.IMREAD_COLOR))
    photo, out["read"] = timed(lambda: read_photo(path))
    fasteners, out["find"] = timed(lambda: find_fasteners(photo))
    _, out["quality"] = timed(lambda: judged_twice(photo, fasteners))
    scene, out["frames"] = timed(lambda: Scene.build(photo, fasteners))
    for cue, measure in MEASURE.items():
        _, out[cue] = timed(
            lambda measure=measure: measure(Scene(photo, scene.fasteners, scene.frames, scene.seats))
        )
    _, out["whole"] = timed(lambda: screen_photo(read_photo(path)))
    return out


def judged_twice(photo: Photo, fasteners: Sequence[Fastener]) -> None:
    """Judge a photo before and after its fasteners are known, as a screening does."""
    whole = Whole(photo.working)
    judge(photo, whole=whole)
    judge(photo, fasteners, whole)


def peak_megabytes(path: Path | None) -> float:
    """Screen a photo, or nothing, in this process and give the most memory that it held, in MB."""
    one_thread()
    if path is not None:
        screen_photo(read_photo(path))
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1000


def in_own_process(work: Callable[..., Result], *args: object) -> Result:
    """Do work in a fresh process. A process starts with its parent's peak, so the parent must stay small."""
    with multiprocessing.get_context("spawn").Pool(1) as pool:
        return pool.apply(work, args)


def main() -> None:
    """Print the median ratio of every stage, and the peak memory."""
    one_thread()
    with tempfile.TemporaryDirectory() as folder:
        first = sorted(SAMPLES.glob("*.jpg"))[0]
        sys.stdout.write(f"{'libraries':14} {in_own_process(peak_megabytes, None):5.0f} MB\n")
        for size in (SIZE, LARGE):
            in_own_process(enlarge, first, Path(folder) / "memory.jpg", size)
            megapixels = size[0] * size[1] / 1e6
            peak = in_own_process(peak_megabytes, Path(folder) / "memory.jpg")
            sys.stdout.write(f"{f'{megapixels:.0f} megapixels':14} {peak:5.0f} MB\n")
        rows = []
        for source in sorted(SAMPLES.glob("*.jpg"))[:PHOTOS]:
            enlarge(source, Path(folder) / source.name)
            rows.append(stages(Path(folder) / source.name))
    for stage in rows[0]:
        ratio = np.median([row[stage] / row["decode"] for row in rows])
        sys.stdout.write(f"{stage:14} {ratio:5.2f}\n")


if __name__ == "__main__":
    main()
