"""The smallest ICC profile: sRGB primaries with a straight curve, for linear TIFF files (ICC.1:2001-04, version 2)."""

from __future__ import annotations

import struct

import numpy as np

from finishmatch.colour.space import SRGB_TO_XYZ_D50, WHITE_D50


def _xyz(values: np.ndarray[tuple[int, ...], np.dtype[np.float64]]) -> bytes:
    return b"XYZ \0\0\0\0" + struct.pack(">3i", *(round(float(v) * 65536) for v in values))


def _description(text: str) -> bytes:
    ascii_part = text.encode("ascii") + b"\0"
    return b"desc\0\0\0\0" + struct.pack(">I", len(ascii_part)) + ascii_part + bytes(4 + 4 + 2 + 1 + 67)


def linear_srgb() -> bytes:
    """The profile's bytes: display class, RGB to XYZ, three matrix columns, curves of gamma 1."""
    tags = {
        b"desc": _description("sRGB primaries, linear"),
        b"cprt": b"text\0\0\0\0" + b"no rights reserved\0",
        b"wtpt": _xyz(WHITE_D50),
    }
    for column, name in enumerate((b"r", b"g", b"b")):
        tags[name + b"XYZ"] = _xyz(SRGB_TO_XYZ_D50[:, column])
        tags[name + b"TRC"] = b"curv\0\0\0\0" + struct.pack(">I", 0)  # no entries: the identity
    table, body = struct.pack(">I", len(tags)), b""
    start = 128 + 4 + 12 * len(tags)
    for name, data in tags.items():
        table += name + struct.pack(">II", start + len(body), len(data))
        body += data + bytes(-len(data) % 4)
    size = start + len(body)
    header = struct.pack(">I4sI4s4s4s", size, b"\0\0\0\0", 0x02400000, b"mntr", b"RGB ", b"XYZ ")
    header += struct.pack(">6H4s", 2026, 1, 1, 0, 0, 0, b"acsp") + bytes(28)
    header += struct.pack(">3i", *(round(float(v) * 65536) for v in WHITE_D50))
    return header.ljust(128, b"\0") + table + body
