"""One photo on its way through the process that decodes it: asked for in a thread, taken over when it is wanted.

What comes back is read as numbers and checked, so that even a decoder that was taken over can only give a wrong picture.
"""

from __future__ import annotations

import json
import signal
import subprocess
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import asdict
from pathlib import Path
from typing import IO, Any

import numpy as np
import numpy.typing as npt

from finishmatch.disk import read_whole
from finishmatch.errors import InputError, Note
from finishmatch.photo.decode.decode import Decoded
from finishmatch.photo.limits import Limits
from finishmatch.photo.photo import Photo, of_file, photo_of
from finishmatch.photo.settings import from_plain
from finishmatch.text import shown

_LONGEST_HEAD = 1_000_000
_ERRORS = ("photo_unreadable", "photo_kind", "photo_too_large", "decoder_stopped")
_STEPS = {"uint8": (256,), "uint16": (1024, 4096, 65536)}


class Request:
    """A photo that is being opened. The process must be left to it until :meth:`finish` has returned.

    The picture is left in the process until then, so that one is in memory at a time.

    A process that breaks off, answers nonsense or takes too long is ended. Whatever goes wrong is raised by
    :meth:`photo`, so that photos that are asked for ahead fail in their turn.
    """

    def __init__(self, path: Path, name: str, process: subprocess.Popen[bytes], limits: Limits) -> None:
        self.of = (path, name)
        self._process, self._limits = process, limits
        self._data: bytes = b""
        self._head: dict[str, Any] = {}
        self._decoded: Decoded | None = None
        self._error: InputError | None = None
        self._asking = threading.Thread(target=self._ask, daemon=True)
        self._asking.start()

    def _ask(self) -> None:
        """Send the file's bytes and wait until they are decoded."""
        try:
            self._data = read_whole(self.of[0], self._limits.file_bytes, "photo_too_large")
        except InputError as error:
            self._error = error
            return
        with self._watched() as (requests, answers):
            _send(requests, self._data, self._limits)
            self._head = _head(answers)

    def finish(self) -> None:
        """Take the picture over; the process is free for the next one. Does nothing the second time."""
        self._asking.join()
        if self._error is None and self._decoded is None:
            with self._watched() as (_, answers):
                self._decoded = _decoded(self._head, answers, self._limits)

    def photo(self) -> Photo:
        """The finished photo.

        Raises
        ------
        InputError : those of :func:`finishmatch.photo.photo.open_photo`, and decoder_stopped.
        """
        if self._error is not None:
            raise self._error
        assert self._decoded is not None  # it was finished
        return photo_of(self._decoded, self.of[1], self._data)

    @contextmanager
    def _watched(self) -> Iterator[tuple[IO[bytes], IO[bytes]]]:
        """The two pipes, for a bounded time; what goes wrong with them is kept as the photo's error."""
        late = threading.Event()
        timer = threading.Timer(self._limits.seconds, _end, (self._process, late))
        timer.start()
        try:
            assert self._process.stdin is not None
            assert self._process.stdout is not None
            yield self._process.stdin, self._process.stdout
        except InputError as error:
            self._error = of_file(error, self.of[1])
        except (OSError, EOFError, ValueError, KeyError, TypeError):
            self._process.kill()
            status = self._process.wait()
            why = f"it takes more than {self._limits.seconds:g} s" if late.is_set() else _ending(status)
            self._error = of_file(InputError("decoder_stopped", f"cannot be decoded: {why}"), self.of[1])
        finally:
            timer.cancel()
            timer.join()
            if late.is_set():
                self._process.wait()


def _end(process: subprocess.Popen[bytes], late: threading.Event) -> None:
    late.set()
    process.kill()


def _ending(status: int) -> str:
    if status < 0 and -status != signal.SIGKILL:
        return f"its decoder crashed ({signal.Signals(-status).name})"
    return "its decoder stopped"


def _send(pipe: IO[bytes], data: bytes, limits: Limits) -> None:
    request = {"bytes": len(data), "limits": asdict(limits)}
    pipe.write(json.dumps(request).encode() + b"\n")
    pipe.write(data)
    pipe.flush()


def _head(pipe: IO[bytes]) -> dict[str, Any]:
    """All of the answer but its arrays. Raises the InputError that it tells, or ValueError, KeyError, TypeError, EOFError."""
    head: dict[str, Any] = json.loads(pipe.readline(_LONGEST_HEAD) or _nothing())
    if "error" in head:
        code, text = head["error"]
        _require(code in _ERRORS)
        raise InputError(code, shown(text, 200))
    return head


def _decoded(head: dict[str, Any], pipe: IO[bytes], limits: Limits) -> Decoded:
    """The whole answer, checked. Raises ValueError, KeyError, TypeError, EOFError."""
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
    return Decoded(encoded, curves, matrix, shown(head["colour_source"]), notes, from_plain(head["settings"]))


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
