"""The properties of the main picture of a HEIF or AVIF file (ISO/IEC 14496-12 boxes, ISO/IEC 23008-12 items)."""

from __future__ import annotations

import struct
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

Coded = tuple[int, int, int, int]
Rectangle = tuple[int, int, int, int]
_MOST_PROPERTIES = 4096


@dataclass(frozen=True, slots=True)
class MainPicture:
    """``bits`` per channel; ``nclx``: primaries, transfer, matrix, full range as ITU-T H.273 numbers them, or None.

    ``width`` and ``height`` are those that are decoded, before anything is cut off or turned. ``clean``: what is to be kept
    of that, columns and rows from the left, top, right and bottom one on; None where all is.
    """

    width: int
    height: int
    bits: int
    nclx: Coded | None
    clean: Rectangle | None = None


def main_picture(data: bytes) -> MainPicture:
    """What the boxes say of the primary item; 8 bit where they say nothing. Raises ValueError when they are broken."""
    try:
        properties = _primary_properties(data)
        size = _size(properties)
        return MainPicture(*size, _bits(properties), _nclx(properties), _clean(properties, size))
    except (struct.error, IndexError, ZeroDivisionError) as error:
        raise ValueError("broken boxes") from error


def _boxes(data: bytes) -> Iterator[tuple[bytes, bytes]]:
    """Kind and payload of the boxes that lie side by side in ``data``."""
    at = 0
    while at + 8 <= len(data):
        size, kind = struct.unpack_from(">I4s", data, at)
        head = 8
        if size == 1:
            size, head = struct.unpack_from(">Q", data, at + 8)[0], 16
        elif size == 0:
            size = len(data) - at
        if size < head:
            raise ValueError("a box without size")
        yield kind, data[at + head : at + size]
        at += size


def _first(data: bytes, kind: bytes) -> bytes:
    return next((payload for name, payload in _boxes(data) if name == kind), b"")


def _primary_properties(data: bytes) -> list[tuple[bytes, bytes]]:
    meta = _first(data, b"meta")[4:]
    primary = _first(meta, b"pitm")
    item = struct.unpack_from(">I" if primary[0] else ">H", primary, 4)[0]
    properties = _first(meta, b"iprp")
    known = []
    for one in _boxes(_first(properties, b"ipco")):
        known.append(one)
        if len(known) > _MOST_PROPERTIES:
            raise ValueError("too many properties")
    wanted = _associations(_first(properties, b"ipma"), item)
    return [known[index - 1] for index in wanted if 0 < index <= len(known)]


def _associations(table: bytes, item: int) -> list[int]:
    """The one-based numbers of an item's properties in an ``ipma`` box."""
    wide_item, wide_index = table[0] >= 1, bool(table[3] & 1)
    count = struct.unpack_from(">I", table, 4)[0]
    at = 8
    for _ in range(count):
        identity = struct.unpack_from(">I" if wide_item else ">H", table, at)[0]
        at += 4 if wide_item else 2
        entries = table[at]
        at += 1
        if identity == item:
            if wide_index:
                return [number & 0x7FFF for number in struct.unpack_from(f">{entries}H", table, at)]
            return [number & 0x7F for number in table[at : at + entries]]
        at += entries * (2 if wide_index else 1)
    return []


def _size(properties: list[tuple[bytes, bytes]]) -> tuple[int, int]:
    for kind, payload in properties:
        if kind == b"ispe":
            width, height = struct.unpack_from(">II", payload, 4)
            return width, height
    raise ValueError("a picture without size")


def _bits(properties: list[tuple[bytes, bytes]]) -> int:
    for kind, payload in properties:
        if kind == b"pixi":  # version and flags, count, bits of each channel
            return max(payload[5 : 5 + payload[4]])
    for kind, payload in properties:
        if kind == b"av1C":  # AV1-ISOBMFF 2.3: high_bitdepth and twelve_bit
            return (12 if payload[2] & 0x20 else 10) if payload[2] & 0x40 else 8
    return 8


def _nclx(properties: list[tuple[bytes, bytes]]) -> Coded | None:
    for kind, payload in properties:
        if kind == b"colr" and payload[:4] == b"nclx":
            primaries, transfer, matrix = struct.unpack_from(">3H", payload, 4)
            return primaries, transfer, matrix, payload[10] >> 7
    return None


def _clean(properties: list[tuple[bytes, bytes]], size: tuple[int, int]) -> Rectangle | None:
    """The clean aperture (ISO/IEC 14496-12, 12.1.4): its size, and how far its middle lies from the picture's, as fractions."""
    for kind, payload in properties:
        if kind == b"clap":
            numbers = struct.unpack_from(">IIIIiIiI", payload)
            width, height, right, down = map(Fraction, numbers[::2], numbers[1::2])
            left, top = (size[0] - width) / 2 + right, (size[1] - height) / 2 + down
            found = left, top, left + width, top + height
            # ISO/IEC 23000-22 (MIAF), 7.3.6.7: whole pixels, inside the picture.
            if any(at.denominator > 1 for at in found) or not (
                0 <= left < left + width <= size[0] and 0 <= top < top + height <= size[1]
            ):
                raise ValueError("a clean aperture that does not fit the picture")
            return int(left), int(top), int(found[2]), int(found[3])
    return None
