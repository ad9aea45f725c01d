"""JPEG, PNG, TIFF, WebP and AVIF files as pixels at the depth that they are stored in."""

from __future__ import annotations

import io
import struct
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from importlib import import_module
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from finishmatch.errors import InputError, Note
from finishmatch.photo.decode import jpeg, tiff
from finishmatch.photo.decode.box_format import main_picture
from finishmatch.photo.decode.code_points import cicp_of_png
from finishmatch.photo.decode.colour_space import Claims
from finishmatch.photo.decode.kinds import Kind
from finishmatch.photo.decode.upright import Encoded
from finishmatch.photo.limits import Limits
from finishmatch.photo.settings import UNTOLD, Settings, settings_of

if TYPE_CHECKING:
    from PIL.Image import Exif, Image

_ORIENTATION, _EXIF_IFD, _COLOUR_SPACE, _INTEROPERABILITY_IFD = 0x0112, 0x8769, 0xA001, 0xA005  # Exif 2.32
_TIFF_BITS = 258  # TIFF 6.0
_ANIMATION = (b"acTL", b"fcTL", b"fdAT")  # PNG (third edition), 11.3.6
_GREY = ("1", "L", "LA", "La", "I", "F", "I;16", "I;16B", "I;16L")
_READERS: dict[Kind, str] = {
    "JPEG": "PIL.JpegImagePlugin",
    "PNG": "PIL.PngImagePlugin",
    "TIFF": "PIL.TiffImagePlugin",
    "WEBP": "PIL.WebPImagePlugin",
    "AVIF": "PIL.AvifImagePlugin",
}
_STRIP = 64


@dataclass(frozen=True, slots=True, eq=False)
class Raster:
    """A picture as stored.

    ``pixels`` : (h, w, 3 or 4) uint8 or uint16; ``mode`` : RGB, RGBA or CMYK; ``bits`` : of each channel, the values
    running from 0 to 2**bits - 1; ``orientation`` : Exif's, still to be applied.
    """

    pixels: Encoded
    mode: str
    bits: int
    orientation: int
    claims: Claims
    notes: tuple[Note, ...]
    settings: Settings = UNTOLD


def read(data: bytes, kind: Kind, limits: Limits) -> Raster:
    """Decode a file of one of the kinds above. Errors: photo_unreadable, photo_kind, photo_too_large."""
    notes: list[Note] = []
    with opened(data, kind) as image:
        check_size(image.width, image.height, limits)
        if _holds_several(image):
            notes.append(Note("first_frame", "The file holds several pictures; the first was measured."))
        if image.mode in _GREY:
            raise InputError("photo_kind", "a greyscale picture")
        orientation, exif_space, settings = _exif(image, notes)
        boxes = main_picture(data) if kind == "AVIF" else None
        claims = _claims(image, data, kind, exif_space, boxes.nclx if boxes else None)
        size = image.size
        pixels, mode, bits = _pixels(image, data, kind, notes)
    if pixels.shape[:2] != size[::-1]:
        raise InputError("photo_unreadable", f"decoded to {pixels.shape[1]} x {pixels.shape[0]} pixels, not {size}")
    if boxes is not None and boxes.clean is not None:
        left, top, right, bottom = boxes.clean
        pixels = pixels[top:bottom, left:right]
    # All three decoders turn TIFF themselves.
    return Raster(pixels, mode, bits, 1 if kind == "TIFF" else orientation, claims, tuple(notes), settings)


def check_size(width: int, height: int, limits: Limits) -> None:
    """Refuse a picture by the size in its header. Errors: photo_too_large."""
    if width * height > limits.pixels:
        what = f"{width} x {height} pixels, over {limits.pixels / 1e6:g} million"
        raise InputError("photo_too_large", what)


@contextmanager
def opened(data: bytes, kind: Kind) -> Iterator[Image]:
    """A file's picture, its header read and nothing decoded: its size is to be checked first. Errors: photo_unreadable.

    Pillow's reader is called directly: ``Image.open`` would hold the picture against ``Image.MAX_IMAGE_PIXELS``, which is
    one for the whole process and so the caller's to set, not ours; our own limit is checked as soon as the size is known.
    """
    from PIL import Image

    import_module(_READERS[kind])  # else Pillow loads all its readers to look for this one
    reader, _ = Image.OPEN[kind]
    try:
        image = reader(io.BytesIO(data), "")
    except (SyntaxError, IndexError, TypeError, struct.error) as error:  # what Pillow's readers raise on broken headers
        raise InputError("photo_unreadable", f"broken, or {kind} of a kind that is not read") from error
    with image:
        yield image


def _holds_several(image: Image) -> bool:
    """Whether there are further pictures, without walking through them; a second JPEG is only a preview or a gain map."""
    from PIL.TiffImagePlugin import TiffImageFile

    if isinstance(image, TiffImageFile):
        return bool(image.tag_v2.next)
    return image.format != "MPO" and getattr(image, "n_frames", 1) > 1


def _exif(image: Image, notes: list[Note]) -> tuple[int, str | None, Settings]:
    try:
        exif = _exif_alone(image) if image.format == "AVIF" else image.getexif()
        if exif or not image.info.get("exif"):
            return *read_exif(exif), settings_of(exif)
    except Exception:  # the reader raises whatever it likes on broken data, or finds nothing in them
        pass
    notes.append(Note("exif_unread", "The photo's EXIF data are broken; it was taken as upright."))
    return 1, None, UNTOLD


def _exif_alone(image: Image) -> Exif:
    """EXIF data without what XMP says where they say nothing: boxes alone turn an AVIF (ISO/IEC 23008-12, 6.5.10), and
    Pillow has written what they say into its EXIF data."""
    from PIL.Image import Exif

    exif = Exif()
    exif.load(image.info.get("exif") or b"")
    return exif


def read_exif(exif: Exif) -> tuple[int, str | None]:
    """Orientation 1 to 8, and the colour space that EXIF names, or None."""
    orientation = exif.get(_ORIENTATION, 1)
    space = exif.get_ifd(_EXIF_IFD).get(_COLOUR_SPACE)
    interoperability = exif.get_ifd(_INTEROPERABILITY_IFD).get(1)
    # DCF 2.0: uncalibrated with R03 is Adobe RGB; 2 is common though in no standard.
    adobe = "Adobe RGB (1998)" if space == 2 or interoperability == "R03" else None
    return orientation if orientation in range(1, 9) else 1, "sRGB" if space == 1 else adobe


def _claims(image: Image, data: bytes, kind: Kind, exif: str | None, nclx: tuple[int, int, int, int] | None) -> Claims:
    info = image.info
    png = kind == "PNG"
    return Claims(
        cicp=cicp_of_png(data) if png else None,
        icc=info.get("icc_profile"),
        nclx=nclx,
        png_srgb=png and "srgb" in info,
        png_gamma=info.get("gamma") if png else None,
        png_primaries=info.get("chromaticity") if png else None,
        exif=exif,
    )


def _pixels(image: Image, data: bytes, kind: Kind, notes: list[Note]) -> tuple[Encoded, str, int]:
    bits = _bits_per_channel(image, data, kind)
    if image.mode in ("P", "PA"):
        notes.append(Note("palette_colours", "The photo has a palette of at most 256 colours."))
    if kind == "PNG" or (bits > 8 and image.mode in ("RGB", "RGBA", "RGBX")):
        deep = tiff.read_deep(data, image.size, _tiff_turn(image)) if kind == "TIFF" else None
        pixels = _by_opencv(data, kind, bits) if deep is None else deep
        return pixels, "RGBA" if pixels.shape[2] == 4 else "RGB", bits
    if kind == "JPEG":
        if image.mode not in ("RGB", "CMYK"):
            raise InputError("photo_kind", f"a picture of kind {image.mode}")
        found, told = jpeg.read(data, image)
        notes.extend(told)
        return found, image.mode, 8
    if image.mode == "CMYK":
        return _in_strips(image), "CMYK", 8
    seen_through = image.mode in ("RGBA", "PA", "RGBa") or "transparency" in image.info
    if image.mode not in ("RGB", "RGBA", "P", "PA", "RGBa", "RGBX", "YCbCr"):
        raise InputError("photo_kind", f"a picture of kind {image.mode}")
    mode = "RGBA" if seen_through else "RGB"
    return _in_strips(image if image.mode == mode else image.convert(mode)), mode, 8


def _in_strips(image: Image) -> npt.NDArray[np.uint8]:
    """The picture's pixels, copied strip by strip: all at once they go twice through memory, and take three times as long."""
    image.load()
    pixels = np.empty((image.height, image.width, len(image.getbands())), dtype=np.uint8)
    for top in range(0, image.height, _STRIP):
        bottom = min(top + _STRIP, image.height)
        pixels[top:bottom] = np.asarray(image.crop((0, top, image.width, bottom)))
    return pixels


def _bits_per_channel(image: Image, data: bytes, kind: Kind) -> int:
    from PIL.TiffImagePlugin import TiffImageFile

    if kind == "PNG":
        return max(data[24], 8)  # PNG (ISO/IEC 15948) IHDR: bit depth; palettes hold 8 bits
    if kind == "AVIF":
        return main_picture(data).bits
    return max(image.tag_v2.get(_TIFF_BITS, (8,))) if isinstance(image, TiffImageFile) else 8


def _tiff_turn(image: Image) -> int:
    turn = image.tag_v2.get(_ORIENTATION, 1)  # type: ignore[attr-defined]  # Pillow's TIFF reader has it
    return turn if turn in range(1, 9) else 1


def _by_opencv(data: bytes, kind: Kind, bits: int) -> Encoded:
    """LZW and AVIF of more than 8 bits, which Pillow would cut to 8; and every PNG, whose missing rows Pillow makes black.

    OpenCV turns TIFF upright, and nothing else.
    """
    import cv2

    stored = still(data) if kind == "PNG" else data
    pixels = cv2.imdecode(np.frombuffer(stored, dtype=np.uint8), cv2.IMREAD_UNCHANGED)
    if pixels is None:
        raise InputError("photo_unreadable", f"broken, or {kind} of a kind that is not read")
    if (
        pixels.dtype != (np.uint8 if bits == 8 else np.uint16)
        or pixels.ndim != 3
        or pixels.shape[2] not in (3, 4)
        or pixels.max() >> bits
    ):
        raise InputError("photo_kind", f"{kind} of {bits} bits of a kind that is not read")
    order = cv2.COLOR_BGR2RGB if pixels.shape[2] == 3 else cv2.COLOR_BGRA2RGBA
    rgb: Encoded = cv2.cvtColor(pixels, order)  # type: ignore[assignment]  # the depth is known by now
    return rgb


def still(png: bytes) -> bytes:
    """A PNG without its animation: the picture that every viewer shows, which need not be the first frame."""
    if not any(name in png for name in _ANIMATION):
        return png
    kept, at = [png[:8]], 8
    while at + 12 <= len(png):
        end = at + 12 + int.from_bytes(png[at : at + 4], "big")
        if png[at + 4 : at + 8] not in _ANIMATION:
            kept.append(png[at:end])
        at = end
    return b"".join([*kept, png[at:]])
