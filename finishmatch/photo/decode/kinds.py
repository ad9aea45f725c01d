"""What kind of picture a file holds, by its first bytes and never by its name: the list of what is allowed in."""

from __future__ import annotations

import struct
from dataclasses import dataclass
from typing import Literal

Kind = Literal["JPEG", "PNG", "TIFF", "WEBP", "AVIF", "HEIF", "RAW"]


@dataclass(frozen=True, slots=True)
class Format:
    """How files of a kind are called. A name says nothing of what is inside, but tells which files are worth a look.

    Attributes
    ----------
    words : for people.
    suffixes : of file names, the usual one first.
    media_types : each of which is that of the suffix at its place, or of all; camera raw has none that browsers know.
    """

    words: str
    suffixes: tuple[str, ...]
    media_types: tuple[str, ...] = ()


FORMATS: dict[Kind, Format] = {
    "JPEG": Format("JPEG", (".jpg", ".jpeg"), ("image/jpeg",)),
    "PNG": Format("PNG", (".png",), ("image/png",)),
    "TIFF": Format("TIFF", (".tif", ".tiff"), ("image/tiff",)),
    "HEIF": Format("HEIC", (".heic", ".heif"), ("image/heic", "image/heif")),
    "AVIF": Format("AVIF", (".avif",), ("image/avif",)),
    "WEBP": Format("WebP", (".webp",), ("image/webp",)),
    "RAW": Format("camera raw", (".dng", ".cr2", ".cr3", ".nef", ".arw", ".raf", ".orf", ".rw2", ".pef")),
}

SUFFIXES = frozenset(suffix for row in FORMATS.values() for suffix in row.suffixes)
TYPE_OF_SUFFIX = {
    suffix: row.media_types[min(i, len(row.media_types) - 1)]
    for row in FORMATS.values()
    if row.media_types
    for i, suffix in enumerate(row.suffixes)
}
"""Suffix -> media type, of what a browser may send."""

# ISO/IEC 23008-12 (HEIF) annex B and the AVIF specification 1.1, section 3: the brands of still pictures and sequences.
_AVIF = {b"avif", b"avis"}
_HEIF = {b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1"}
# First bytes of camera raw files that are no ordinary TIFF (from memory, as LibRaw's identify.cpp tells them apart).
_RAW = (b"FUJIFILMCCD-RAW", b"IIRO", b"IIRS", b"MMOR", b"IIU\0")
_DNG_VERSION, _SUBFILE_TYPE = 50706, 254
# TIFF 6.0, section 2; BigTIFF has 43 in the place of 42, and offsets of 8 bytes.
_TIFF, _BIG_TIFF = (b"II*\0", b"MM\0*"), (b"II+\0", b"MM\0+")


def kind_of(data: bytes) -> Kind | None:
    """The kind of a file's contents; None when it is not on the list."""
    if data[:3] == b"\xff\xd8\xff":
        return "JPEG"
    if data[:8] == b"\x89PNG\r\n\x1a\n":
        return "PNG"
    if data[:4] == b"RIFF" and data[8:12] == b"WEBP":
        return "WEBP"
    if data.startswith(_RAW):
        return "RAW"
    if data[:4] in (*_TIFF, *_BIG_TIFF):
        return "RAW" if _is_raw(data) else "TIFF"
    return _by_brand(data) if data[4:8] == b"ftyp" else None


def _by_brand(data: bytes) -> Kind | None:
    if data[8:12] == b"crx ":  # Canon's third raw format
        return "RAW"
    end = min(struct.unpack_from(">I", data)[0], len(data), 256)
    brands = {data[8:12]} | {data[at : at + 4] for at in range(16, end - 3, 4)}
    if brands & _AVIF:
        return "AVIF"
    return "HEIF" if brands & _HEIF else None


def _is_raw(data: bytes) -> bool:
    """Whether a TIFF structure is a raw file: a DNG, a CR2, or one whose first picture is only a preview (NEF, ARW)."""
    if data[8:10] == b"CR":
        return True
    tags = _first_directory(data)
    return _DNG_VERSION in tags or bool(tags.get(_SUBFILE_TYPE, 0) & 1)


def _first_directory(data: bytes) -> dict[int, int]:
    """The tags of the first directory (TIFF 6.0, section 2) with their first four bytes as a number."""
    order, big = "<" if data[:2] == b"II" else ">", data[:4] in _BIG_TIFF
    start, offset, count, entry = (8, "Q", "Q", "HHQI4x") if big else (4, "I", "H", "HHII")
    try:
        at = struct.unpack_from(order + offset, data, start)[0]
        entries = struct.unpack_from(order + count, data, at)[0]
        at += struct.calcsize(order + count)
        size = struct.calcsize(order + entry)
        if entries * size > len(data):
            return {}
        found = [struct.unpack_from(order + entry, data, at + size * i) for i in range(entries)]
    except struct.error:
        return {}
    return {tag: value for tag, _, _, value in found}
