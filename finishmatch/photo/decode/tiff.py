"""TIFF files of more than 8 bits a channel, which Pillow would cut to 8."""

from __future__ import annotations

import io
import zlib

import numpy as np

from finishmatch.errors import InputError
from finishmatch.photo.decode.upright import Encoded, upright

_RGB, _LZW, _APART = 2, 5, 2  # TIFF 6.0: tags 262, 259 and 284


def read_deep(data: bytes, size: tuple[int, int], orientation: int) -> Encoded | None:
    """(h, w, 3 or 4) pixels of the first picture, upright; None for the one compression that is left to OpenCV.

    tifffile reads LZW with a companion of 60 MB only. ``size``: columns and rows, as seen.

    Errors: photo_unreadable, photo_kind.
    """
    import tifffile

    try:
        with tifffile.TiffFile(io.BytesIO(data)) as file:
            page = file.pages.first
            if page.photometric != _RGB or page.dtype != np.uint16:
                raise InputError("photo_kind", "a TIFF of more than 8 bits of a kind that is not read")
            apart = page.planarconfig == _APART
            if page.compression == _LZW and not apart:
                return None
            if page.imagewidth * page.imagelength != size[0] * size[1] or not all(page.databytecounts):
                raise InputError("photo_unreadable", "broken: its size is not that of its data")
            pixels = page.asarray(maxworkers=1)
    except (tifffile.TiffFileError, ValueError, IndexError, zlib.error) as error:
        raise InputError("photo_unreadable", "broken, or TIFF of a kind that is not read") from error
    return upright(np.moveaxis(pixels, 0, -1) if apart else pixels, orientation)
