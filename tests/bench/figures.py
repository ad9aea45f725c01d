"""What the benches share: processes timed side by side, and the table of figures."""

from __future__ import annotations

import csv
import os
import platform
import subprocess
import sys
import threading
import time
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path

FIGURES = Path(__file__).with_name("FIGURES.csv")
PROJECT = Path(__file__).resolve().parents[2]
HEADER = ["bench", "figure", "value", "unit", "note"]
OURS = [sys.executable, "-m", "finishmatch"]
# As a person has it: what Python compiled once, it keeps.
_AS_USUAL = {key: value for key, value in os.environ.items() if key != "PYTHONDONTWRITEBYTECODE"}


@dataclass(frozen=True, slots=True)
class Cost:
    """Of a process and all that it started: ``memory_mb`` is their greatest resident memory, added up at one time."""

    wall_s: float
    processor_s: float
    memory_mb: float


def environment(*packages: str) -> str:
    versions = ", ".join(f"{name} {version(name)}" for name in packages)
    busy = f"load {os.getloadavg()[0]:.1f}"
    return f"Python {platform.python_version()}, {versions}, {os.cpu_count()} cores, {platform.machine()}, {busy}"


def cost_of(command: Sequence[str], folder: Path = PROJECT) -> Cost:
    """Run a command to its end; it must succeed, or find nothing that it could measure (exit status 4)."""
    nothing, seen, over = subprocess.DEVNULL, [0.0], threading.Event()
    start = time.perf_counter()
    with subprocess.Popen(command, cwd=folder, env=_AS_USUAL, stdout=nothing, stderr=nothing) as process:
        watch = threading.Thread(target=_watch_memory, args=(process.pid, seen, over))
        watch.start()
        _, status, used = os.wait4(process.pid, 0)
        wall = time.perf_counter() - start
        over.set()
        watch.join()
        process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode not in (0, 4):
        raise SystemExit(f"{' '.join(command)} ended with {process.returncode}")
    return Cost(wall, used.ru_utime + used.ru_stime, max(*seen, used.ru_maxrss / 1024))


def _watch_memory(pid: int, seen: list[float], over: threading.Event) -> None:
    """Look now and then; more often would take time from what is measured."""
    while not over.wait(0.02):
        seen.append(_resident_mb(pid))


def _resident_mb(pid: int) -> float:
    """Resident memory of a process and its descendants, as Linux tells it."""
    with suppress(OSError):
        pages = int(Path(f"/proc/{pid}/statm").read_text("ascii").split()[1])
        children = Path(f"/proc/{pid}/task/{pid}/children").read_text("ascii").split()
        return pages * os.sysconf("SC_PAGE_SIZE") / 2**20 + sum(_resident_mb(int(child)) for child in children)
    return 0.0


def side_by_side(commands: Mapping[str, Sequence[str]], rounds: int, folder: Path = PROJECT) -> dict[str, Cost]:
    """The best of so many rounds, in each of which every command runs once, so that all meet the same other work."""
    seen: dict[str, list[Cost]] = {name: [] for name in commands}
    for _ in range(rounds):
        for name, command in commands.items():
            seen[name].append(cost_of(command, folder))
    return {
        name: Cost(
            min(cost.wall_s for cost in costs),
            min(cost.processor_s for cost in costs),
            max(cost.memory_mb for cost in costs),
        )
        for name, costs in seen.items()
    }


def rows_of(costs: Mapping[str, Cost], yardstick: str) -> list[tuple[str, float, str]]:
    """Wall and processor seconds and memory of each, and how many times the yardstick."""
    rows = []
    for name, cost in costs.items():
        rows += [(f"{name}: wall", cost.wall_s, "s"), (f"{name}: processor", cost.processor_s, "s")]
        rows.append((f"{name}: memory", cost.memory_mb, "MiB"))
        if name != yardstick:
            rows.append((f"{name}: wall over yardstick", cost.wall_s / costs[yardstick].wall_s, "times"))
            processor = cost.processor_s / costs[yardstick].processor_s
            rows.append((f"{name}: processor over yardstick", processor, "times"))
    return rows


def record(bench: str, rows: Sequence[tuple[str, float, str]], note: str) -> None:
    """Print this bench's rows and put them in the place of its old ones."""
    for figure, value, unit in rows:
        print(f"{figure:60} {value:10.3g} {unit}")
    with FIGURES.open(encoding="utf-8", newline="") as lines:
        kept = [row for row in list(csv.reader(lines))[1:] if row[0] != bench]
    with FIGURES.open("w", encoding="utf-8", newline="") as lines:
        writer = csv.writer(lines, lineterminator="\n")
        writer.writerow(HEADER)
        writer.writerows(kept)
        writer.writerows([bench, figure, f"{value:.3g}", unit, note] for figure, value, unit in rows)
