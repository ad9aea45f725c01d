"""The smallest ICC profiles: a matrix and a curve, for linear TIFF and for Display P3 (ICC.1:2001-04, version 2)."""

from __future__ import annotations

import struct

import numpy as np

from finishmatch.colour.space import SRGB_TO_XYZ_D50, WHITE_D50, srgb_decode


def _xyz(values: np.ndarray[tuple[int, ...], np.dtype[np.float64]]) -> bytes:
    return b"XYZ \0\0\0\0" + struct.pack(">3i", *(round(float(v) * 65536) for v in values))


def _description(text: str) -> bytes:
    ascii_part = text.encode("ascii") + b"\0"
    return b"desc\0\0\0\0" + struct.pack(">I", len(ascii_part)) + ascii_part + bytes(4 + 4 + 2 + 1 + 67)


Matrix = np.ndarray[tuple[int, ...], np.dtype[np.float64]]

STRAIGHT_CURVE = b"curv\0\0\0\0" + struct.pack(">I", 0)  # no entries: the identity


def encoded_curve(entries: int = 1024) -> bytes:
    """sRGB's curve (IEC 61966-2-1), which Display P3 shares, as a table."""
    values = np.rint(srgb_decode(np.linspace(0, 1, entries)) * 65535).astype(int).tolist()
    return b"curv\0\0\0\0" + struct.pack(f">I{entries}H", entries, *values)


def matrix_profile(name: str, to_xyz_d50: Matrix, curve: bytes) -> bytes:
    """A profile's bytes: display class, RGB to XYZ, three matrix columns, one curve for all."""
    tags = {
        b"desc": _description(name),
        b"cprt": b"text\0\0\0\0" + b"no rights reserved\0",
        b"wtpt": _xyz(WHITE_D50),
    }
    for column, channel in enumerate((b"r", b"g", b"b")):
        tags[channel + b"XYZ"] = _xyz(to_xyz_d50[:, column])
        tags[channel + b"TRC"] = curve
    table, body = struct.pack(">I", len(tags)), b""
    start = 128 + 4 + 12 * len(tags)
    for tag, data in tags.items():
        table += tag + struct.pack(">II", start + len(body), len(data))
        body += data + bytes(-len(data) % 4)
    size = start + len(body)
    header = struct.pack(">I4sI4s4s4s", size, b"\0\0\0\0", 0x02400000, b"mntr", b"RGB ", b"XYZ ")
    header += struct.pack(">6H4s", 2026, 1, 1, 0, 0, 0, b"acsp") + bytes(28)
    header += struct.pack(">3i", *(round(float(v) * 65536) for v in WHITE_D50))
    return header.ljust(128, b"\0") + table + body


def linear_srgb() -> bytes:
    """The profile of linear light on sRGB's primaries."""
    return matrix_profile("sRGB primaries, linear", SRGB_TO_XYZ_D50, STRAIGHT_CURVE)
