"""The process that decodes untrusted photos: bytes in, pixels out, nothing else; see :mod:`finishmatch.photo.process.parent`.

A request is a line of JSON, ``{"bytes", "limits"}``, and the file's bytes. The answer is a line of JSON, either
``{"error": [code, text]}`` or what :func:`head_of` says, followed by the bytes of the picture and of its curves.
"""

from __future__ import annotations

import json
import os
import sys
from contextlib import suppress
from pathlib import Path
from typing import Any, BinaryIO

from finishmatch.errors import InputError
from finishmatch.photo.decode.decode import Decoded, decode
from finishmatch.photo.limits import Limits
from finishmatch.photo.settings import as_plain

# Decoders use a few threads; a process that ran away is ended even when nobody waits for it any more.
_CPU_SECONDS_PER_SECOND = 8


def main() -> None:
    """Answer on standard output until standard input ends; what libraries print goes nowhere."""
    from PIL import Image

    answers = os.fdopen(os.dup(1), "wb")
    os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
    Image.MAX_IMAGE_PIXELS = None  # this process is ours alone, and its own limits are checked first
    serve(sys.stdin.buffer, answers)


def serve(requests: BinaryIO, answers: BinaryIO) -> None:
    """Answer requests until there are no more."""
    idle_bytes = _address_space()
    while line := requests.readline():
        request = json.loads(line)
        limits = Limits(**request["limits"])
        _confine(limits, idle_bytes)
        data = requests.read(request["bytes"])
        try:
            _send(answers, decode(data, limits))
        except InputError as error:
            _send_error(answers, error.code, error.text)
        except MemoryError:
            _send_error(answers, "decoder_stopped", "decoding it takes too much memory")
        answers.flush()


def _send(answers: BinaryIO, decoded: Decoded) -> None:
    answers.write(_line(head_of(decoded)))
    answers.write(decoded.encoded.data.cast("B"))
    answers.write(decoded.curves.data.cast("B"))


def _send_error(answers: BinaryIO, code: str, text: str) -> None:
    answers.write(_line({"error": [code, text]}))


def _line(document: dict[str, Any]) -> bytes:
    return json.dumps(document).encode() + b"\n"


def head_of(decoded: Decoded) -> dict[str, Any]:
    """All of a decoded photo but its arrays."""
    return {
        "shape": decoded.encoded.shape,
        "depth": decoded.encoded.dtype.name,
        "steps": decoded.curves.shape[1],
        "rgb_to_xyz_d50": decoded.rgb_to_xyz_d50.tolist(),
        "colour_source": decoded.colour_source,
        "settings": as_plain(decoded.settings),
        "notes": [[note.code, note.text] for note in decoded.notes],
    }


def _address_space() -> int | None:
    """Bytes of address space in use; None where the system does not tell."""
    try:
        return int(Path("/proc/self/statm").read_text("ascii").split()[0]) * os.sysconf("SC_PAGE_SIZE")
    except (OSError, ValueError):
        return None


def _confine(limits: Limits, idle_bytes: int | None) -> None:
    """Bound memory and processor time; no files are written, no memory is dumped. Without effect where unknown."""
    try:
        import resource
    except ImportError:
        return
    used = resource.getrusage(resource.RUSAGE_SELF)
    bounds = {
        resource.RLIMIT_CPU: int(used.ru_utime + used.ru_stime + _CPU_SECONDS_PER_SECOND * limits.seconds) + 1,
        resource.RLIMIT_FSIZE: 0,
        resource.RLIMIT_CORE: 0,
    }
    if idle_bytes is not None:
        bounds[resource.RLIMIT_AS] = idle_bytes + limits.memory_bytes
    for kind, bound in bounds.items():
        hard = resource.getrlimit(kind)[1]
        with suppress(OSError, ValueError):
            resource.setrlimit(kind, (bound if hard == resource.RLIM_INFINITY else min(bound, hard), hard))
