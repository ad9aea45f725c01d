"""Odd files whose colour space is the question."""

from __future__ import annotations

import io
import struct
import zlib
from collections.abc import Iterator

import numpy as np
import pictures as p
import profiles as icc
from PIL import Image
from verdicts import ASSUMED, KIND, UNREADABLE, UNUSED, Case, Read, made


def orientations() -> Iterator[Case]:
    """Every orientation in every format that can say it."""
    for turn in range(1, 9):
        yield from _turned(turn)


def _turned(turn: int) -> Iterator[Case]:
    eight = p.STORED[turn](p.encoded())
    deep = p.STORED[turn](p.encoded(16))
    exif = p.exif(turn)
    named = {b"sRGB": b"\0", b"eXIf": exif.removeprefix(b"Exif\0\0")}
    yield f"orientation-{turn}.jpg", lambda: p.jpeg(eight, exif=exif), ASSUMED
    yield f"orientation-{turn}.png", lambda: p.png(eight, named), Read(source="PNG sRGB")
    yield f"orientation-{turn}-16.png", lambda: p.png(deep, named), Read(source="PNG sRGB", bits=16)
    yield f"orientation-{turn}.tif", lambda: p.tiff(eight, turn), ASSUMED
    yield f"orientation-{turn}-16.tif", lambda: p.tiff(deep, turn), Read(("srgb_assumed",), bits=16)
    yield f"orientation-{turn}.webp", lambda: p.saved(eight, "WEBP", lossless=True, exif=exif), ASSUMED
    yield f"orientation-{turn}.avif", lambda: p.avif(eight, exif=exif), Read(source="nclx sRGB")
    yield f"orientation-{turn}.heic", lambda: p.heic(eight, exif=exif), Read(source="nclx sRGB")


def spaces() -> Iterator[Case]:
    yield "srgb-profile.jpg", lambda: p.jpeg(p.encoded(), icc_profile=icc.SRGB), Read(source="ICC sRGB by hand")
    p3, adobe = Read(source="ICC Display P3 by hand"), Read(source="ICC Adobe RGB by hand")
    yield "p3.jpg", lambda: p.jpeg(p.p3(), icc_profile=icc.P3), p3
    yield "p3.png", lambda: p.png(p.p3(), p.iccp(icc.P3)), p3
    yield "p3-16.png", lambda: p.png(p.p3(16), p.iccp(icc.P3)), Read(source=p3.source, bits=16, de00=0.1)
    yield "p3.tif", lambda: p.tiff(p.p3(), profile=icc.P3), p3
    yield "p3-16.tif", lambda: p.tiff(p.p3(16), profile=icc.P3), Read(source=p3.source, bits=16, de00=0.1)
    yield "p3.webp", lambda: p.saved(p.p3(), "WEBP", lossless=True, icc_profile=icc.P3), p3
    yield "p3.avif", lambda: p.avif(p.p3(), icc_profile=icc.P3), Read(source=p3.source, de00=2.5)
    yield "p3.heic", lambda: p.heic(p.p3(), icc_profile=icc.P3), p3
    yield "adobe.jpg", lambda: p.jpeg(p.adobe(), icc_profile=icc.ADOBE), adobe
    yield "adobe-16.tif", lambda: p.tiff(p.adobe(16), profile=icc.ADOBE), Read(source=adobe.source, bits=16, de00=0.1)
    yield "adobe.heic", lambda: p.heic(p.adobe(), icc_profile=icc.ADOBE), adobe
    for gamma in (1.0, 1.8, 2.2, 2.6):
        profile = icc.matrix_profile(icc.matrix(icc.SRGB_XY), icc.power(gamma), f"gamma {gamma}")
        pixels = p.encoded(16, curve=p.gamma_encode(icc_gamma(gamma)))
        yield (
            f"gamma-{gamma}-16.png",
            made(p.png, pixels, p.iccp(profile)),
            Read(source=f"ICC gamma {gamma}", bits=16, de00=0.1),
        )
    wide = icc.matrix_profile(icc.matrix(PROPHOTO_XY), icc.power(1.8), "wide")
    pixels = p.encoded(16, PROPHOTO_XY, p.gamma_encode(icc_gamma(1.8)))
    yield "very-wide-gamut-16.png", made(p.png, pixels, p.iccp(wide)), Read(source="ICC wide", bits=16, de00=0.1)
    yield "table-curve.png", made(p.png, p.encoded(), p.iccp(_table_curve())), Read(source="ICC table curve")
    yield "old-description.png", made(p.png, p.encoded(), p.iccp(_old_description())), Read(source="ICC an old one")
    for kind, values in PARAMETRIC.items():
        profile = icc.matrix_profile(icc.matrix(icc.SRGB_XY), icc.parametric(kind, *values), f"kind {kind}")
        yield (
            f"parametric-{kind}.png",
            made(p.png, p.encoded(), p.iccp(profile)),
            Read(source=f"ICC kind {kind}", de00=6 if kind < 3 else 1.5),
        )
    yield "exif-srgb.jpg", lambda: p.jpeg(p.encoded(), exif=p.exif(colour=1)), Read(source="EXIF sRGB")
    exif_adobe = Read(source="EXIF Adobe RGB (1998)")
    yield "exif-adobe.jpg", lambda: p.jpeg(p.adobe(), exif=p.exif(colour=0xFFFF, r03=True)), exif_adobe
    yield "exif-adobe-2.jpg", lambda: p.jpeg(p.adobe(), exif=p.exif(colour=2)), exif_adobe
    yield "exif-uncalibrated.jpg", lambda: p.jpeg(p.encoded(), exif=p.exif(colour=0xFFFF)), ASSUMED
    yield "profile-over-exif.jpg", lambda: p.jpeg(p.p3(), icc_profile=icc.P3, exif=p.exif(colour=1)), p3
    yield (
        "gama-linear-16.png",
        lambda: p.png(p.encoded(16, curve=lambda x: x), {b"gAMA": struct.pack(">I", 100000)}),
        Read(source="PNG gAMA 1", bits=16, de00=0.1),
    )
    chrm = struct.pack(">8I", 31270, 32900, 68000, 32000, 26500, 69000, 15000, 6000)
    yield (
        "gama-chrm-p3.png",
        lambda: p.png(p.p3(), {b"gAMA": struct.pack(">I", 45455), b"cHRM": chrm}),
        Read(source="PNG gAMA and cHRM"),
    )
    yield (
        "gama-chrm-broken.png",
        lambda: p.png(p.encoded(), {b"gAMA": struct.pack(">I", 45455), b"cHRM": bytes(32)}),
        ASSUMED,
    )
    yield "gama-zero.png", lambda: p.png(p.encoded(), {b"gAMA": bytes(4)}), ASSUMED


# ROMM RGB (ISO 22028-2) primaries; the matrix helper gives them the white D65, which is all that the test needs.
PROPHOTO_XY = ((0.7347, 0.2653), (0.1596, 0.8404), (0.0366, 0.0001))
# Parameters that come near sRGB for each kind of ICC.1:2022 table 68.
PARAMETRIC = {
    0: (2.2,),
    1: (2.4, 1 / 1.055, 0.055 / 1.055),
    2: (2.4, 1 / 1.055, 0.055 / 1.055, 0.0),
    3: icc.SRGB_CURVE,
    4: (*icc.SRGB_CURVE, 0.0, 0.0),
}


def icc_gamma(gamma: float) -> float:
    """As an ICC profile can say it, in 256ths."""
    return round(gamma * 256) / 256


def _table_curve() -> bytes:
    from finishmatch.colour.space import srgb_decode

    return icc.matrix_profile(icc.matrix(icc.SRGB_XY), icc.table(srgb_decode(np.linspace(0, 1, 1024))), "table curve")


def _old_description() -> bytes:
    return icc.matrix_profile(
        icc.matrix(icc.SRGB_XY), icc.parametric(3, *icc.SRGB_CURVE), desc=icc.old_text("an old one")
    )


def code_points() -> Iterator[Case]:
    def coded(*numbers: int) -> dict[bytes, bytes]:
        return {b"cICP": bytes(numbers)}

    yield "cicp-srgb.png", lambda: p.png(p.encoded(), coded(1, 13, 0, 1)), Read(source="cICP sRGB")
    yield "cicp-p3.png", lambda: p.png(p.p3(), coded(12, 13, 0, 1)), Read(source="cICP Display P3")
    yield (
        "cicp-p3-16.png",
        lambda: p.png(p.p3(16), coded(12, 13, 0, 1)),
        Read(source="cICP Display P3", bits=16, de00=0.1),
    )
    yield (
        "cicp-linear-16.png",
        lambda: p.png(p.encoded(16, curve=lambda x: x), coded(1, 8, 0, 1)),
        Read(source="cICP BT.709", bits=16, de00=0.1),
    )
    yield (
        "cicp-gamma.png",
        lambda: p.png(p.encoded(curve=p.gamma_encode(2.2)), coded(1, 4, 0, 1)),
        Read(source="cICP BT.709"),
    )
    yield "cicp-bt709.png", lambda: p.png(p.encoded(), coded(1, 1, 0, 1)), Read(("transfer_assumed",), "cICP BT.709")
    yield (
        "cicp-over-icc.png",
        lambda: p.png(p.p3(), coded(12, 13, 0, 1) | p.iccp(icc.SRGB)),
        Read(source="cICP Display P3"),
    )
    yield (
        "cicp-unknown-then-icc.png",
        lambda: p.png(p.p3(), coded(22, 13, 0, 1) | p.iccp(icc.P3)),
        Read(source="ICC Display P3 by hand"),
    )
    yield "cicp-pq.png", lambda: p.png(p.encoded(16), coded(9, 16, 0, 1)), KIND
    yield "cicp-hlg.png", lambda: p.png(p.encoded(16), coded(9, 18, 0, 1)), KIND
    yield "cicp-narrow.png", lambda: p.png(p.encoded(), coded(1, 13, 0, 0)), KIND
    yield "nclx-pq.heic", lambda: _recoded(p.heic(p.encoded()), 9, 16), KIND
    yield "nclx-hlg.heic", lambda: _recoded(p.heic(p.encoded()), 9, 18), KIND
    yield "nclx-pq.avif", lambda: _recoded(p.deep_avif(10), 9, 16), KIND
    yield "nclx-p3.heic", lambda: _recoded(p.heic(p.p3()), 12, 13), Read(source="nclx Display P3")
    yield "nclx-unknown.heic", lambda: _recoded(p.heic(p.encoded()), 22, 13), ASSUMED
    yield "nclx-bt709.heic", lambda: _recoded(p.heic(p.encoded()), 1, 1), Read(("transfer_assumed",), "nclx BT.709")
    hdr = icc.matrix_profile(icc.matrix(icc.P3_XY), icc.power(1.0), cicp=b"cicp" + bytes(4) + bytes((9, 16, 0, 1)))
    yield "icc-pq.jpg", lambda: p.jpeg(p.encoded(), icc_profile=hdr), KIND


def _recoded(data: bytes, primaries: int, transfer: int) -> bytes:
    """The file with other code points in its colour box."""
    at = data.index(b"colrnclx") + 8
    return data[:at] + struct.pack(">2H", primaries, transfer) + data[at + 4 :]


def broken_profiles() -> Iterator[Case]:
    falling = icc.matrix_profile(icc.matrix(icc.SRGB_XY), icc.table(np.linspace(1, 0, 64)))
    square = icc.matrix(icc.SRGB_XY)
    broken = {
        "cut": icc.SRGB[:200],
        "empty": b"x",
        "junk": bytes(range(256)) * 4,
        "signature": icc.SRGB.replace(b"acsp", b"ascp"),
        "tag-outside": icc.SRGB[:136] + struct.pack(">II", 1 << 30, 100) + icc.SRGB[144:],
        "many-tags": icc.SRGB[:128] + struct.pack(">I", 1 << 31) + icc.SRGB[132:],
        "falling-curve": falling,
        "flat-curve": icc.matrix_profile(square, icc.table(np.full(16, 0.5))),
        "gamma-zero": icc.matrix_profile(square, icc.power(0)),
        "gamma-huge": icc.matrix_profile(square, icc.parametric(0, 300.0)),
        "wild-parameters": icc.matrix_profile(square, icc.parametric(4, 2.4, 3e4, -3e4, 3e4, 0.5, 3e4, -3e4)),
        "parametric-9": icc.matrix_profile(square, icc.parametric(9, 2.2)),
        "curve-kind": icc.matrix_profile(square, b"line" + bytes(12)),
        "curve-too-long": icc.matrix_profile(square, b"curv" + bytes(4) + struct.pack(">I", 1 << 31) + bytes(8)),
        "no-matrix": icc.assemble({b"desc": icc.text("nothing")}),
        "flat-matrix": icc.matrix_profile(np.ones((3, 3)) / 3, icc.power(2.2)),
        "wrong-white": icc.matrix_profile(square * 2, icc.power(2.2)),
        "grey": icc.assemble({b"kTRC": icc.power(2.2)}, b"GRAY"),
        "lab-pcs": icc.matrix_profile(square, icc.power(2.2))[:20] + b"Lab " + icc.SRGB[24:],
        "for-cmyk": icc.assemble({b"A2B0": b"mft2" + bytes(100)}, b"CMYK", b"Lab "),
        "tables-broken": icc.assemble({b"desc": icc.text("broken"), b"A2B0": b"mft2" + bytes(100)}, b"RGB ", b"Lab "),
    }
    for name, profile in broken.items():
        yield f"profile-{name}.jpg", made(p.jpeg, p.encoded(), icc_profile=profile), UNUSED
    yield "profile-cut-16.tif", made(p.tiff, p.encoded(16), profile=icc.SRGB[:200]), Read(UNUSED.notes, bits=16)
    yield "profile-cut.heic", lambda: p.heic(p.encoded(), icc_profile=icc.SRGB[:200]), UNUSED
    hostile = icc.matrix_profile(
        icc.matrix(icc.SRGB_XY), icc.parametric(3, *icc.SRGB_CURVE), "\x1b[2J<script>\u202e" + "n" * 200
    )
    yield "profile-hostile-name.jpg", made(p.jpeg, p.encoded(), icc_profile=hostile), Read()
    yield (
        "profile-compressed-bomb.png",
        lambda: p.png(p.encoded(), {b"iCCP": b"x\0\0" + zlib.compress(bytes(80_000_000))}),
        UNREADABLE,
    )


def table_profiles() -> Iterator[Case]:
    converted = Read(("profile_converted",), "ICC tables by hand", de00=2)
    yield "tables.jpg", lambda: p.jpeg(p.encoded(), icc_profile=icc.rgb_tables()), converted
    yield "tables-16.png", lambda: p.png(p.encoded(16), p.iccp(icc.rgb_tables())), converted
    yield "tables.heic", lambda: p.heic(p.encoded(), icc_profile=icc.rgb_tables()), converted
    inks = np.dstack([255 - p.encoded(), np.zeros((p.HEIGHT, p.WIDTH), np.uint8)])
    cmyk = Image.frombytes("CMYK", (p.WIDTH, p.HEIGHT), inks.tobytes())

    def saved(format: str, **options: object) -> bytes:
        stream = io.BytesIO()
        cmyk.save(stream, format, **options)
        return stream.getvalue()

    printed = Read(("cmyk_converted",), "ICC tables by hand", de00=4)
    yield "cmyk-profile.jpg", lambda: saved("JPEG", quality=97, icc_profile=icc.cmyk_tables()), printed
    yield "cmyk-profile.tif", lambda: saved("TIFF", icc_profile=icc.cmyk_tables()), printed
    yield "cmyk.jpg", lambda: saved("JPEG"), KIND
    yield "cmyk.tif", lambda: saved("TIFF"), KIND
    yield "cmyk-rgb-profile.jpg", lambda: saved("JPEG", icc_profile=icc.SRGB), KIND
    broken = icc.assemble({b"A2B0": b"mft2" + bytes(100)}, b"CMYK", b"Lab ")
    yield "cmyk-broken-profile.jpg", lambda: saved("JPEG", icc_profile=broken), KIND
