"""The counter on a full shelf: from a photo to an answer, and the list as one types. Run: python tests/bench/counter.py [records]

Finishes are those of the shelf's bench; the photo is a drawn chart with four plates (tests/counter_world.py). Times are by the clock
and of the processor, best of seven after a first one, which is given apart: the list is read into memory then.
"""

from __future__ import annotations

import os
import platform
import resource
import sys
import tempfile
import time
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

sys.path[:0] = [str(Path(__file__).parent), str(Path(__file__).parents[1])]

import numpy as np  # noqa: E402
import shelf as shelf_bench  # noqa: E402
from counter_world import BRONZE, COPPER, TEAL, photo  # noqa: E402

from finishmatch.counter import asked  # noqa: E402
from finishmatch.counter.counter import Counter  # noqa: E402
from finishmatch.exchange.shelf_records import Assumed, csv_pieces, stream_records  # noqa: E402
from finishmatch.shelf.store import open_shelf  # noqa: E402

RUNS = 7


def timed(what: str, do: Callable[[], object]) -> None:
    times = []
    for _ in range(RUNS + 1):
        begin, processor = time.perf_counter(), time.process_time()
        do()
        times.append((time.perf_counter() - begin, time.process_time() - processor))
    (first, _), rest = times[0], times[1:]
    best, busy = (1000 * min(column) for column in zip(*rest, strict=True))
    print(f"  {what:44}{1000 * first:9.0f}{best:9.0f}{busy:9.0f}")


def transferred(path: Path, folder: Path, n: int) -> None:
    """Out as CSV and in again: records a second of the processor, and the most memory that this process ever had."""
    begin = time.process_time()
    with open_shelf(path) as full, (folder / "all.csv").open("w", encoding="utf-8", newline="") as file:
        file.writelines(csv_pieces(full.records(), full.extra_names()))
    out = time.process_time() - begin
    begin = time.process_time()
    with open_shelf(folder / "again.shelf", create=True) as again:
        added = len(again.add(stream_records(folder / "all.csv", Assumed("2026-01-01", 1.0))))
    back = time.process_time() - begin
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"  export {n / out:.0f} a second, import of {added} {added / back:.0f} a second, at most {peak:.0f} MiB")


def main() -> None:
    n = int(sys.argv[1]) if len(sys.argv) > 1 else 100_000
    print(f"Python {platform.python_version()}, numpy {np.__version__}, {os.cpu_count()} cores; {n} finishes")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        path = folder / "bench.shelf"
        shelf_bench.fill(path, shelf_bench.colours(n, np.random.default_rng(0)))
        transferred(path, folder, n)
        taken = photo(folder / "parts.jpg", BRONZE, COPPER, TEAL).read_bytes()
        print(f"  {'milliseconds':44}{'first':>9}{'best':>9}{'busy':>9}")
        with closing(Counter(path, lambda: "2026-11-02")) as counter:
            timed("the list, by colour", lambda: counter.search(asked.Search(sort="colour")))
            timed("the list, as one types", lambda: counter.search(asked.Search(words="maker 7 bronze 3")))
            sent = counter.photos.add("parts.jpg", "image/jpeg", taken)
            wanted = [asked.Wanted(sent["id"], x=560.0 + i, y=100.0 + i) for i in range(RUNS + 1)]
            timed("a click to what matches, never clicked before", lambda: counter.match(wanted.pop()))
            timed("a record with its neighbours", lambda: counter.record(n // 2))


if __name__ == "__main__":
    main()
