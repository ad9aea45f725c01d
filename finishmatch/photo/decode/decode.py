"""A photo file's bytes as an upright picture with the curves and the matrix that make linear light of it."""

from __future__ import annotations

import io
from dataclasses import dataclass, replace

import numpy as np

from finishmatch.arrays import Array, BoolArray, FloatImage
from finishmatch.errors import InputError, Note
from finishmatch.photo.decode import heif, ordinary, raw
from finishmatch.photo.decode.colour_space import Space, assumed, space_of, unused
from finishmatch.photo.decode.kinds import kind_of
from finishmatch.photo.decode.ordinary import Raster
from finishmatch.photo.decode.upright import Encoded, upright
from finishmatch.photo.limits import Limits
from finishmatch.photo.settings import UNTOLD, Settings, settings_of_raw

DEPTHS = (8, 10, 12, 16)
# Marks of HDR gain maps: Adobe's and Android's in XMP, ISO 21496-1, Apple's.
_GAIN_MAPS = (b"hdrgm:Version", b"urn:iso:std:iso:ts:21496:-1", b"urn:com:apple:photo:2020:aux:hdrgainmap")


@dataclass(frozen=True, slots=True, eq=False)
class Decoded:
    """A picture, upright; see :class:`finishmatch.photo.photo.Photo` for what its fields mean."""

    encoded: Encoded
    curves: FloatImage
    rgb_to_xyz_d50: Array
    colour_source: str
    notes: tuple[Note, ...]
    settings: Settings = UNTOLD


def decode(data: bytes, limits: Limits) -> Decoded:
    """Decode the bytes of a photo file.

    Errors: photo_unreadable (not a photo, broken, cut short), photo_kind (greyscale, CMYK without profile, HDR ...),
    photo_too_large. Their texts do not name the file.
    """
    try:
        return _decode(data, limits)
    except (InputError, MemoryError):
        raise
    except Exception as error:  # decoders raise whatever they like on broken files
        raise InputError("photo_unreadable", f"cannot be decoded ({_one_line(error)})") from error


def _one_line(error: Exception) -> str:
    return " ".join(str(error).split())[:120] or type(error).__name__


def _decode(data: bytes, limits: Limits) -> Decoded:
    kind = kind_of(data)
    if kind is None:
        raise InputError("photo_unreadable", "not a photo of a known kind")
    if kind == "RAW":
        return _developed(data, limits)
    picture = heif.read(data, limits) if kind == "HEIF" else ordinary.read(data, kind, limits)
    if picture.bits not in DEPTHS:
        raise InputError("photo_kind", f"a picture of {picture.bits} bits a channel")
    notes = list(picture.notes)
    if any(mark in data for mark in _GAIN_MAPS):
        notes.append(Note("gain_map_ignored", "The photo carries an HDR gain map; its base picture was measured."))
    space = space_of(picture.claims, "CMYK" if picture.mode == "CMYK" else "RGB", notes)
    picture, hidden = _without_alpha(picture, notes)
    if space.engine_profile is not None:
        picture, space = _by_engine(picture, space, space.engine_profile, notes)
    seen = upright(_blackened(picture.pixels, hidden), picture.orientation)
    return Decoded(
        encoded=seen if seen.flags.c_contiguous else seen.copy(),
        curves=space.curves(2**picture.bits),
        rgb_to_xyz_d50=space.rgb_to_xyz_d50,
        colour_source=space.source,
        notes=tuple(notes),
        settings=picture.settings,
    )


def _developed(data: bytes, limits: Limits) -> Decoded:
    pixels, gains, matrix, notes, as_shot = raw.develop(data, limits)
    settings = replace(settings_of_raw(data), as_shot=as_shot)
    curves = np.linspace(0, 1, 65536) * gains[:, None]
    source = "assumed sRGB primaries" if notes else "camera matrix"
    return Decoded(pixels, curves.astype(np.float32), matrix, f"raw, {source}", notes, settings)


def _without_alpha(picture: Raster, notes: list[Note]) -> tuple[Raster, BoolArray | None]:
    """The colours alone, and where they are fully transparent; None where nothing is."""
    if picture.mode != "RGBA":
        return picture, None
    alpha = picture.pixels[..., 3]
    if not alpha.any():
        raise InputError("photo_kind", "fully transparent")
    colours = replace(picture, pixels=picture.pixels[..., :3], mode="RGB")
    if alpha.min() == 2**picture.bits - 1:
        return colours, None
    hidden = np.asarray(alpha == 0)
    if hidden.any():
        text = "What is fully transparent in the photo counts as black and is left out of every mark."
    else:
        text = "The photo's transparency was ignored."
    notes.append(Note("alpha_ignored", text))
    return colours, hidden


def _blackened(pixels: Encoded, hidden: BoolArray | None) -> Encoded:
    """The pixels, those that are hidden black: nobody has seen their colour, and black is measured nowhere."""
    if hidden is None or not hidden.any():
        return pixels
    return np.where(hidden[..., None], pixels.dtype.type(0), pixels)


def _by_engine(picture: Raster, space: Space, profile: bytes, notes: list[Note]) -> tuple[Raster, Space]:
    """The picture in 8-bit sRGB by a table-based profile; where the profile is broken, the picture as it is."""
    from PIL import Image, ImageCms

    height, width = picture.pixels.shape[:2]
    eight = np.ascontiguousarray(picture.pixels >> (picture.bits - 8), dtype=np.uint8)
    try:
        converted = ImageCms.profileToProfile(
            Image.frombuffer(picture.mode, (width, height), eight, "raw", picture.mode, 0, 1),
            ImageCms.ImageCmsProfile(io.BytesIO(profile)),
            ImageCms.createProfile("sRGB"),
            renderingIntent=ImageCms.Intent.RELATIVE_COLORIMETRIC,
            outputMode="RGB",
        )
    except (OSError, ImageCms.PyCMSError) as error:
        if picture.mode == "CMYK":
            raise InputError("photo_kind", "CMYK without a usable colour profile") from error
        notes[:] = [note for note in notes if note.code != "profile_converted"] + [unused("its tables are broken")]
        return picture, assumed(notes)
    return replace(picture, pixels=np.asarray(converted), mode="RGB", bits=8), space
