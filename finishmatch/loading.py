"""What makes the program quicker to load and to end than its libraries would be by themselves; all of it stands here."""

from __future__ import annotations

import atexit
import gc
import os
import sys
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from jinja2 import BytecodeCache


def tune() -> None:
    """Set up a process that does one task and ends; before numpy is loaded."""
    # Its matrices are small: threads that wait for one another would double the time.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    # For the process that decodes: half of its time would go to being given a picture's memory by 4 KiB.
    os.environ.setdefault("GLIBC_TUNABLES", "glibc.malloc.hugetlb=1")
    # Its values hold no cycles: looking for some, while modules load and once more at the end, is a tenth of the time.
    gc.set_threshold(200_000)
    atexit.register(gc.freeze)


def decode_soon() -> None:
    """Start the process that decodes: it loads its libraries while this one loads its own, a sixth of an audit's time."""
    from finishmatch.photo.process import launch

    launch.start_ahead()


def compiled_templates(folder: Path) -> BytecodeCache | None:
    """Templates compiled once, kept where Python keeps the compiled modules of a folder; None where it may not.

    Compiling them at each start takes a seventh of an audit's time.
    """
    from jinja2 import FileSystemBytecodeCache

    if sys.dont_write_bytecode:
        return None
    kept = folder / "__pycache__"
    with suppress(OSError):
        kept.mkdir(exist_ok=True)
    return FileSystemBytecodeCache(str(kept)) if os.access(kept, os.W_OK) else None
