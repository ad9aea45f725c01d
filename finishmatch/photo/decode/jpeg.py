"""JPEG pixels, decoded so that what the library complains of is heard; what it cannot see is looked for in the picture.

A warning of the library is a refusal: the pixels behind it are made up. Damage that is only likely is a note.
"""

from __future__ import annotations

import re
import struct
from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from finishmatch.errors import InputError, Note
from finishmatch.photo.decode.jpeg_damage import Coding, ends_in_fill, grey_band, level_jump

if TYPE_CHECKING:
    from PIL.Image import Image

Pixels = npt.NDArray[np.uint8]

# ITU-T T.81, table B.1.
_START_OF_SCAN, _END, _CODES = 0xDA, 0xD9, 0xC4
_FRAMES = frozenset(range(0xC0, 0xD0)) - {0xC4, 0xC8, 0xCC}
_PROGRESSIVE = frozenset((0xC2, 0xC6, 0xCA, 0xCE))
_BY_HUFFMAN = frozenset((0xC0, 0xC1, 0xC2))
# Where the code of zeros alone stands for a coefficient of 1, so many zeros are over 20 such coefficients on end: no picture
# has them, and none of the sound photographs of tests/bench/damage.py half as many zeros.
_ZEROS = bytes(12)
_NEXT_MARKER = re.compile(rb"\xff+[^\x00\xff\xd0-\xd7]")


def read(data: bytes, image: Image) -> tuple[Pixels, tuple[Note, ...]]:
    """Decode a JPEG whose header ``image`` has read.

    Returns
    -------
    (h, w, 3) RGB or (h, w, 4) CMYK, 0 without ink, as ``image.mode`` says; notes: photo_damaged, damage_unseen.

    Errors: photo_unreadable.
    """
    if _scans_missing(data):
        raise InputError("photo_unreadable", "cut short: scans of its progressive data are missing")
    if _overwritten(data):
        raise InputError("photo_unreadable", "damaged (a stretch of its data is overwritten with zeros)")
    pixels, reported = _pixels(data, image)
    if ends_in_fill(pixels):
        raise InputError("photo_unreadable", "cut short: it ends in the grey that stands for missing data")
    if not reported:
        text = "The photo is a JPEG of a rare coding: damage in its data would not be reported."
        return pixels, (Note("damage_unseen", text),)
    if image.mode != "RGB":
        return pixels, ()
    return pixels, tuple(_signs(pixels, _coding(image)))


def _signs(pixels: Pixels, coding: Coding) -> Iterator[Note]:
    if (row := grey_band(pixels)) is not None:
        what = f"from row {row} a band is the even grey that stands for missing data"
        yield Note("photo_damaged", f"The photo's data are probably damaged: {what}.")
    elif (row := level_jump(pixels, coding)) is not None:
        what = f"at row {row} the level jumps from one block to the next and stays"
        yield Note("photo_damaged", f"The photo's data are probably damaged: {what}.")


def _pixels(data: bytes, image: Image) -> tuple[Pixels, bool]:
    """The pixels, and whether damage would have been reported: some rare samplings are read by Pillow only, which is silent."""
    import simplejpeg

    try:
        pixels: Pixels = simplejpeg.decode_jpeg(data, image.mode, strict=True)
    except ValueError as error:
        if "subsampling" not in str(error):
            raise InputError("photo_unreadable", f"damaged ({_words(error)})") from error
        image.load()
        return np.array(image), False
    if image.mode == "CMYK":
        np.subtract(255, pixels, out=pixels)  # Adobe's way, which all follow: 255 is no ink
    return pixels, True


def _words(error: ValueError) -> str:
    """What the library says, without the name of its function."""
    return " ".join(str(error).rpartition("(): ")[2].split())[:120]


def _coding(image: Image) -> Coding:
    """Sampling and quantisation of a picture in three components, as its header has them."""
    layers = image.layer  # type: ignore[attr-defined]  # Pillow's JPEG reader has it: number, h, v, table of each
    wide, high = max(layer[1] for layer in layers), max(layer[2] for layer in layers)
    tables = image.quantization  # type: ignore[attr-defined]
    quanta = [tables[layer[3]][0] / 8 if layer[3] in tables else 0.0 for layer in layers]  # of a block's mean level
    return Coding(8 * wide, 8 * high, (wide // layers[1][1], high // layers[1][2]), (quanta[0], quanta[1], quanta[2]))


def _scans_missing(data: bytes) -> bool:
    """Whether a progressive JPEG ends before every coefficient has its last bit (T.81, G.1.1.1)."""
    left: dict[tuple[int, int], int] = {}
    for marker, payload, _ in _segments(data):
        if marker in _FRAMES:
            if marker not in _PROGRESSIVE:
                return False
            parts = [payload[6 + 3 * i] for i in range(payload[5])]
            left = {(part, k): -1 for part in parts for k in range(64)}
        elif marker == _START_OF_SCAN and left:
            count = payload[0]
            first, last, bits = payload[1 + 2 * count], payload[2 + 2 * count], payload[3 + 2 * count]
            parts = [payload[1 + 2 * i] for i in range(count)]
            left.update({(part, k): bits & 15 for part in parts for k in range(first, last + 1)})
    return any(left.values())


def _overwritten(data: bytes) -> bool:
    """Whether a scan holds more zeros on end than its codes allow for.

    A store that lost a stretch of a file gives zeros in its place, which decode to something without complaint.
    """
    coefficient: dict[int, bool] = {}
    for marker, payload, scan in _segments(data):
        if marker in _FRAMES - _BY_HUFFMAN:
            return False
        if marker == _CODES:
            coefficient.update(_zeros_mean_a_coefficient(payload))
        elif marker == _START_OF_SCAN and payload[2 * payload[0] + 2] > 0:
            tables = [payload[2 + 2 * i] & 15 for i in range(payload[0])]
            if any(coefficient.get(table) for table in tables) and scan.find(_ZEROS) >= 0:
                return True
    return False


def _zeros_mean_a_coefficient(tables: bytes) -> Iterator[tuple[int, bool]]:
    """For each table of AC codes (T.81, B.2.4.2): whether its first code, zeros alone, is a coefficient, and not an end."""
    at = 0
    while at + 17 <= len(tables):
        count = sum(tables[at + 1 : at + 17])
        if tables[at] >> 4 and count:
            yield tables[at] & 15, bool(tables[at + 17] & 15)
        at += 17 + count


def _segments(data: bytes) -> Iterator[tuple[int, bytes, bytes]]:
    """Marker and payload of the segments up to the end of the first picture, and the data of a scan; stops where their order
    breaks."""
    at = 2
    while at + 4 <= len(data) and data[at] == 0xFF:
        marker = data[at + 1]
        if marker == 0xFF:  # a fill byte
            at += 1
            continue
        if marker == _END:
            return
        length = struct.unpack_from(">H", data, at + 2)[0]
        payload, end = data[at + 4 : at + 2 + length], at + 2 + length
        if marker != _START_OF_SCAN:
            yield marker, payload, b""
            at = end
            continue
        found = _NEXT_MARKER.search(data, end)
        at = len(data) if found is None else found.end() - 2
        yield marker, payload, data[end:at]
