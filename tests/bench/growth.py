"""How time and memory grow: judging of 100 to 2000 invented parts, 1 to 50 photos of the same parts, and reports.

python tests/bench/growth.py [most photos, 0 for none] [most parts]
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
from enlarged import photo_table, write_build, write_photo
from figures import OURS, PROJECT, cost_of, environment, record

PARTS = 8
MANY = (100, 200, 400, 1000, 2000)
REPORT_PHOTOS = 13


def main() -> None:
    most, parts = (int(sys.argv[k]) if len(sys.argv) > k else default for k, default in ((1, 50), (2, 2000)))
    note = environment("numpy", "scipy", "pillow")
    print(note)
    rows = [row for unsure in (False, True) for row in _judged([n for n in MANY if n <= parts], unsure)]
    record("growth of judging", rows, f"invented parts, ten in a photo, a tenth in two; one run; {note}")
    if most == 0:
        return
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made)
        for k in range(max(most, REPORT_PHOTOS)):
            write_photo(folder / f"{k}.jpg", 1600, seed=k)
        rows = [row for n in sorted({1, 2, 10, most}) for row in _photos(folder, n)]
        rows += _report(folder, REPORT_PHOTOS)
    record("growth", rows, f"photos of 2 megapixels, {PARTS} parts in each; one run; {note}")


def _judged(numbers: list[int], unsure: bool) -> list[tuple[str, float, str]]:
    """Parts judged whole, from samples to advice, each number in a process of its own; the exponent is that of a straight
    line through the logarithms from 100 parts on.
    """
    rows, costs = [], []
    for n in numbers:
        told = subprocess.run(
            [sys.executable, "-c", _JUDGE, str(n), "1.2" if unsure else "0.15"],
            cwd=PROJECT,
            env={**os.environ, "PYTHONPATH": f"{PROJECT}:{PROJECT / 'tests'}"},
            check=True,
            capture_output=True,
            text=True,
        )
        seconds, memory, size = (float(word) for word in told.stdout.split())
        what = f"{n} parts judged{', most pairs unsure' if unsure else ''}"
        rows += [(f"{what}: processor", seconds, "s"), (f"{what}: memory", memory, "MiB")]
        rows.append((f"{what}: report without pictures", size, "MB"))
        costs.append(seconds)
    if len(numbers) > 2:
        exponent = float(np.polyfit(np.log(numbers), np.log(costs), 1)[0])
        rows.append((f"growth with the parts{', most pairs unsure' if unsure else ''}", exponent, "exponent"))
    return rows


_JUDGE = """
import resource, sys, time
from large_builds import large_build
from finishmatch.audit import judged
from finishmatch.report.page import render
build, photos = large_build(int(sys.argv[1]), noise=float(sys.argv[2]))
start = time.process_time()
found = judged(build, photos)
seconds, memory = time.process_time() - start, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
print(seconds, memory, len(render(found.results).encode()) / 1e6)
"""


def _photos(folder: Path, n: int) -> list[tuple[str, float, str]]:
    write_build(folder / "b.toml", [photo_table(f"{k}.jpg", 1.0) for k in range(n)])
    cost = cost_of([*OURS, "audit", "b.toml", "--out", f"out{n}"], folder)
    what = f"{n} photos of the same parts"
    return [
        (f"{what}: wall", cost.wall_s, "s"),
        (f"{what}: processor", cost.processor_s, "s"),
        (f"{what}: processor a photo", cost.processor_s / n, "s"),
        (f"{what}: memory", cost.memory_mb, "MiB"),
    ]


def _report(folder: Path, n: int) -> list[tuple[str, float, str]]:
    """The report of ``n`` photos of eight parts each, all others."""
    from finishmatch.audit import audit_file
    from finishmatch.report.page import render

    write_build(folder / "r.toml", [photo_table(f"{k}.jpg", 1.0, suffix=f" {k}") for k in range(n)])
    found = audit_file(folder / "r.toml")
    start, processor = time.perf_counter(), time.process_time()
    page = render(found.results, found.exhibits)
    what = f"report of {len(found.results.parts)} parts"
    return [
        (f"{what}: wall", time.perf_counter() - start, "s"),
        (f"{what}: processor", time.process_time() - processor, "s"),
        (f"{what}: size", len(page.encode()) / 1e6, "MB"),
    ]


if __name__ == "__main__":
    main()
