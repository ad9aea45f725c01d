"""The corrected picture of a part, for a person to look at."""

from __future__ import annotations

import io
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from finishmatch.arrays import Array, BoolArray
from finishmatch.card.correction import Correction
from finishmatch.card.flat import FlatField
from finishmatch.colour.space import xyz_to_srgb
from finishmatch.photo.marks import Region
from finishmatch.photo.photo import Photo, Window

LONGEST_PX = 280
_MARGIN = 0.12
# What is not the part is blended this far towards a mid grey, in encoded sRGB (L* = 50).
_DIMMED, _GREY = 0.72, 119 / 255
_JPEG_QUALITY = 88


@dataclass(frozen=True, slots=True, eq=False)
class Picture:
    """A part's corrected crop as the bytes of a JPEG file in sRGB."""

    part: str
    photo: str
    jpeg: bytes
    width: int
    height: int


def corrected_crop(
    photo: Photo, region: Region, correction: Correction, flat: FlatField | None, longest_px: int = LONGEST_PX
) -> Picture:
    """The part with a margin around it, corrected, its surroundings dimmed; at most ``longest_px`` pixels long."""
    window, mask = _with_margin(photo, region)
    step = max(1, -(-max(mask.shape) // longest_px))
    encoded = photo.encoded[window.top : window.bottom, window.left : window.right]
    linear = shrunk(encoded, step, photo.light)
    weight = shrunk(mask[..., None], step, np.asarray)
    frame = None if flat is None else flat.rgb(centres(window, linear.shape[:2], step))
    xyz = correction.models.first().xyz(linear.reshape(-1, 3), frame)[0]
    srgb = xyz_to_srgb(xyz).reshape(linear.shape)
    shown = srgb + (_GREY - srgb) * _DIMMED * (1 - weight)
    return Picture(region.part, photo.name, jpeg(shown, _JPEG_QUALITY), shown.shape[1], shown.shape[0])


def _with_margin(photo: Photo, region: Region) -> tuple[Window, BoolArray]:
    inside, covered = region.window, region.covered
    margin = round(_MARGIN * max(covered.shape))
    left, top = max(inside.left - margin, 0), max(inside.top - margin, 0)
    right, bottom = min(inside.right + margin, photo.width), min(inside.bottom + margin, photo.height)
    padding = ((inside.top - top, bottom - inside.bottom), (inside.left - left, right - inside.right))
    return Window(left, top, right, bottom), np.pad(covered, padding)


def shrunk(image: npt.NDArray[np.generic], step: int, value: Callable[[npt.NDArray[Any]], npt.NDArray[Any]]) -> Array:
    """Means of ``value`` over squares of ``step`` pixels, by four pixels of each; what fills no square is cut off."""
    rows, columns = max(1, image.shape[0] // step), max(1, image.shape[1] // step)
    total = np.zeros((rows, columns, image.shape[2]))
    places = (step // 4, step - 1 - step // 4)
    for dy in places:
        for dx in places:
            total += value(
                image[min(dy, image.shape[0] - 1) :: step, min(dx, image.shape[1] - 1) :: step][:rows, :columns]
            )
    return total / 4


def centres(window: Window, shape: tuple[int, ...], step: int) -> Array:
    """(n, 2) where in the photo the middles of the squares of :func:`shrunk` lie."""
    y, x = np.mgrid[: shape[0], : shape[1]]
    return np.stack([window.left + (x + 0.5) * step - 0.5, window.top + (y + 0.5) * step - 0.5], axis=-1).reshape(-1, 2)


def jpeg(srgb: Array, quality: int) -> bytes:
    """An sRGB picture (h, w, 3), 0 to 1, as a JPEG file that holds nothing but its pixels."""
    from PIL import Image

    stream = io.BytesIO()
    Image.fromarray(np.rint(srgb * 255).astype(np.uint8)).save(stream, "JPEG", quality=quality, subsampling=0)
    return stream.getvalue()
