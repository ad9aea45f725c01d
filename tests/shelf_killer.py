"""Start a writer, kill it without warning at a random moment, again and again; print what it had acknowledged.

A program of its own, and small: it forks, which a process with threads must not.
"""

from __future__ import annotations

import os
import random
import select
import signal
import sys
import time
from pathlib import Path

from shelf_records import write_and_tell


def one_life(shelf: Path, name: str, seconds: float) -> bytes:
    """What a writer acknowledged in so many seconds; it is killed wherever it is then."""
    ours, its = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(ours)
        write_and_tell(shelf, name, 10_000, its)
        os._exit(0)
    os.close(its)
    said, end = b"", time.monotonic() + seconds
    while (rest := end - time.monotonic()) > 0:
        if select.select([ours], [], [], rest)[0]:
            said += os.read(ours, 65536)
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    while more := os.read(ours, 65536):
        said += more
    os.close(ours)
    return said


def main() -> None:
    shelf, times = Path(sys.argv[1]), int(sys.argv[2])
    rng = random.Random(2005)
    for n in range(times):
        sys.stdout.buffer.write(one_life(shelf, f"life {n}", rng.uniform(0.001, 0.06)))


if __name__ == "__main__":
    main()
