"""A whole photo made small for a person to look at, as photographed and as corrected, and where its parts are marked."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from finishmatch.arrays import Array
from finishmatch.card.correction import Correction
from finishmatch.card.flat import FlatField
from finishmatch.colour.space import xyz_to_srgb
from finishmatch.part.crop import centres, jpeg, shrunk
from finishmatch.photo.marks import Box, Outline, Region, ellipse
from finishmatch.photo.photo import Photo

Polygon = tuple[tuple[float, float], ...]

_QUALITY, _CORRECTED_PX = 80, 480
_MOST_ROWS = 40


@dataclass(frozen=True, slots=True, eq=False)
class View:
    """JPEG files in sRGB that hold nothing but pixels; ``scale``: pixels of the photo for one of the view."""

    jpeg: bytes
    corrected: bytes | None
    width: int
    height: int
    scale: float


def view_of(photo: Photo, correction: Correction | None, flat: FlatField | None, longest_px: int) -> View:
    """The photo at most ``longest_px`` long, and corrected at most 480 pixels long where there is a correction."""
    step = max(1, -(-max(photo.width, photo.height) // longest_px))
    linear = shrunk(photo.encoded, step, photo.light)
    seen = xyz_to_srgb(linear @ photo.rgb_to_xyz_d50.T)
    again = max(1, -(-max(linear.shape[:2]) // _CORRECTED_PX))
    corrected = (
        None if correction is None else _corrected(photo, linear[::again, ::again], correction, flat, step * again)
    )
    return View(jpeg(seen, _QUALITY), corrected, linear.shape[1], linear.shape[0], float(step))


def _corrected(photo: Photo, linear: Array, correction: Correction, flat: FlatField | None, step: int) -> bytes:
    frame = None if flat is None else flat.rgb(centres(photo.whole, linear.shape[:2], step))
    xyz = correction.models.first().xyz(linear.reshape(-1, 3), frame)[0]
    return jpeg(xyz_to_srgb(xyz).reshape(linear.shape), _QUALITY)


def outline_of(region: Region) -> Polygon:
    """What a mark covers as one polygon in the photo's pixels; of a mask, from its left to its right edge in each row."""
    mark = region.mark
    if isinstance(mark, Box):
        return tuple((float(x), float(y)) for x, y in ellipse(mark)[::4])
    if isinstance(mark, Outline):
        return tuple((float(x), float(y)) for x, y in mark.points)
    rows = np.flatnonzero(region.covered.any(axis=1))
    rows = rows[np.unique(np.linspace(0, len(rows) - 1, _MOST_ROWS).round().astype(int))] if len(rows) else rows
    left = region.covered[rows].argmax(axis=1)
    right = region.covered.shape[1] - 1 - region.covered[rows, ::-1].argmax(axis=1)
    down = zip((left + region.window.left).tolist(), (rows + region.window.top).tolist(), strict=True)
    up = zip((right + region.window.left).tolist()[::-1], (rows + region.window.top).tolist()[::-1], strict=True)
    return tuple((float(x), float(y)) for x, y in (*down, *up))
