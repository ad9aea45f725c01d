"""What makes the program quicker to load and to end than its libraries would be by themselves; all of it stands here."""

from __future__ import annotations

import atexit
import gc
import os


def tune() -> None:
    """Set up a process that does one task and ends; before numpy is loaded."""
    # Its matrices are small: threads that wait for one another would double the time.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    # For the process that decodes: half of its time would go to being given a picture's memory by 4 KiB.
    os.environ.setdefault("GLIBC_TUNABLES", "glibc.malloc.hugetlb=1")
    # Its values hold no cycles: looking for some, while modules load and once more at the end, is a tenth of the time.
    gc.set_threshold(200_000)
    atexit.register(gc.freeze)
