"""Photos from anywhere: decoded in a process of its own, with bounds on time and memory, that knows only the file's bytes.

A decoder that crashes, hangs or eats memory ends as one error; the next photo gets a new process.
"""

from __future__ import annotations

import subprocess
import threading
from collections import deque
from collections.abc import Iterable
from contextlib import suppress
from pathlib import Path
from types import TracebackType

from finishmatch.photo.limits import USUAL, Limits
from finishmatch.photo.photo import Photo
from finishmatch.photo.process import launch
from finishmatch.photo.process.request import Request


class DecodingProcess:
    """Opens photos as :func:`finishmatch.photo.photo.open_photo` does, in a process that is kept for the next one.

    A context manager: the process starts when it is entered, and ends with it. Safe to use from several threads.
    """

    def __init__(self, limits: Limits = USUAL) -> None:
        self._limits = limits
        self._process: subprocess.Popen[bytes] | None = None
        self._expected: deque[tuple[Path, str]] = deque()
        self._begun: Request | None = None
        self._one_at_a_time = threading.Lock()

    def __enter__(self) -> DecodingProcess:
        self._running()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._stop()

    def expect(self, files: Iterable[tuple[Path, str]]) -> None:
        """The photos, by path and name, that will be opened, in this order: each is decoded while the one before it is
        in use, the first from now on. Others may be opened all the same; then no more is decoded ahead."""
        with self._one_at_a_time:
            self._expected.extend(files)
            if self._begun is None:
                self._begin_expected()

    def open_photo(self, path: Path, name: str | None = None) -> Photo:
        """Open a photo.

        Raises
        ------
        InputError : those of :func:`finishmatch.photo.photo.open_photo`, and decoder_stopped.
        """
        with self._one_at_a_time:
            request = self._request(path, str(path) if name is None else name)
            request.finish()
            self._begin_expected()
        return request.photo()

    def _request(self, path: Path, name: str) -> Request:
        begun, self._begun = self._begun, None
        if begun is not None:
            if begun.of == (path, name):
                return begun
            begun.finish()  # its answer is in the pipe
            self._expected.clear()
        return self._open(path, name)

    def _begin_expected(self) -> None:
        if self._expected:
            self._begun = self._open(*self._expected.popleft())

    def _open(self, path: Path, name: str) -> Request:
        return Request(path, name, self._running(), self._limits)

    def _running(self) -> subprocess.Popen[bytes]:
        if self._process is None or self._process.poll() is not None:
            self._stop()
            self._process = launch.started()
        return self._process

    def _stop(self) -> None:
        process, self._process = self._process, None
        if process is None:
            return
        process.kill()
        for pipe in (process.stdin, process.stdout):
            assert pipe is not None
            with suppress(OSError):  # what was not sent yet has nobody to go to
                pipe.close()
        process.wait()


def open_safely(path: Path, name: str | None = None, limits: Limits = USUAL) -> Photo:
    """Open one photo in a process for it alone.

    Raises
    ------
    InputError : those of :meth:`DecodingProcess.open_photo`.
    """
    with DecodingProcess(limits) as decoding:
        return decoding.open_photo(path, name)
