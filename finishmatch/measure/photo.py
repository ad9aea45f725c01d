"""A photo file as linear light: opened, turned upright once, its profile honoured, its depth kept, its clipped pixels known.

The picture stays in its encoded integers; linear light is made only for the regions that are asked for, so that a large
photo costs little more memory than its file.
"""

from __future__ import annotations

import hashlib
import io
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from finishmatch.colour.space import SRGB_TO_XYZ_D50, srgb_decode
from finishmatch.disk import read_whole
from finishmatch.errors import InputError, Note
from finishmatch.measure import icc

if TYPE_CHECKING:
    from PIL.Image import Image

Encoded = npt.NDArray[np.uint8] | npt.NDArray[np.uint16]
FloatImage = npt.NDArray[np.float32]
BoolImage = npt.NDArray[np.bool_]

MAX_PIXELS = 100_000_000
MAX_BYTES = 200_000_000
# Common practice: values this near an end of the scale are no longer proportional to light.
# The low end is that of sRGB, 3/255, in linear light, so that 16-bit linear files keep their dark colours.
CLIP_HIGH, CLIP_LOW_LINEAR = 250 / 255, float(srgb_decode(3 / 255))
CLIP_MARGIN_PX = 2


@dataclass(frozen=True, slots=True)
class Window:
    """Columns ``left`` to ``right`` and rows ``top`` to ``bottom`` of a photo, ends excluded."""

    left: int
    top: int
    right: int
    bottom: int


@dataclass(frozen=True, slots=True, eq=False)
class Photo:
    """A decoded photo, upright.

    Attributes
    ----------
    name : the file as the caller named it.
    encoded : (h, w, 3) uint8 or uint16, as stored.
    curves : (3, 256 or 65536) linear light, 0 to 1, of each encoded value and channel.
    rgb_to_xyz_d50 : (3, 3) from the photo's linear RGB to XYZ D50, white at Y = 1.
    colour_source : where the colour space came from.
    sha256 : of the file's bytes.
    """

    name: str
    encoded: Encoded
    curves: npt.NDArray[np.float32]
    rgb_to_xyz_d50: npt.NDArray[np.float64]
    colour_source: str
    sha256: str
    notes: tuple[Note, ...] = ()

    @property
    def width(self) -> int:
        return int(self.encoded.shape[1])

    @property
    def height(self) -> int:
        return int(self.encoded.shape[0])

    @property
    def whole(self) -> Window:
        return Window(0, 0, self.width, self.height)

    def linear(self, window: Window) -> FloatImage:
        """(h, w, 3) linear RGB of a window, in the photo's own primaries."""
        part = self.encoded[window.top : window.bottom, window.left : window.right]
        return np.stack([self.curves[c][part[..., c]] for c in range(3)], axis=-1)

    def at_ends(self, encoded: Encoded) -> BoolImage:
        """(..., 3) encoded values to (...): whether any channel is at an end of its scale, no longer proportional to light."""
        high = CLIP_HIGH * (len(self.curves[0]) - 1)
        low = np.array([np.searchsorted(curve, CLIP_LOW_LINEAR, side="right") - 1 for curve in self.curves])
        ends: BoolImage = ((encoded >= high) | (encoded <= low)).any(axis=-1)
        return ends

    def clipped(self, window: Window) -> BoolImage:
        """(h, w) bool: any channel at an end of its scale, grown by two pixels."""
        from scipy.ndimage import maximum_filter

        m = CLIP_MARGIN_PX
        left, top = max(window.left - m, 0), max(window.top - m, 0)
        part = self.encoded[top : window.bottom + m, left : window.right + m]
        ends = self.at_ends(part)
        grown: BoolImage = maximum_filter(ends, size=2 * m + 1, mode="constant", cval=False)
        rows, columns = window.bottom - window.top, window.right - window.left
        return grown[window.top - top :, window.left - left :][:rows, :columns]


def open_photo(path: Path, name: str | None = None) -> Photo:
    """Open a JPEG, PNG or TIFF photo.

    Errors: file_missing, file_unreadable, photo_unreadable (not a photo, cut short), photo_kind (greyscale, CMYK
    without profile, HDR ...), photo_too_large.
    """
    label = name if name is not None else str(path)
    data = read_whole(path, MAX_BYTES, "photo_too_large")
    try:
        return _decode(data, label)
    except InputError:
        raise
    except Exception as error:  # decoders raise whatever they like on broken files
        raise InputError("photo_unreadable", f"{label}: cannot be decoded ({_one_line(error)})") from error


def _one_line(error: Exception) -> str:
    return " ".join(str(error).split())[:120] or type(error).__name__


def _decode(data: bytes, label: str) -> Photo:
    from PIL import Image, UnidentifiedImageError

    try:
        image = Image.open(io.BytesIO(data), formats=("JPEG", "PNG", "TIFF"))
    except UnidentifiedImageError as error:
        raise InputError("photo_unreadable", f"{label}: not a JPEG, PNG or TIFF photo") from error
    if image.width * image.height > MAX_PIXELS:
        raise InputError(
            "photo_too_large", f"{label}: {image.width} x {image.height} pixels, over {MAX_PIXELS // 10**6} million"
        )
    notes: list[Note] = []
    if getattr(image, "n_frames", 1) > 1 and image.format != "MPO":
        notes.append(Note("first_frame", "The file holds several pictures; the first was measured."))
    if b"hdrgm:Version" in data[:200_000]:
        notes.append(Note("gain_map_ignored", "The photo carries an HDR gain map; its base picture was measured."))
    space = _colour_space(image, data, label, notes)
    encoded = _pixels(image, data, label, space, notes)
    turn = _UPRIGHT.get(image.getexif().get(0x0112, 1), _UPRIGHT[1])
    upright: Encoded = np.ascontiguousarray(turn(encoded))
    steps = 256 if encoded.dtype == np.uint8 else 65536
    return Photo(
        name=label,
        encoded=upright,
        curves=space.curves(steps),
        rgb_to_xyz_d50=space.rgb_to_xyz_d50,
        colour_source=space.source,
        sha256=hashlib.sha256(data).hexdigest(),
        notes=tuple(notes),
    )


# Exif 2.3, orientation tag 274: how the stored rows and columns become the picture as seen.
_UPRIGHT: dict[int, Callable[[Encoded], Encoded]] = {
    1: lambda p: p,
    2: lambda p: p[:, ::-1],
    3: lambda p: p[::-1, ::-1],
    4: lambda p: p[::-1],
    5: lambda p: p.transpose(1, 0, 2),
    6: lambda p: p.transpose(1, 0, 2)[:, ::-1],
    7: lambda p: p.transpose(1, 0, 2)[::-1, ::-1],
    8: lambda p: p.transpose(1, 0, 2)[::-1],
}


@dataclass(frozen=True, slots=True, eq=False)
class _Space:
    source: str
    rgb_to_xyz_d50: npt.NDArray[np.float64]
    curve: Callable[[npt.NDArray[np.float64]], npt.NDArray[np.float64]]
    convert: bytes | None = None  # a profile that only a colour engine can apply

    def curves(self, steps: int) -> npt.NDArray[np.float32]:
        grid = np.linspace(0, 1, steps)
        table = np.asarray(self.curve(np.broadcast_to(grid, (3, steps))), dtype=np.float32)
        table.setflags(write=False)
        return table


def _srgb(source: str, convert: bytes | None = None) -> _Space:
    return _Space(source, SRGB_TO_XYZ_D50, srgb_decode, convert)


def _colour_space(image: Image, data: bytes, label: str, notes: list[Note]) -> _Space:
    """cICP, then the embedded profile, then EXIF; sRGB is assumed last, and said so."""
    coded = icc.cicp_of_png(data) if image.format == "PNG" else None
    if coded is not None:
        if coded[1] in (16, 18):  # ITU-T H.273: PQ and HLG
            raise InputError("photo_kind", f"{label}: an HDR picture (transfer {coded[1]})")
        profile = icc.from_cicp(coded)
        if profile is not None:
            return _Space(f"cICP {profile.name}", profile.rgb_to_xyz_d50, profile.linear)
    embedded = image.info.get("icc_profile")
    if embedded:
        return _embedded_space(embedded, image.mode, notes)
    if image.mode == "CMYK":
        raise InputError("photo_kind", f"{label}: CMYK without a colour profile")
    exif = image.getexif()
    colour_space = exif.get_ifd(0x8769).get(0xA001)
    interoperability = exif.get_ifd(0xA005).get(1) if 0xA005 in exif else None
    if colour_space == 1:
        return _srgb("EXIF sRGB")
    if interoperability == "R03" or colour_space == 2:
        return _Space("EXIF Adobe RGB (1998)", icc.ADOBE_RGB.rgb_to_xyz_d50, icc.ADOBE_RGB.linear)
    notes.append(Note("srgb_assumed", "The photo does not say its colour space; sRGB was assumed."))
    return _srgb("assumed sRGB")


def _embedded_space(embedded: bytes, mode: str, notes: list[Note]) -> _Space:
    try:
        profile = icc.parse(embedded)
    except ValueError as error:
        notes.append(Note("profile_unused", f"The photo's colour profile was not used ({error}); sRGB was assumed."))
        return _srgb("assumed sRGB")
    if isinstance(profile, icc.TableProfile):
        if profile.space == "CMYK" and mode == "CMYK":
            notes.append(
                Note("cmyk_converted", f"The photo is CMYK and was brought to RGB by its profile ({profile.name}).")
            )
        elif profile.space == "RGB" and mode != "CMYK":
            notes.append(Note("profile_converted", f"The table-based profile {profile.name} was applied in 8 bit."))
        else:
            notes.append(
                Note("profile_unused", f"The profile {profile.name} is for {profile.space}; sRGB was assumed.")
            )
            return _srgb("assumed sRGB")
        return _srgb(f"ICC {profile.name}", convert=embedded)
    return _Space(f"ICC {profile.name}", profile.rgb_to_xyz_d50, profile.linear)


def _pixels(image: Image, data: bytes, label: str, space: _Space, notes: list[Note]) -> Encoded:
    """(h, w, 3) encoded values as stored, not yet upright."""
    if image.mode in ("1", "L", "LA", "I", "F", "I;16", "I;16B", "I;16L"):
        raise InputError("photo_kind", f"{label}: a greyscale picture")
    if image.mode == "CMYK" and space.convert is None:
        raise InputError("photo_kind", f"{label}: CMYK without a usable colour profile")
    if space.convert is not None:
        return _converted(image, space.convert)
    if image.format in ("PNG", "TIFF") and image.mode in ("RGB", "RGBA"):
        deep = _sixteen_bit(data)
        if deep is not None:
            return _without_alpha(deep, label, notes)
    if image.mode in ("P", "PA", "YCbCr", "RGBX"):
        image = image.convert("RGBA" if "transparency" in image.info or image.mode == "PA" else "RGB")
    if image.mode not in ("RGB", "RGBA"):
        raise InputError("photo_kind", f"{label}: a picture of kind {image.mode}")
    return _without_alpha(np.asarray(image), label, notes)


def _without_alpha(pixels: Encoded, label: str, notes: list[Note]) -> Encoded:
    if pixels.shape[2] == 3:
        return pixels
    if not pixels[..., 3].any():
        raise InputError("photo_kind", f"{label}: fully transparent")
    notes.append(Note("alpha_ignored", "The photo's transparency was ignored."))
    return pixels[..., :3]


def _sixteen_bit(data: bytes) -> npt.NDArray[np.uint16] | None:
    """The picture in 16 bit where it is stored so (Pillow cuts RGB of 16 bit to 8 silently), else None."""
    import cv2

    flags = cv2.IMREAD_UNCHANGED
    bits = _bits_per_channel(data)
    if bits <= 8:
        return None
    pixels = cv2.imdecode(np.frombuffer(data, dtype=np.uint8), flags)
    if pixels is None or pixels.dtype != np.uint16 or pixels.ndim != 3:
        raise ValueError("16-bit picture of an unknown kind")
    order = [2, 1, 0, 3][: pixels.shape[2]]
    return np.asarray(pixels[..., order], dtype=np.uint16)


def _bits_per_channel(data: bytes) -> int:
    if data[:8] == b"\x89PNG\r\n\x1a\n":
        return data[24]  # PNG (ISO/IEC 15948) IHDR: bit depth
    from PIL import Image

    bits = Image.open(io.BytesIO(data)).tag_v2.get(258, (8,))  # type: ignore[attr-defined]  # only TIFF has tags
    return max(bits) if isinstance(bits, tuple) else int(bits)


def _converted(image: Image, profile: bytes) -> Encoded:
    from PIL import ImageCms

    mode = "CMYK" if image.mode == "CMYK" else "RGB"
    source = ImageCms.ImageCmsProfile(io.BytesIO(profile))
    converted = ImageCms.profileToProfile(
        image if image.mode == mode else image.convert(mode),
        source,
        ImageCms.createProfile("sRGB"),
        renderingIntent=ImageCms.Intent.RELATIVE_COLORIMETRIC,
        outputMode="RGB",
    )
    return np.asarray(converted)
