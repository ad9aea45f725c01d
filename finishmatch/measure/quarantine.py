"""Photos from anywhere: decoded in a process of its own, with bounds on time and memory, that knows only the file's bytes.

A decoder that crashes, hangs or eats memory ends as one error; the next photo gets a new process. What comes back is
read as numbers and checked, so that even a decoder that was taken over can only give a wrong picture.
"""

from __future__ import annotations

import json
import signal
import subprocess
import sys
import threading
from collections.abc import Callable
from dataclasses import asdict
from pathlib import Path
from types import TracebackType
from typing import IO, Any

import numpy as np
import numpy.typing as npt

import finishmatch
from finishmatch.disk import read_whole
from finishmatch.errors import InputError, Note
from finishmatch.measure.decode import Decoded
from finishmatch.measure.limits import USUAL, Limits
from finishmatch.measure.photo import Photo, of_file, photo_of
from finishmatch.text import shown

_LAUNCH = "import sys; sys.path[:] = sys.argv[1:]; from finishmatch.measure.quarantined import main; main()"
_LONGEST_HEAD = 1_000_000
_PIPE_BYTES = 1 << 20  # a picture is tens of megabytes; the usual 64 KiB cost twice the time
_ERRORS = ("photo_unreadable", "photo_kind", "photo_too_large", "decoder_stopped")
_STEPS = {"uint8": (256,), "uint16": (1024, 4096, 65536)}


class Quarantine:
    """Opens photos as :func:`finishmatch.measure.photo.open_photo` does, in a process that is kept for the next one.

    A context manager: the process starts when it is entered, and ends with it. Safe to use from several threads.
    """

    def __init__(self, limits: Limits = USUAL) -> None:
        self._limits = limits
        self._process: subprocess.Popen[bytes] | None = None
        self._one_at_a_time = threading.Lock()

    def __enter__(self) -> Quarantine:
        self._running()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._stop()

    def open_photo(self, path: Path, name: str | None = None) -> Photo:
        """Open a photo. Errors: those of :func:`finishmatch.measure.photo.open_photo`, and decoder_stopped."""
        label = str(path) if name is None else name
        data = read_whole(path, self._limits.file_bytes, "photo_too_large")
        try:
            with self._one_at_a_time:
                decoded = self._decode(data)
        except InputError as error:
            raise of_file(error, label) from error
        return photo_of(decoded, label, data)

    def _decode(self, data: bytes) -> Decoded:
        process, late = self._running(), threading.Event()
        timer = threading.Timer(self._limits.seconds, _end, (process, late))
        timer.start()
        try:
            assert process.stdin is not None
            assert process.stdout is not None
            _ask(process.stdin, data, self._limits)
            return _answer(process.stdout, self._limits)
        except (OSError, EOFError, ValueError, KeyError, TypeError) as error:
            status = self._stop()
            why = f"it takes more than {self._limits.seconds:g} s" if late.is_set() else _ending(status)
            raise InputError("decoder_stopped", f"cannot be decoded: {why}") from error
        finally:
            timer.cancel()
            timer.join()
            if late.is_set():
                self._stop()

    def _running(self) -> subprocess.Popen[bytes]:
        if self._process is None or self._process.poll() is not None:
            self._stop()
            here = str(Path(finishmatch.__file__).parent.parent)
            paths = [here, *(str(Path(entry).resolve()) for entry in sys.path if entry)]
            self._process = subprocess.Popen(
                [sys.executable, "-I", "-S", "-c", _LAUNCH, *paths],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=subprocess.DEVNULL,
                pipesize=_PIPE_BYTES,
            )
        return self._process

    def _stop(self) -> int:
        """End the process, if there is one; its exit status."""
        process, self._process = self._process, None
        if process is None:
            return 0
        process.kill()
        for pipe in (process.stdin, process.stdout):
            if pipe is not None:
                _closed(pipe)
        return process.wait()


def open_safely(path: Path, name: str | None = None, limits: Limits = USUAL) -> Photo:
    """Open one photo in a process for it alone. Errors: those of :meth:`Quarantine.open_photo`."""
    with Quarantine(limits) as quarantine:
        return quarantine.open_photo(path, name)


def _closed(pipe: IO[bytes]) -> None:
    try:
        pipe.close()
    except OSError:  # what was not sent yet has nobody to go to
        return


def _end(process: subprocess.Popen[bytes], late: threading.Event) -> None:
    late.set()
    process.kill()


def _ending(status: int) -> str:
    if status < 0 and -status != signal.SIGKILL:
        return f"its decoder crashed ({signal.Signals(-status).name})"
    return "its decoder stopped"


def _ask(pipe: IO[bytes], data: bytes, limits: Limits) -> None:
    request = {"bytes": len(data), "limits": asdict(limits)}
    pipe.write(json.dumps(request).encode() + b"\n")
    pipe.write(data)
    pipe.flush()


def _answer(pipe: IO[bytes], limits: Limits) -> Decoded:
    """The answer, checked. Raises the InputError that it tells, or ValueError, KeyError, TypeError, EOFError."""
    head = json.loads(pipe.readline(_LONGEST_HEAD) or _nothing())
    if "error" in head:
        code, text = head["error"]
        _require(code in _ERRORS)
        raise InputError(code, shown(text, 200))
    height, width, channels = head["shape"]
    steps, depth = head["steps"], head["depth"]
    _require(height > 0 and width > 0 and height * width <= limits.pixels and channels == 3 and steps in _STEPS[depth])
    encoded = _array(pipe, (height, width, 3), depth)
    curves = _array(pipe, (3, steps), "float32")
    matrix = np.array(head["rgb_to_xyz_d50"], dtype=float)
    _require(steps in (256, 65536) or int(encoded.max()) < steps)
    _require(bool(((curves >= 0) & (curves <= 1)).all()))
    _require(matrix.shape == (3, 3) and bool(np.isfinite(matrix).all()))
    notes = tuple(Note(code, shown(text, 300)) for code, text in head["notes"])
    return Decoded(encoded, curves, matrix, shown(head["colour_source"]), notes)


def _nothing() -> bytes:
    raise EOFError


def _require(true: bool) -> None:
    if not true:
        raise ValueError("an impossible answer")


def _array(pipe: IO[bytes], shape: tuple[int, ...], depth: str) -> npt.NDArray[Any]:
    array = np.empty(shape, dtype=depth)
    view = array.data.cast("B")
    read: Callable[[memoryview], int] = pipe.readinto  # type: ignore[attr-defined]  # a buffered reader has it
    at = 0
    while at < len(view):
        count = read(view[at:])
        if not count:
            raise EOFError
        at += count
    return array
