"""A shelf of a million finishes, and all pairs among ten thousand. Run: python tests/bench/shelf.py [records]

Half of the finishes lie anywhere in the range of surface colours of a screen (sRGB), half in forty kinds of finish.
Each has the shared errors of one photo with a 24-patch chart: 33 errors, 3 x 33 loadings. Every query is tried against the plain
formula on all records.
"""

from __future__ import annotations

import os
import platform
import resource
import sqlite3
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import numpy.typing as npt

from finishmatch.colour.ciede2000 import ciede2000
from finishmatch.colour.measured_colour import MeasuredColour
from finishmatch.colour.near_pairs import near_pairs
from finishmatch.colour.space import SRGB_TO_XYZ_D50, srgb_decode, xyz_to_lab
from finishmatch.shelf.record import Origin, Record
from finishmatch.shelf.store import open_shelf

Array = npt.NDArray[np.float64]
AT_ONCE = 10_000
ERRORS = 33
QUERIES = 100
MOST, WITHIN = 20, 10.0


def colours(n: int, rng: np.random.Generator) -> Array:
    anywhere = xyz_to_lab(srgb_decode(rng.uniform(size=(n, 3))) @ SRGB_TO_XYZ_D50.T)
    kinds = xyz_to_lab(srgb_decode(rng.uniform(0.1, 0.9, size=(40, 3))) @ SRGB_TO_XYZ_D50.T)
    near = kinds[rng.integers(0, 40, n)] + rng.normal(scale=(3.0, 1.2, 1.2), size=(n, 3))
    return np.asarray(np.where(rng.random(n)[:, None] < 0.5, anywhere, near))


def records(lab: Array, first: int, rng: np.random.Generator) -> list[Record]:
    """Twelve parts a photo; names as people give them."""
    roots = rng.normal(scale=0.2, size=(500, 3, 3))
    loadings = rng.normal(scale=0.2, size=(500, 3, ERRORS))
    found = []
    for i, values in enumerate(lab, start=first):
        photo = f"{i // 12:064x}"
        root = roots[i % 500]
        shared = {f"{photo[-12:]}-chart@0123456789ab": loadings[i % 500]}
        colour = MeasuredColour(f"door handle {i}", values, root @ root.T, shared, 0.07)
        origin = Origin((photo,), ("window",), "chart24 2014-11", 1.3, "finishmatch 0.1.0", ("card_located",))
        facts = (f"Maker {i % 40}", f"bronze {i % 7}", f"2026-{i % 52:02}")
        found.append(Record(colour, f"2026-{i % 12 + 1:02}-15", origin, *facts))
    return found


def fill(path: Path, lab: Array) -> dict[str, float]:
    """Seconds for ten thousand records: by the clock and of the processor, and the last ones, when the shelf is full."""
    rng = np.random.default_rng(1)
    times, processor = [], []
    with open_shelf(path, create=True) as shelf:
        for start in range(0, len(lab), AT_ONCE):
            made = records(lab[start : start + AT_ONCE], start, rng)
            begin, begin_processor = time.perf_counter(), time.process_time()
            shelf.add(made)
            times.append(time.perf_counter() - begin)
            processor.append(time.process_time() - begin_processor)
    return {
        "adding 10 000, median s": float(np.median(times)),
        "the last 10 000, s": times[-1],
        "adding 10 000, processor s": float(np.median(processor)),
    }


def search(path: Path, lab: Array) -> dict[str, float]:
    """Milliseconds a query, cold and warm alike, opening left out; every answer held against brute force."""
    rng = np.random.default_rng(2)
    like = lab[rng.integers(0, len(lab), QUERIES // 2)] + rng.normal(scale=0.5, size=(QUERIES // 2, 3))
    queries = np.concatenate([like, colours(QUERIES - len(like), rng)])
    begin = time.perf_counter()
    with open_shelf(path) as shelf:
        opening = time.perf_counter() - begin
        times, processor, wrong = [], [], 0
        for q in queries:
            begin, begin_processor = time.perf_counter(), time.process_time()
            found = shelf.nearest((float(q[0]), float(q[1]), float(q[2])), MOST, WITHIN)
            times.append(1000 * (time.perf_counter() - begin))
            processor.append(1000 * (time.process_time() - begin_processor))
            wrong += [number for number, _ in found] != brute(lab, q)
        begin = time.perf_counter()
        for number, _ in found:
            shelf.record(number)
        reading = 1000 * (time.perf_counter() - begin)
    middle, late, worst = (float(np.quantile(times, p)) for p in (0.5, 0.95, 1.0))
    return {
        "opening, ms": 1000 * opening,
        "query, median ms": middle,
        "query, 95 % ms": late,
        "query, worst ms": worst,
        "query, processor: median ms": float(np.median(processor)),
        "query, processor: worst ms": max(processor),
        "reading what was found, ms": reading,
        "queries": QUERIES,
        "queries unlike brute force": wrong,
    }


def brute(lab: Array, q: Array) -> list[int]:
    de00 = ciede2000(q, lab)
    some = np.argpartition(de00, MOST)[: MOST + 1]
    reach = de00[some].max()
    near = np.flatnonzero(de00 <= reach)
    near = near[np.lexsort((near, de00[near]))][:MOST]
    return [int(i) + 1 for i in near if de00[i] <= WITHIN]


def graph(radius: float) -> dict[str, float]:
    """All pairs of ten thousand, and the peak memory of a process that does nothing else."""
    lab = colours(10_000, np.random.default_rng(3))
    begin = time.perf_counter()
    found = near_pairs(lab, radius)
    seconds = time.perf_counter() - begin
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    wrong = 0
    for i in range(0, len(lab), 100):
        de00 = ciede2000(lab[i : i + 100, None], lab[None])
        rows, columns = np.nonzero(np.triu(de00 <= radius, i + 1))
        lo, hi = np.searchsorted(found.first, [i, i + 100])
        wrong += not (np.array_equal(rows + i, found.first[lo:hi]) and np.array_equal(columns, found.second[lo:hi]))
    return {"pairs": len(found.first), "seconds": seconds, "peak, MiB": peak, "blocks unlike brute force": wrong}


def say(title: str, figures: dict[str, float]) -> None:
    print(title)
    for name, value in figures.items():
        print(f"  {name:32}{value:12.4g}")


def main() -> None:
    if sys.argv[1:2] == ["graph"]:
        say(f"all pairs among 10 000 within {sys.argv[2]}", graph(float(sys.argv[2])))
        return
    n = int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000
    print(
        f"Python {platform.python_version()}, SQLite {sqlite3.sqlite_version}, numpy {np.__version__}, {os.cpu_count()} cores"
    )
    for radius in ("1.5", "2.5", "4"):
        subprocess.run([sys.executable, __file__, "graph", radius], check=True)
    lab = colours(n, np.random.default_rng(0))
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "bench.shelf"
        figures = fill(path, lab)
        say(f"a shelf of {n}", {**figures, "file, MB": path.stat().st_size / 1e6})
        say("finding", search(path, lab))


if __name__ == "__main__":
    main()
