"""The process that decodes, started: when it is wanted, or ahead of that, so that both processes load their libraries at once."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import finishmatch

_SCRIPT = "import sys; sys.path[:] = sys.argv[1:]; from finishmatch.photo.process.child import main; main()"
_PIPE_BYTES = 1 << 20  # a picture is tens of megabytes; the usual 64 KiB cost twice the time

_ahead: list[subprocess.Popen[bytes]] = []


def start_ahead() -> None:
    """Start a process for the next :func:`started`. One that is never asked for ends with this program."""
    if not _ahead:
        _ahead.append(_new())


def started() -> subprocess.Popen[bytes]:
    """A running process: the one that was started ahead, or a new one."""
    process = _ahead.pop() if _ahead else _new()
    return process if process.poll() is None else _new()


def _new() -> subprocess.Popen[bytes]:
    here = str(Path(finishmatch.__file__).parent.parent)
    paths = [here, *(str(Path(entry).resolve()) for entry in sys.path if entry)]
    return subprocess.Popen(
        [sys.executable, "-I", "-S", "-c", _SCRIPT, *paths],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        pipesize=_PIPE_BYTES,
    )
