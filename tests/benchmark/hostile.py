"""Decode some thousand bad files and count how each ended.

Exits 1 if one ended otherwise than in a photo or one line.

python tests/benchmark/hostile.py [COUNT [SEED]]
"""

import importlib.util
import sys
import time
from collections import Counter
from pathlib import Path

import click

from visual_aid import decoder
from visual_aid.photo import PhotoError

COUNT = 3000


def corpus():
    """Load the maker of bad files, which lies among the tests."""
    spec = importlib.util.spec_from_file_location("hostile", Path(__file__).parents[1] / "hostile.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def main(count=COUNT, seed=1):
    """Work through the corpus and print the figures."""
    ends, lost, slowest = Counter(), [], (0.0, "")
    for name, data in corpus().mutated(count, seed):
        start = time.perf_counter()
        try:
            decoder.read_photo_bytes(data, name)
            code = "read"
        except PhotoError as refused:
            code = refused.trouble.code
            if not str(refused).isprintable():
                lost.append(f"{name}: more than one line")
        slowest = max(slowest, (time.perf_counter() - start, name))
        ends[code] += 1
        if code in ("process_died", "too_slow"):
            lost.append(f"{name}: {code}")
    for code, number in ends.most_common():
        click.echo(f"{number:6d}  {code}")
    click.echo(f"{sum(ends.values())} files; the slowest took {slowest[0]:.2f} s ({slowest[1]})")
    click.echo("\n".join(lost))
    return int(any("line" in one for one in lost) or sum(ends.values()) != count)


if __name__ == "__main__":
    sys.exit(main(*map(int, sys.argv[1:])))
