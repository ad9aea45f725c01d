"""Odd files that are broken, cut, disguised or hostile."""

from __future__ import annotations

import struct
import zlib
from collections.abc import Callable, Iterator

import numpy as np
import pictures as p
from PIL import Image
from verdicts import ASSUMED, TOO_LARGE, UNREADABLE, Case, Read, Refused, made


def truncated() -> Iterator[Case]:
    """Every format cut at twenty places; and cut and closed again, which decoders fill with grey without a word."""
    noise = np.random.default_rng(1).integers(0, 256, (p.HEIGHT, p.WIDTH, 3)).astype(np.uint8)
    whole = {
        "jpg": made(p.jpeg, noise),
        "progressive.jpg": made(p.jpeg, noise, progressive=True),
        "png": made(p.png, noise),
        "16.png": made(p.png, noise.astype(np.uint16) * 257),
        "tif": made(p.saved, noise, "TIFF", compression="tiff_lzw"),
        "16.tif": made(p.tiff, noise.astype(np.uint16) * 257),
        "webp": made(p.saved, noise, "WEBP", quality=90),
        "avif": made(p.avif, noise),
        "heic": made(p.heic, noise),
        "dng": made(p.dng, p.camera_picture()),
    }
    for name, make in whole.items():
        for i in range(20):
            yield f"cut-{i * 5:02d}.{name}", made(_cut, make, i / 20), UNREADABLE

    def closed(share: float) -> bytes:
        return _cut(lambda: p.jpeg(noise), share) + b"\xff\xd9"

    for share in (0.3, 0.6, 0.8):
        yield f"cut-and-closed-{share}.jpg", made(closed, share), UNREADABLE
    rows = b"".join(b"\0" + row.tobytes() for row in noise[:10])
    short = p.png(noise)[:33] + p.chunk(b"IDAT", zlib.compress(rows)) + p.chunk(b"IEND", b"")
    yield "too-few-rows.png", lambda: short, UNREADABLE
    deep = noise.astype(np.uint16) * 257
    rows_16 = b"".join(b"\0" + row.astype(">u2").tobytes() for row in deep[:10])
    short_16 = p.png(deep)[:33] + p.chunk(b"IDAT", zlib.compress(rows_16)) + p.chunk(b"IEND", b"")
    yield "too-few-rows-16.png", lambda: short_16, UNREADABLE


def _cut(make: Callable[[], bytes], share: float) -> bytes:
    data = make()
    return data[: int(len(data) * share)]


def bombs() -> Iterator[Case]:
    def png(width: int, height: int) -> bytes:
        header = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
        parts = {b"IHDR": header, b"IDAT": zlib.compress(bytes(1_000_000)), b"IEND": b""}
        return b"\x89PNG\r\n\x1a\n" + b"".join(p.chunk(name, payload) for name, payload in parts.items())

    yield "bomb.png", lambda: png(60_000, 60_000), TOO_LARGE
    yield "bomb-just-over.png", lambda: png(10_001, 10_000), TOO_LARGE
    yield "bomb-thin.png", lambda: png(100_000_001, 1), TOO_LARGE
    yield "bomb-hollow.png", lambda: png(9_000, 9_000), UNREADABLE
    yield "bomb.jpg", lambda: _resized_jpeg(65_000, 65_000), TOO_LARGE
    yield "bomb-hollow.jpg", lambda: _resized_jpeg(8_000, 8_000), UNREADABLE
    yield "bomb.tif", lambda: _resized_tiff(60_000, 60_000), TOO_LARGE
    yield "bomb.heic", lambda: _resized_boxes(p.heic(p.encoded()), 60_000, 60_000), TOO_LARGE
    yield "bomb.avif", lambda: _resized_boxes(p.avif(p.encoded()), 60_000, 60_000), Refused("any")
    yield (
        "bomb-text.png",
        lambda: p.png(p.encoded(), {b"zTXt": b"a\0\0" + zlib.compress(bytes(90_000_000))}),
        Refused("any"),
    )
    yield "nested.tif", lambda: _nested_directories(), ASSUMED


def _resized_jpeg(width: int, height: int) -> bytes:
    data = bytearray(p.jpeg(p.encoded()))
    at = data.index(b"\xff\xc0") + 5
    struct.pack_into(">HH", data, at, height, width)
    return bytes(data)


def _resized_tiff(width: int, height: int) -> bytes:
    data = bytearray(p.tiff(p.encoded()))
    at = struct.unpack_from("<I", data, 4)[0]
    for i in range(struct.unpack_from("<H", data, at)[0]):
        entry = at + 2 + 12 * i
        tag = struct.unpack_from("<H", data, entry)[0]
        if tag in (256, 257):
            struct.pack_into("<HII", data, entry + 2, 4, 1, width if tag == 256 else height)
    return bytes(data)


def _resized_boxes(data: bytes, width: int, height: int) -> bytes:
    at = data.index(b"ispe") + 8
    return data[:at] + struct.pack(">II", width, height) + data[at + 8 :]


def _nested_directories() -> bytes:
    """An EXIF directory that points at the file's first one."""
    return p.tiff(p.encoded(), extratags=[(274, 3, 1, 1, True), (34665, 4, 1, 8, True)])


def disguises() -> Iterator[Case]:
    jpeg, png = p.jpeg(p.encoded()), p.png(p.encoded())
    page = b"<html><script>alert(1)</script></html>"
    yield "jpeg-and-zip.jpg", lambda: jpeg + b"PK\x03\x04" + bytes(200), ASSUMED
    yield "jpeg-and-page.jpg", lambda: jpeg + page, ASSUMED
    yield "png-and-page.png", lambda: png + page, ASSUMED
    yield "png-named.jpg", lambda: png, ASSUMED
    yield "tiff-named.jpg", lambda: p.tiff(p.encoded()), ASSUMED
    plain = {
        "empty.jpg": b"",
        "one-byte.jpg": b"\xff",
        "magic-only.jpg": b"\xff\xd8\xff",
        "magic-only.png": b"\x89PNG\r\n\x1a\n",
        "magic-only.tif": b"II*\0",
        "magic-only.webp": b"RIFF\0\0\0\0WEBP",
        "magic-only.heic": b"\0\0\0\x18ftypheic\0\0\0\0mif1heic",
        "magic-only.avif": b"\0\0\0\x18ftypavif\0\0\0\0mif1avif",
        "page.jpg": page,
        "vector.jpg": b'<svg xmlns="http://www.w3.org/2000/svg"/>',
        "print.jpg": b"%!PS-Adobe-3.0 EPSF-3.0\n%%BoundingBox: 0 0 9 9\n",
        "document.jpg": b"%PDF-1.7\n",
        "archive.jpg": b"PK\x03\x04" + bytes(100),
        "program.jpg": b"\x7fELF" + bytes(100),
        "zeros.jpg": bytes(5000),
        "text.jpg": b"a photo of a door handle\n" * 50,
        "junk-before.jpg": b"\0" + jpeg,
        "movie.heic": b"\0\0\0\x18ftypisom\0\0\0\0isommp42" + bytes(500),
        "xl.jpg": b"\0\0\0\x0cJXL \r\n\x87\n" + bytes(100),
    }
    for name, data in plain.items():
        yield name, made(bytes, data), UNREADABLE


def hostile_exif() -> Iterator[Case]:
    eight = p.encoded()
    known = {
        "junk": b"Exif\0\0" + bytes(range(256)) * 200,
        "cut": p.exif(6)[:14],
        "wrong-order": b"Exif\0\0XX*\0" + bytes(50),
    }
    for name, data in known.items():
        yield f"exif-{name}.jpg", made(p.jpeg, eight, exif=data), Read(("exif_unread", "srgb_assumed"))
    for value in (0, 9, 255, 65535):
        yield f"exif-orientation-{value}.jpg", made(p.jpeg, eight, exif=p.exif(value)), ASSUMED
    told = Image.Exif()
    told[0x010F], told[0x0110], told[0x013B], told[0x8298] = (
        "<script>",
        "=cmd|' /C calc'!A0",
        "\x1b[2JOwner",
        "\u202eevil",
    )
    told.get_ifd(0x8825).update({1: "N", 2: (59.0, 20.0, 1.0), 3: "E", 4: (18.0, 3.0, 1.0)})
    told.get_ifd(0x8769).update({0xA431: "SERIAL-12345", 0xA430: "Owner Name"})
    yield "exif-private-and-hostile.jpg", lambda: p.jpeg(eight, exif=told.tobytes()), ASSUMED
    loop = b"Exif\0\0II*\0\x08\0\0\0\x01\0\x69\x87\x04\0\x01\0\0\0\x08\0\0\0\x08\0\0\0"
    yield "exif-loop.jpg", lambda: p.jpeg(eight, exif=loop), ASSUMED
    ignored = p.heic(eight, exif=p.exif(1)).replace(
        b"\x12\x01\x03\0\x01\0\0\0\x01\0", b"\x12\x01\x03\0\x01\0\0\0\x06\0"
    )
    yield "exif-turns-but-boxes-do-not.heic", lambda: ignored, Read(source="nclx sRGB")
