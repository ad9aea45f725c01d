"""A save that is killed: run as ``python save_killer.py KIND FOLDER`` under a tracer, see :func:`at_every_call`."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
import tempfile
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

OLD = {"results.json": b"old" * 9, "report.html": b"old", "parts.csv": b"old", "differences.csv": b""}
NEW = {"results.json": b"new" * 9, "report.html": b"", "parts.csv": b"new", "differences.csv": b"new"}
BUILD_OLD, BUILD_NEW = {"build.toml": b"# old\n" * 500}, {"build.toml": b"# new\n" * 900}
FRESH = {"card.txt": b"fresh\n" * 500}
# Calls that nothing else makes, around the save.
_BEGIN, _END = "/the-save-begins-here", "/the-save-ends-here"


def save(kind: str, folder: Path) -> None:
    from finishmatch.disk import write_new, write_whole

    if kind == "new":
        write_new(folder / "card.txt", FRESH["card.txt"])
    else:
        write_whole(folder, NEW if kind == "set" else BUILD_NEW)


def before(kind: str, folder: Path) -> dict[str, bytes]:
    """Lay out what the folder holds before the save: what is saved over, and a file and a folder of somebody's own."""
    old = {"set": OLD, "one": BUILD_OLD, "new": {}}[kind]
    (folder / "photos").mkdir(parents=True)
    (folder / "photos" / "bench.jpg").write_bytes(b"photo")
    (folder / "letter.txt").write_bytes(b"mine")
    for name, data in old.items():
        (folder / name).write_bytes(data)
    return old


def after(kind: str) -> dict[str, bytes]:
    return {"set": NEW, "one": BUILD_NEW, "new": FRESH}[kind]


def may_trace() -> bool:
    """Whether there is a tracer that may end a process at a call of our choice."""
    try:
        run = subprocess.run(
            ["strace", "-f", "-qq", "-o", os.devnull, "-e", "inject=rmdir:signal=SIGKILL:when=1", "rmdir", "/none"],
            capture_output=True,
        )
    except FileNotFoundError:
        return False
    return run.returncode in (-signal.SIGKILL, 128 + signal.SIGKILL)


def at_every_call(kind: str, folder: Path, only: set[str] | None = None) -> Iterator[tuple[str, Path]]:
    """Kill the save as it makes each of its system calls, or ``only`` those of some names; yields the call and the folder."""
    for number, (call, nth) in enumerate(_calls(kind, folder / "counted")):
        if only is None or call in only:
            place = folder / str(number)
            before(kind, place)
            status = _traced(kind, place, "-e", f"trace={call}", "-e", f"inject={call}:signal=SIGKILL:when={nth}")
            if status not in (-signal.SIGKILL, 128 + signal.SIGKILL):
                raise RuntimeError(f"the save was not killed at {call} no. {nth}: {status}")
            yield f"{call} no. {nth}", place


def _calls(kind: str, place: Path) -> list[tuple[str, int]]:
    """The system calls of a save, in order: each one's name, and the how-manieth of that name it is in its process."""
    before(kind, place)
    with tempfile.NamedTemporaryFile("r") as log:
        if _traced(kind, place, "-o", log.name) != 0:
            raise RuntimeError("the save failed")
        lines = log.read().splitlines()
    counts: Counter[str] = Counter()
    found, inside = [], False
    for line in lines:
        named = re.match(r"(?:\d+ +)?(\w+)\(", line)
        if named:
            counts[named[1]] += 1
            inside = (inside or _BEGIN in line) and _END not in line
            if inside and _BEGIN not in line:
                found.append((named[1], counts[named[1]]))
    return found


def _traced(kind: str, place: Path, *how: str) -> int:
    environment = {**os.environ, "PYTHONHASHSEED": "0", "PYTHONDONTWRITEBYTECODE": "1"}
    command = ["strace", "-f", "-qq", *how, sys.executable, __file__, kind, str(place)]
    return subprocess.run(command, env=environment, stderr=subprocess.DEVNULL).returncode


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as rehearsal:  # whatever is loaded at the first save is loaded then
        save(sys.argv[1], Path(rehearsal) / "new" if sys.argv[1] != "new" else Path(rehearsal))
    Path(_BEGIN).exists()
    save(sys.argv[1], Path(sys.argv[2]))
    Path(_END).exists()
