"""One small picture with a different colour in each corner, in every format, depth and colour space."""

from __future__ import annotations

import io
import struct
import zlib
from collections.abc import Callable
from typing import Any

import numpy as np
from PIL import Image
from profiles import ADOBE_XY, P3_XY, SRGB_XY, matrix

from finishmatch.colour.space import lab_to_xyz, srgb_encode

WIDTH, HEIGHT = 64, 48
# Top left, top right, bottom left, bottom right: CIELAB D50, well inside sRGB.
CORNERS_LAB = np.array([[60.0, 30, 20], [50, -30, 20], [40, 10, -35], [75, 2, 10]])
_XYZ = lab_to_xyz(CORNERS_LAB)

# How the picture as seen is stored so that Exif's orientation brings it back (Exif 2.32, tag 274).
STORED: dict[int, Callable[[np.ndarray], np.ndarray]] = {
    1: lambda p: p,
    2: lambda p: p[:, ::-1],
    3: lambda p: p[::-1, ::-1],
    4: lambda p: p[::-1],
    5: lambda p: p.transpose(1, 0, 2),
    6: lambda p: p[:, ::-1].transpose(1, 0, 2),
    7: lambda p: p[::-1, ::-1].transpose(1, 0, 2),
    8: lambda p: p[::-1].transpose(1, 0, 2),
}


def spread(corners: np.ndarray) -> np.ndarray:
    """(4, n) to (48, 64, n): a quarter of the picture each."""
    picture = np.empty((HEIGHT, WIDTH, corners.shape[1]), dtype=corners.dtype)
    for i, corner in enumerate(corners):
        top, left = (i // 2) * HEIGHT // 2, (i % 2) * WIDTH // 2
        picture[top : top + HEIGHT // 2, left : left + WIDTH // 2] = corner
    return picture


def gamma_encode(gamma: float) -> Callable[[np.ndarray], np.ndarray]:
    return lambda linear: np.clip(linear, 0, 1) ** (1 / gamma)


def encoded(
    bits: int = 8,
    xy: tuple[tuple[float, float], ...] = SRGB_XY,
    curve: Callable[[np.ndarray], np.ndarray] = srgb_encode,
) -> np.ndarray:
    """(48, 64, 3) of the picture in a colour space; uint8, or uint16 above 8 bits."""
    linear = _XYZ @ np.linalg.inv(matrix(xy)).T
    return spread(np.rint(curve(linear) * (2**bits - 1)).astype(np.uint8 if bits == 8 else np.uint16))


def p3(bits: int = 8) -> np.ndarray:
    return encoded(bits, P3_XY)


def adobe(bits: int = 8) -> np.ndarray:
    return encoded(bits, ADOBE_XY, gamma_encode(563 / 256))


def with_alpha(pixels: np.ndarray, alpha: float) -> np.ndarray:
    top = 255 if pixels.dtype == np.uint8 else 65535
    return np.dstack([pixels, np.full(pixels.shape[:2], round(alpha * top), pixels.dtype)])


def exif(orientation: int = 1, **space: Any) -> bytes:
    """``space``: ``colour`` for the ColorSpace tag, ``r03=True`` for the interoperability index."""
    data = Image.Exif()
    data[0x0112] = orientation
    if "colour" in space:
        data.get_ifd(0x8769)[0xA001] = space["colour"]
    if space.get("r03"):
        data.get_ifd(0x8769)[0xA005] = {1: "R03"}
    return data.tobytes()


def saved(pixels: np.ndarray, format: str, **options: Any) -> bytes:
    stream = io.BytesIO()
    Image.fromarray(np.ascontiguousarray(pixels)).save(stream, format, **options)
    return stream.getvalue()


def jpeg(pixels: np.ndarray, **options: Any) -> bytes:
    return saved(pixels, "JPEG", **{"quality": 97, "subsampling": 0, **options})


def png(pixels: np.ndarray, chunks: dict[bytes, bytes] | None = None) -> bytes:
    """A PNG of 8 or 16 bits, written by hand; ``chunks`` stand before the pixels."""
    depth = 8 * pixels.dtype.itemsize
    kind = {3: 2, 4: 6}[pixels.shape[2]]
    header = struct.pack(">IIBBBBB", pixels.shape[1], pixels.shape[0], depth, kind, 0, 0, 0)
    rows = b"".join(b"\0" + row.astype(f">u{pixels.dtype.itemsize}").tobytes() for row in pixels)
    parts = {b"IHDR": header, **(chunks or {}), b"IDAT": zlib.compress(rows), b"IEND": b""}
    return b"\x89PNG\r\n\x1a\n" + b"".join(chunk(name, payload) for name, payload in parts.items())


def chunk(name: bytes, payload: bytes) -> bytes:
    return struct.pack(">I", len(payload)) + name + payload + struct.pack(">I", zlib.crc32(name + payload))


def iccp(profile: bytes) -> dict[bytes, bytes]:
    return {b"iCCP": b"profile\0\0" + zlib.compress(profile)}


def tiff(pixels: np.ndarray, orientation: int = 1, profile: bytes | None = None, **options: Any) -> bytes:
    import tifffile

    stream = io.BytesIO()
    tags = [(274, 3, 1, orientation, True)]
    if profile:
        tags.append((34675, 7, len(profile), profile, True))
    tifffile.imwrite(stream, pixels, **{"photometric": "rgb", "extratags": tags, "metadata": None, **options})
    return stream.getvalue()


def avif(pixels: np.ndarray, **options: Any) -> bytes:
    return saved(pixels, "AVIF", **{"quality": 100, "subsampling": "4:4:4", **options})


def deep_avif(bits: int) -> bytes:
    import cv2

    settings = [cv2.IMWRITE_AVIF_DEPTH, bits, cv2.IMWRITE_AVIF_QUALITY, 100]
    return cv2.imencode(".avif", np.ascontiguousarray(encoded(bits)[..., ::-1]), settings)[1].tobytes()


def heic(pixels: np.ndarray, bits: int = 8, copies: int = 1, **options: Any) -> bytes:
    """``pixels`` : uint8, or uint16 of 16 bits for a file of 10 or 12."""
    import pillow_heif

    pillow_heif.options.SAVE_HDR_TO_12_BIT = bits == 12
    mode = ("RGB" if pixels.shape[2] == 3 else "RGBA") + ("" if bits == 8 else ";16")
    size = (pixels.shape[1], pixels.shape[0])
    file = pillow_heif.from_bytes(mode, size, np.ascontiguousarray(pixels).tobytes())
    for _ in range(copies - 1):
        file.add_frombytes(mode, size, np.ascontiguousarray(pixels).tobytes())
    stream = io.BytesIO()
    file.save(stream, **{"quality": -1, "chroma": 444, **options})
    return stream.getvalue()


# A camera's ColorMatrix1 (from XYZ D65 to camera RGB), of an ordinary digital camera's kind; made up.
CAMERA = np.array([[0.6722, -0.0635, -0.0963], [-0.4287, 1.2460, 0.2028], [-0.0908, 0.2162, 0.5668]])
BLACK, WHITE = 512, 16383


def dng(camera_rgb: np.ndarray, orientation: int = 1, known: bool = True, **tags: Any) -> bytes:
    """A raw file with a Bayer pattern (RG over GB) of (h, w, 3) linear camera RGB from 0, black, to 1, the sensor's white."""
    mosaic = np.empty(camera_rgb.shape[:2])
    for y, x, channel in ((0, 0, 0), (0, 1, 1), (1, 0, 1), (1, 1, 2)):
        mosaic[y::2, x::2] = camera_rgb[y::2, x::2, channel]
    values = np.clip(np.rint(BLACK + mosaic * (WHITE - BLACK)), 0, WHITE).astype(np.uint16)
    rationals = [part for value in CAMERA.ravel() for part in (round(value * 10000), 10000)]
    extra = [
        (50706, 1, 4, (1, 4, 0, 0), True),  # DNGVersion
        (50708, 2, 0, "Test camera", True),  # UniqueCameraModel
        (33421, 3, 2, (2, 2), True),  # CFARepeatPatternDim
        (33422, 1, 4, (0, 1, 1, 2), True),  # CFAPattern
        (50714, 3, 1, BLACK, True),  # BlackLevel
        (50717, 3, 1, WHITE, True),  # WhiteLevel
        (50778, 3, 1, 21, True),  # CalibrationIlluminant1: D65
        (50728, 5, 3, (5, 10, 10, 10, 7, 10), True),  # AsShotNeutral: far from daylight on purpose
        (274, 3, 1, orientation, True),
    ]
    if known:
        extra.append((50721, 10, 9, tuple(rationals), True))  # ColorMatrix1
    return tiff(values, photometric=32803, extratags=extra, **tags)


def camera_picture() -> np.ndarray:
    """(48, 64, 3) camera RGB of the picture in daylight, at half the exposure that clips."""
    from finishmatch.colour.space import WHITE_D50, WHITE_D65, adaptation

    rgb = _XYZ @ adaptation(WHITE_D50, WHITE_D65).T @ CAMERA.T
    return spread(rgb * 0.5)


def padded(pixels: np.ndarray, left: int, top: int, right: int, bottom: int) -> np.ndarray:
    """The picture with so many pixels of a colour of their own around it."""
    return np.pad(pixels, ((top, bottom), (left, right), (0, 0)), constant_values=np.iinfo(pixels.dtype).max // 3)


def clean_aperture(left: int, top: int, right: int, bottom: int) -> bytes:
    """The box that cuts :func:`padded` off again (ISO/IEC 14496-12, 12.1.4): sizes, and twice how far the middle is moved."""
    numbers = (WIDTH, 1, HEIGHT, 1, left - right, 2, top - bottom, 2)
    return struct.pack(">I4s", 40, b"clap") + struct.pack(">IIIIiIiI", *numbers)


def with_property(data: bytes, prop: bytes) -> bytes:
    """An AVIF or HEIC file whose first picture has one more property, the first in its list (ISO/IEC 23008-12, 9.3)."""
    changed = bytearray(data)

    def grown(box: bytes, by: int) -> int:
        at = changed.index(box) - 4
        struct.pack_into(">I", changed, at, struct.unpack_from(">I", changed, at)[0] + by)
        return at

    ipco = grown(b"ipco", len(prop))
    end = ipco + struct.unpack_from(">I", changed, ipco)[0] - len(prop)
    number, at = 1, ipco + 8
    while at < end:
        at, number = at + struct.unpack_from(">I", changed, at)[0], number + 1
    changed[end:end] = prop
    ipma = grown(b"ipma", 1)
    assert changed[ipma + 8 : ipma + 12] == bytes(4), "items and properties of one byte"
    changed[ipma + 18] += 1
    changed[ipma + 19 : ipma + 19] = bytes([0x80 | number])
    for box in (b"iprp", b"meta"):
        grown(box, len(prop) + 1)
    _move_items(changed, len(prop) + 1)
    return bytes(changed)


def _move_items(data: bytearray, by: int) -> None:
    """Items that lie so much farther on in their file (ISO/IEC 14496-12, 8.11.3)."""
    at = data.index(b"iloc") + 4
    assert data[at] in (0, 1), "a table of the older kinds"
    assert data[at + 4] == 0x44, "offsets and lengths of four bytes"
    base = data[at + 5] >> 4
    count = struct.unpack_from(">H", data, at + 6)[0]
    here = at + 8
    for _ in range(count):
        here += (6 if data[at] == 1 else 4) + base
        extents = struct.unpack_from(">H", data, here)[0]
        here += 2
        for _ in range(extents):
            struct.pack_into(">I", data, here, struct.unpack_from(">I", data, here)[0] + by)
            here += 8
