"""Pictures for the page: always encoded anew in sRGB, never the bytes of a photo's file."""

from __future__ import annotations

import io

import numpy as np

from finishmatch.colour.space import SRGB_TO_XYZ_D50, srgb_encode
from finishmatch.photo.photo import Photo, Window

VIEW_PX, THUMB_PX = 4096, 240
_STRIP = 256


def jpeg_of(photo: Photo, longest: int) -> bytes:
    """A JPEG in sRGB of at most ``longest`` pixels, nothing of the file's own data in it."""
    from PIL import Image

    picture = Image.fromarray(_srgb(photo))
    picture.thumbnail((longest, longest), Image.Resampling.BOX)
    stream = io.BytesIO()
    picture.save(stream, "JPEG", quality=86)
    return stream.getvalue()


def _srgb(photo: Photo) -> np.ndarray:
    """(h, w, 3) uint8, strip by strip: linear light of a large photo is not held at once."""
    if photo.encoded.dtype == np.uint8 and "sRGB" in photo.colour_source:
        return photo.encoded
    to_srgb = (np.linalg.inv(SRGB_TO_XYZ_D50) @ photo.rgb_to_xyz_d50).T
    shown = np.empty(photo.encoded.shape, dtype=np.uint8)
    for top in range(0, photo.height, _STRIP):
        window = Window(0, top, photo.width, min(top + _STRIP, photo.height))
        strip = srgb_encode(photo.linear(window) @ to_srgb)
        shown[window.top : window.bottom] = np.rint(np.clip(strip, 0, 1) * 255)
    return shown
