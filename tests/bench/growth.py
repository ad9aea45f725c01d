"""How time and memory grow: 1 to 50 photos of the same parts, of other parts each, and the report of 100 parts.

python tests/bench/growth.py [most photos]
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

from enlarged import photo_table, write_build, write_photo
from figures import OURS, cost_of, environment, record

PARTS = 8
REPORT_PHOTOS = 13


def main() -> None:
    most = int(sys.argv[1]) if sys.argv[1:] else 50
    note = environment("numpy", "scipy", "pillow")
    print(note)
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made)
        for k in range(max(most, REPORT_PHOTOS)):
            write_photo(folder / f"{k}.jpg", 1600, seed=k)
        rows = [row for n in sorted({1, 2, 10, most}) for row in _photos(folder, n)]
        rows += _report(folder, REPORT_PHOTOS)
    record("growth", rows, f"photos of 2 megapixels, {PARTS} parts in each; one run; {note}")


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
