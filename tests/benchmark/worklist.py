"""How fast the worklist answers with many photos in SQLite; not a test, since no time is asserted.

    python tests/benchmark/worklist.py [PHOTOS]

Fills records in the current folder's ``benchmark.sqlite`` with made screenings, straight into the tables,
and prints how long the page's questions take, the median of five.
"""

from __future__ import annotations

import datetime as dt
import random
import statistics
import sys
import time
from pathlib import Path

from sqlalchemy import create_engine, insert

from visual_aid.model import CUES, Candidate, PhotoInfo, Quality, Screening
from visual_aid.records import schema as t
from visual_aid.records.entries import Filter
from visual_aid.records.queries import candidate_to_json
from visual_aid.records.store import Store

UNITS = 200
BOX = (10.0, 10.0, 40.0, 40.0)
AT_A_TIME = 5000


def fill(path: Path, photos: int) -> None:
    """Write made photos with up to four candidates each, a tenth of them decided on."""
    Store.open(path).close()
    rng = random.Random(0)
    now = dt.datetime(2026, 5, 4, tzinfo=dt.UTC)
    engine = create_engine(f"sqlite:///{path}")
    with engine.begin() as connection:
        connection.execute(insert(t.unit), [{"id": n, "number": str(n)} for n in range(1, UNITS + 1)])
        connection.execute(
            insert(t.visit),
            [
                {"id": n, "unit": n, "date": (now + dt.timedelta(n)).date(), "inspector": "J. Doe"}
                for n in range(1, UNITS + 1)
            ],
        )
        connection.execute(
            insert(t.position),
            [
                {"id": n, "unit": n, "axle": 1 + n % 4, "side": "left", "component": "wheel end"}
                for n in range(1, UNITS + 1)
            ],
        )
    number = 0
    for start in range(0, photos, AT_A_TIME):
        rows: dict[str, list[dict[str, object]]] = {
            n: [] for n in ("photo", "screening", "candidate", "flagged", "decision")
        }
        for n in range(start, min(start + AT_A_TIME, photos)):
            found = tuple(
                Candidate(
                    k, rng.choice(CUES), 1, (10.0, 10.0, 40.0, 40.0), ((10.0, 10.0),) * 12, rng.random() ** 2
                )
                for k in range(1, rng.randint(0, 4) + 1)
            )
            info = PhotoInfo(
                f"IMG_{n:06}.jpg", f"/yard/IMG_{n:06}.jpg", f"{n:064x}", 4032, 3024, now.isoformat()
            )
            priority = max((c.score for c in found), default=0.0)
            record = Screening("benchmark", info, Quality(True), (), found, (), priority)
            unit = 1 + n % UNITS
            rows["photo"].append(
                {
                    "id": f"{n:022x}",
                    "sha256": info.sha256,
                    "name": info.name,
                    "path": info.path,
                    "width": 4032,
                    "height": 3024,
                    "taken": info.taken,
                    "visit": unit,
                    "position": unit,
                    "added_at": now,
                }
            )
            rows["screening"].append(
                {
                    "id": n + 1,
                    "photo": f"{n:022x}",
                    "engine": "benchmark",
                    "priority": priority,
                    "usable": True,
                    "record": record.to_json(),
                    "screened_at": now,
                }
            )
            for c in found:
                number += 1
                body = {"id": number, "photo": f"{n:022x}", "source": "engine", "cue": c.cue, "added_at": now}
                rows["candidate"].append(body | {"body": candidate_to_json(c)})
                rows["flagged"].append(
                    {"screening": n + 1, "number": c.id, "candidate": number, "score": c.score}
                )
                if rng.random() < 0.1:
                    rows["decision"].append(
                        {"candidate": number, "outcome": "ruled_out", "by": "J. Doe", "note": "", "at": now}
                    )
        with engine.begin() as connection:
            for name, some in rows.items():
                if some:
                    connection.execute(insert(t.metadata.tables[name]), some)
    engine.dispose()


def main(photos: int) -> None:
    """Fill the records if need be, and ask."""
    path = Path("benchmark.sqlite")
    if not path.exists():
        fill(path, photos)
    start = time.perf_counter()
    store = Store.open(path)
    sys.stdout.write(f"opened in {time.perf_counter() - start:.2f} s\n")
    filters = {
        "no filter": Filter(),
        "one unit": Filter(units=("7",)),
        "one cue": Filter(cues=("gap",)),
        "axle and side": Filter(axle=2, side="left"),
        "a week": Filter(since=dt.date(2026, 6, 1), until=dt.date(2026, 6, 7)),
        "unit, cue, quality": Filter(units=("7", "8"), cues=("gap",), fitness=("good",)),
    }
    counts = {}
    for name, chosen in filters.items():
        times = []
        for _ in range(5):
            start = time.perf_counter()
            counts[name] = sum(store.stages(chosen).values())
            store.worklist("to_decide", chosen, limit=20)
            times.append(time.perf_counter() - start)
        sys.stdout.write(f"{name}: {1000 * statistics.median(times):.0f} ms, {counts[name]} photos\n")
    first = store.worklist("to_decide", limit=1)[0].photo.id
    start = time.perf_counter()
    store.leases.take_next(first, holder="benchmark", by="J. Doe")
    sys.stdout.write(f"next photo: {1000 * (time.perf_counter() - start):.0f} ms\n")
    start = time.perf_counter()
    store.tunings.set_threshold(0.3, by="J. Doe")
    sys.stdout.write(f"another threshold: {time.perf_counter() - start:.1f} s\n")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 100_000)
