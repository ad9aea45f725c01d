"""Odd files whose kind, depth or number of pictures is the question."""

from __future__ import annotations

import io
import struct
import zlib
from collections.abc import Iterator

import numpy as np
import pictures as p
import profiles as icc
from PIL import Image
from verdicts import ASSUMED, KIND, UNREADABLE, Case, Read, Refused, made


def depths() -> Iterator[Case]:
    for bits in (10, 12):
        yield f"deep-{bits}.avif", made(p.deep_avif, bits), Read(("srgb_assumed",), bits=bits, de00=0.5)
        yield f"deep-{bits}.heic", made(p.heic, p.encoded(16), bits), Read(source="nclx sRGB", bits=bits, de00=0.6)
    yield (
        "deep-10-turned.heic",
        lambda: p.heic(p.STORED[6](p.encoded(16)), 10, exif=p.exif(6)),
        Read(source="nclx sRGB", bits=10, de00=0.6),
    )
    yield (
        "deep-10-p3.heic",
        lambda: p.heic(p.p3(16), 10, icc_profile=icc.P3),
        Read(source="ICC Display P3 by hand", bits=10, de00=0.6),
    )
    yield "interlaced-16.png", lambda: _interlaced_16(), Read(("srgb_assumed",), bits=16, de00=0.1)
    deep = Read(("srgb_assumed",), bits=16, de00=0.1)
    for name in ("zlib", "adobe_deflate"):
        yield f"{name}-16.tif", made(p.tiff, p.encoded(16), compression=name), deep
        yield f"{name}-predictor-16.tif", made(p.tiff, p.encoded(16), compression=name, predictor=True), deep
    yield "lzw-16.tif", lambda: _by_opencv(p.encoded(16), ".tif"), deep
    yield "tiled-16.tif", lambda: p.tiff(p.encoded(16), tile=(16, 16)), deep
    yield "big-endian-16.tif", lambda: p.tiff(p.encoded(16), byteorder=">"), deep
    planes = {"planarconfig": "separate"}
    for name, options in {
        "": {},
        "-zlib": {"compression": "zlib", "predictor": True},
        "-tiled": {"tile": (16, 16)},
    }.items():
        yield f"planes-apart-16{name}.tif", made(p.tiff, np.moveaxis(p.encoded(16), -1, 0), **planes, **options), deep
    for turn in range(2, 9):
        turned = np.moveaxis(p.STORED[turn](p.encoded(16)), -1, 0)
        yield f"planes-apart-16-turned-{turn}.tif", made(p.tiff, turned, turn, **planes), deep
    yield "bigtiff.tif", lambda: p.tiff(p.encoded(), bigtiff=True), ASSUMED
    yield "bigtiff-16.tif", lambda: p.tiff(p.encoded(16), bigtiff=True), deep
    # Pillow, which reads the tags, knows only one order of bytes of these.
    yield "bigtiff-big-endian.tif", lambda: p.tiff(p.encoded(16), bigtiff=True, byteorder=">"), UNREADABLE
    yield "bigtiff-preview-only.nef", lambda: p.tiff(p.encoded(), bigtiff=True, subfiletype=1), UNREADABLE
    yield "half-empty-strip-16.tif", lambda: _strip_emptied(p.tiff(p.encoded(16), compression="zlib")), UNREADABLE
    yield "no-strip-16.tif", lambda: _strip_left_out(p.tiff(p.encoded(16))), UNREADABLE
    yield "planes-apart.tif", lambda: p.tiff(np.moveaxis(p.encoded(), -1, 0), planarconfig="separate"), ASSUMED
    for name in ("tiff_lzw", "tiff_adobe_deflate", "packbits", "jpeg"):
        yield f"{name}.tif", made(p.saved, p.encoded(), "TIFF", compression=name), Read(("srgb_assumed",), de00=4)
    yield "twelve-bit.tif", lambda: _twelve_bit(), UNREADABLE
    yield "thirty-two-bit.tif", lambda: p.tiff(p.encoded(16).astype(np.uint32)), UNREADABLE
    yield "float.tif", lambda: p.tiff((p.encoded(16) / 65535).astype(np.float32)), UNREADABLE
    yield "half-float.tif", lambda: p.tiff((p.encoded(16) / 65535).astype(np.float16)), UNREADABLE
    yield "lossy.webp", lambda: p.saved(p.encoded(), "WEBP", quality=95), Read(("srgb_assumed",), de00=4)
    yield "subsampled.jpg", lambda: p.jpeg(p.encoded(), subsampling=2), ASSUMED
    yield "progressive.jpg", lambda: p.jpeg(p.encoded(), progressive=True), ASSUMED
    yield "rgb-in-jpeg.jpg", lambda: p.jpeg(p.encoded(), keep_rgb=True), ASSUMED


def _twelve_bit() -> bytes:
    """An uncompressed TIFF of 12-bit samples, two in three bytes: a 16-bit one whose samples are packed anew."""
    values = p.encoded(12).astype(np.uint32).reshape(-1, 2)
    pairs = (values[:, 0] << 12) | values[:, 1]
    packed = np.stack([pairs >> 16, (pairs >> 8) & 255, pairs & 255], axis=-1).astype(np.uint8).tobytes()
    data = bytearray(p.tiff(p.encoded(16)))
    directory = struct.unpack_from("<I", data, 4)[0]
    for entry in range(struct.unpack_from("<H", data, directory)[0]):
        at = directory + 2 + 12 * entry
        tag, _, _, value = struct.unpack_from("<HHII", data, at)
        if tag == 258:  # BitsPerSample, three of them at `value`
            struct.pack_into("<3H", data, value, 12, 12, 12)
        elif tag == 273:  # StripOffsets
            data[value : value + len(packed)] = packed
        elif tag == 279:  # StripByteCounts
            struct.pack_into("<I", data, at + 8, len(packed))
    return bytes(data)


def _entry(data: bytes, tag: int) -> int:
    """Where the entry of a tag lies in the first directory of a TIFF (6.0, section 2) of the usual byte order."""
    directory = struct.unpack_from("<I", data, 4)[0]
    entries = range(directory + 2, directory + 2 + 12 * struct.unpack_from("<H", data, directory)[0], 12)
    return next(at for at in entries if struct.unpack_from("<H", data, at)[0] == tag)


def _strip_emptied(data: bytes) -> bytes:
    """The only strip holds half of its rows."""
    start, length = (struct.unpack_from("<I", data, _entry(data, tag) + 8)[0] for tag in (273, 279))
    rows = zlib.decompress(data[start : start + length])
    half = zlib.compress(rows[: len(rows) // 2], 0)
    changed = bytearray(data + half)
    struct.pack_into("<I", changed, _entry(data, 273) + 8, len(data))
    struct.pack_into("<I", changed, _entry(data, 279) + 8, len(half))
    return bytes(changed)


def _strip_left_out(data: bytes) -> bytes:
    """The only strip is said to be nowhere, as in files that leave out what is black."""
    changed = bytearray(data)
    for tag in (273, 279):
        struct.pack_into("<I", changed, _entry(data, tag) + 8, 0)
    return bytes(changed)


def _by_opencv(pixels: np.ndarray, ending: str) -> bytes:
    import cv2

    return cv2.imencode(ending, np.ascontiguousarray(pixels[..., ::-1]))[1].tobytes()


def _interlaced_16() -> bytes:
    """Adam7 with seven passes (PNG third edition, 8.2)."""
    deep = p.encoded(16)
    passes = ((0, 0, 8, 8), (0, 4, 8, 8), (4, 0, 8, 4), (0, 2, 4, 4), (2, 0, 4, 2), (0, 1, 2, 2), (1, 0, 2, 1))
    rows = b"".join(
        b"\0" + row.astype(">u2").tobytes() for top, left, down, right in passes for row in deep[top::down, left::right]
    )
    whole = p.png(deep)
    header = whole[16:28] + b"\x01"
    parts = p.chunk(b"IHDR", header) + p.chunk(b"IDAT", zlib.compress(rows)) + p.chunk(b"IEND", b"")
    return whole[:8] + parts


def transparency() -> Iterator[Case]:
    eight, deep = p.encoded(), p.encoded(16)
    noted = ("srgb_assumed", "alpha_ignored")
    yield "opaque.png", lambda: p.png(p.with_alpha(eight, 1)), ASSUMED
    yield "half.png", lambda: p.png(p.with_alpha(eight, 0.5)), Read(noted)
    yield "half-16.png", lambda: p.png(p.with_alpha(deep, 0.5)), Read(noted, bits=16)
    hole = p.with_alpha(eight, 1)
    hole[20:28, 28:36, 3] = 0
    yield "hole.png", lambda: p.png(hole), Read(noted)
    yield "half-16.tif", lambda: p.tiff(p.with_alpha(deep, 0.5), extrasamples=["unassalpha"]), Read(noted, bits=16)
    yield "half.webp", lambda: p.saved(p.with_alpha(eight, 0.5), "WEBP", lossless=True, exact=True), Read(noted)
    yield "half.avif", lambda: p.avif(p.with_alpha(eight, 0.5)), Read(("alpha_ignored",))
    yield "half.heic", lambda: p.heic(p.with_alpha(eight, 0.5)), Read(("alpha_ignored",))
    for name, make in {"png": p.png, "avif": p.avif, "heic": p.heic, "tif": lambda x: p.saved(x, "TIFF")}.items():
        yield f"transparent.{name}", made(make, p.with_alpha(eight, 0)), KIND
    yield "transparent-16.png", lambda: p.png(p.with_alpha(deep, 0)), KIND
    yield "transparent.webp", lambda: p.saved(p.with_alpha(eight, 0), "WEBP", lossless=True, exact=True), KIND
    yield "colour-key.png", lambda: p.png(eight, {b"tRNS": bytes(6)}), ASSUMED


def kinds() -> Iterator[Case]:
    eight = p.encoded()
    palette = Image.fromarray(eight).quantize(16)

    def saved(image: Image.Image, format: str, **options: object) -> bytes:
        stream = io.BytesIO()
        image.save(stream, format, **options)
        return stream.getvalue()

    noted = ("palette_colours", "srgb_assumed")
    yield "palette.png", lambda: saved(palette, "PNG"), Read(noted)
    yield "palette.tif", lambda: saved(palette, "TIFF"), Read(noted)
    yield (
        "palette-see-through.png",
        lambda: saved(palette, "PNG", transparency=0),
        Read((*noted, "alpha_ignored"), de00=None),
    )
    for mode in ("L", "LA", "1", "I;16"):
        image = Image.fromarray(eight).convert("L").convert(mode)
        yield f"grey-{mode.replace(';', '-')}.png", made(saved, image, "PNG"), KIND
    for mode in ("L", "1", "I;16", "F"):
        image = Image.fromarray(eight).convert("L").convert(mode)
        yield f"grey-{mode.replace(';', '-')}.tif", made(saved, image, "TIFF"), KIND
    yield "grey.jpg", lambda: saved(Image.fromarray(eight).convert("L"), "JPEG"), KIND
    yield "grey.avif", lambda: _grey_avif(), KIND
    yield "grey.heic", lambda: _grey_heic(), KIND
    lab = Image.frombytes("LAB", (p.WIDTH, p.HEIGHT), eight.tobytes())
    yield "lab.tif", lambda: saved(lab, "TIFF"), KIND
    for format in ("GIF", "BMP", "JPEG2000", "PPM", "TGA", "ICO", "QOI", "PCX", "DDS"):
        yield f"other.{format.lower()}", made(p.saved, eight, format), UNREADABLE


def _grey_avif() -> bytes:
    import cv2

    return cv2.imencode(".avif", p.encoded()[..., 0])[1].tobytes()


def _grey_heic() -> bytes:
    import pillow_heif

    stream = io.BytesIO()
    pillow_heif.from_bytes("L", (p.WIDTH, p.HEIGHT), p.encoded()[..., 0].tobytes()).save(stream)
    return stream.getvalue()


def several() -> Iterator[Case]:
    eight = p.encoded()
    other = Image.fromarray(255 - eight)
    noted = Read(("first_frame", "srgb_assumed"))
    yield "pages.tif", lambda: p.saved(eight, "TIFF", save_all=True, append_images=[other]), noted
    yield "pages-16.tif", lambda: _two_pages_16(), Read(noted.notes, bits=16)
    yield "animated.png", lambda: p.saved(eight, "PNG", save_all=True, append_images=[other]), noted
    hidden = Read(noted.notes, de00=0.5)
    yield (
        "animated-behind.png",
        lambda: p.saved(eight, "PNG", save_all=True, default_image=True, append_images=2 * [other]),
        hidden,
    )
    yield "animated.webp", lambda: p.saved(eight, "WEBP", save_all=True, append_images=[other], lossless=True), noted
    yield "sequence.avif", lambda: p.avif(eight, save_all=True, append_images=[other]), Read(("first_frame",))
    yield "several.heic", lambda: p.heic(eight, copies=2), Read(("first_frame",))
    yield "second-jpeg.jpg", lambda: p.saved(eight, "MPO", save_all=True, append_images=[other], quality=97), ASSUMED
    yield "endless-pages.tif", lambda: _endless_pages(), noted


def _two_pages_16() -> bytes:
    import tifffile

    stream = io.BytesIO()
    with tifffile.TiffWriter(stream) as file:
        file.write(p.encoded(16), photometric="rgb", metadata=None)
        file.write(65535 - p.encoded(16), photometric="rgb", metadata=None)
    return stream.getvalue()


def _endless_pages() -> bytes:
    """The first directory names itself as the next one."""
    data = bytearray(p.tiff(p.encoded()))
    at = struct.unpack_from("<I", data, 4)[0]
    count = struct.unpack_from("<H", data, at)[0]
    struct.pack_into("<I", data, at + 2 + 12 * count, at)
    return bytes(data)


def cut_or_turned_by_boxes() -> Iterator[Case]:
    around = (4, 2, 12, 14)
    larger, box = p.padded(p.encoded(), *around), p.clean_aperture(*around)
    yield "cut.avif", lambda: p.with_property(p.avif(larger), box), Read()
    yield "cut.heic", lambda: p.with_property(p.heic(larger), box), Read(source="nclx sRGB")
    beyond = p.clean_aperture(-4, 0, 4, 0)
    yield "cut-beyond.avif", lambda: p.with_property(p.avif(p.encoded()), beyond), UNREADABLE
    xmp = b'<x:xmpmeta xmlns:tiff="http://ns.adobe.com/tiff/1.0/" tiff:Orientation="6"/>'
    yield "turned-by-xmp-only.avif", lambda: p.avif(p.encoded(), xmp=xmp), Read()


def gain_maps() -> Iterator[Case]:
    noted = Read(("gain_map_ignored", "srgb_assumed"))
    xmp = b'<x:xmpmeta xmlns:hdrgm="http://ns.adobe.com/hdr-gain-map/1.0/" hdrgm:Version="1.0"/>'
    yield "gain-map-xmp.jpg", lambda: p.jpeg(p.encoded(), xmp=xmp), noted
    marker = b"urn:iso:std:iso:ts:21496:-1\0" + bytes(4)
    segment = b"\xff\xe2" + struct.pack(">H", len(marker) + 2) + marker
    yield "gain-map-iso.jpg", lambda: p.jpeg(p.encoded())[:2] + segment + p.jpeg(p.encoded())[2:], noted


def raws() -> Iterator[Case]:
    picture = p.camera_picture()
    developed = Read(source="raw, camera matrix", bits=16, de00=0.3)
    for turn in (1, 3, 6, 8):
        yield f"raw-{turn}.dng", made(_turned_raw, turn), developed
    yield "raw-zlib.dng", lambda: p.dng(picture, compression="zlib"), Refused("any")
    yield "raw-unknown.dng", lambda: p.dng(picture, known=False), Read(("camera_unknown",), bits=16, de00=None)
    yield "raw-preview-only.nef", lambda: p.tiff(p.encoded(), extratags=[], subfiletype=1), UNREADABLE
    heads = {
        "cr3": b"\0\0\0\x18ftypcrx \0\0\0\x01crx isom",
        "raf": b"FUJIFILMCCD-RAW 0201",
        "orf": b"IIRO\x08\0\0\0",
        "rw2": b"IIU\0\x08\0\0\0",
        "cr2": b"II*\0\x10\0\0\0CR\x02\0",
    }
    for name, head in heads.items():
        yield f"raw-magic-only.{name}", made(bytes, head + bytes(4000)), UNREADABLE


def _turned_raw(turn: int) -> bytes:
    return p.dng(p.STORED[turn](p.camera_picture()), turn)
