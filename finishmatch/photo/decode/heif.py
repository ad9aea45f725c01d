"""HEIF files (HEIC) as pixels at their own depth; the library turns them upright as their boxes say."""

from __future__ import annotations

import io

import numpy as np

from finishmatch.errors import InputError, Note
from finishmatch.photo.decode.box_format import main_picture
from finishmatch.photo.decode.colour_space import Claims
from finishmatch.photo.decode.ordinary import Raster, check_size, read_exif
from finishmatch.photo.limits import Limits
from finishmatch.photo.settings import UNTOLD, Settings, settings_of


def read(data: bytes, limits: Limits) -> Raster:
    """Decode the main picture of a HEIF file. Errors: photo_unreadable, photo_kind, photo_too_large."""
    import pi_heif

    main = main_picture(data)
    check_size(main.width, main.height, limits)
    try:
        file = pi_heif.open_heif(io.BytesIO(data), convert_hdr_to_8bit=False, hdr_to_16bit=False)
        image = file[file.primary_index]
        mode = image.mode.partition(";")[0]
        if mode == "L":
            raise InputError("photo_kind", "a greyscale picture")
        if mode not in ("RGB", "RGBA"):
            raise InputError("photo_kind", f"a picture of kind {mode}")
        pixels = np.array(image, copy=True)  # what the library lends is gone with its file
    except (ValueError, EOFError, SyntaxError, RuntimeError) as error:
        raise InputError("photo_unreadable", "broken, or HEIF of a kind that is not read") from error
    notes: list[Note] = []
    if len(file) > 1:
        notes.append(Note("first_frame", "The file holds several pictures; the main one was measured."))
    bits = int(image.info["bit_depth"])
    if pixels.max() >> bits:
        raise InputError("photo_unreadable", f"values beyond {bits} bits")
    exif_space, settings = _exif(image.info)
    claims = Claims(icc=image.info.get("icc_profile"), nclx=main.nclx, exif=exif_space)
    # ISO/IEC 23008-12, 6.5.10: the boxes turn the picture; the orientation in EXIF is not to be applied.
    return Raster(pixels, mode, bits, 1, claims, tuple(notes), settings)


def _exif(info: dict[str, bytes]) -> tuple[str | None, Settings]:
    from PIL.Image import Exif

    exif = Exif()
    try:
        exif.load(info.get("exif") or b"")
        return read_exif(exif)[1], settings_of(exif)
    except Exception:  # neither colour space nor settings need be known
        return None, UNTOLD
