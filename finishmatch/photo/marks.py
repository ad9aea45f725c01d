"""Where a part lies in a photo: box, outline or mask. Pixels, x right, y down, origin at the centre of the top left pixel."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from finishmatch.arrays import BoolArray
from finishmatch.disk import read_whole
from finishmatch.errors import InputError
from finishmatch.photo.decode.ordinary import opened
from finishmatch.photo.limits import USUAL
from finishmatch.photo.photo import Photo, Window
from finishmatch.text import shown


@dataclass(frozen=True, slots=True)
class Box:
    """The pixels from column ``x`` and row ``y``, ``width`` and ``height`` of them.

    A box is drawn around a part as often as inside it, and parts are round as often as not: what is read is the ellipse
    that touches the box's sides.
    """

    x: float
    y: float
    width: float
    height: float


@dataclass(frozen=True, slots=True)
class Outline:
    """A polygon of at least three points."""

    points: tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True)
class Mask:
    """A picture file of the photo's size, non-zero where the part is."""

    path: Path


Mark = Box | Outline | Mask


@dataclass(frozen=True, slots=True, eq=False)
class Region:
    """What a mark covers in a photo: worked out once, and handed to whatever looks at the part.

    Attributes
    ----------
    part, mark : whose mark it is, and the mark.
    window : the mark's bounding window in the photo.
    covered : (h, w) bool, read-only: which of the window's pixels the mark covers.
    """

    part: str
    mark: Mark
    window: Window
    covered: BoolArray


def region(photo: Photo, part: str, mark: Mark) -> Region:
    """The pixels of a photo that a part's mark covers.

    Raises
    ------
    InputError : outline_outside when the mark leaves the picture, outline_invalid when it covers nothing; mask_invalid;
        file_missing, file_unreadable for a mask's file.
    """
    where = f'{photo.name}: part "{part}"'
    if isinstance(mark, Mask):
        window, covered = _mask_region(photo, mark, where)
    else:
        points = ellipse(mark) if isinstance(mark, Box) else list(mark.points)
        window, covered = _polygon_region(photo, points, where)
    covered.setflags(write=False)
    return Region(part, mark, window, covered)


def ellipse(box: Box) -> list[tuple[float, float]]:
    """Points on the ellipse that touches the box's sides."""
    angle = np.linspace(0, 2 * np.pi, 64, endpoint=False)
    half_width, half_height = (box.width - 1) / 2, (box.height - 1) / 2
    x = box.x + half_width * (1 + np.cos(angle))
    y = box.y + half_height * (1 + np.sin(angle))
    return list(zip(x.tolist(), y.tolist(), strict=True))


def _polygon_region(photo: Photo, points: list[tuple[float, float]], where: str) -> tuple[Window, BoolArray]:
    from PIL import Image, ImageDraw

    corners = np.array(points, dtype=float)
    if len(corners) < 3 or not np.isfinite(corners).all():
        raise InputError("outline_invalid", f"{where} has no area")
    low, high = np.rint(corners.min(axis=0)).astype(int), np.rint(corners.max(axis=0)).astype(int)
    if low.min() < 0 or high[0] >= photo.width or high[1] >= photo.height:
        raise InputError(
            "outline_outside",
            f"{where} reaches {low[0]},{low[1]} to {high[0]},{high[1]}, outside the picture of {photo.width} x {photo.height}",
        )
    window = Window(int(low[0]), int(low[1]), int(high[0]) + 1, int(high[1]) + 1)
    canvas = Image.new("1", (window.right - window.left, window.bottom - window.top))
    ImageDraw.Draw(canvas).polygon([(float(x), float(y)) for x, y in corners - low], fill=1, outline=1)
    covered = np.asarray(canvas, dtype=bool)
    doubled_area = np.sum(corners[:, 0] * np.roll(corners[:, 1], -1) - np.roll(corners[:, 0], -1) * corners[:, 1])
    if abs(doubled_area) < 1e-6 or not covered.any():
        raise InputError("outline_invalid", f"{where} has no area")
    return window, covered


def _mask_region(photo: Photo, mark: Mask, where: str) -> tuple[Window, BoolArray]:
    covered = _mask_pixels(mark, (photo.width, photo.height), where)
    rows, columns = np.flatnonzero(covered.any(axis=1)), np.flatnonzero(covered.any(axis=0))
    if not len(rows):
        raise InputError("mask_invalid", f"{where}: the mask is empty")
    window = Window(int(columns[0]), int(rows[0]), int(columns[-1]) + 1, int(rows[-1]) + 1)
    return window, covered[window.top : window.bottom, window.left : window.right].copy()


def _mask_pixels(mark: Mask, size: tuple[int, int], where: str) -> BoolArray:
    """The mask's non-zero pixels; nothing is decoded unless it has the photo's size."""
    data = read_whole(mark.path, USUAL.file_bytes)
    try:
        with opened(data, "PNG") as image:
            found = image.size
            if found == size:
                plain = image if image.mode in ("1", "L", "I", "I;16") else image.convert("RGB")
                pixels = np.asarray(plain)
                return np.asarray(pixels if pixels.ndim == 2 else pixels.any(axis=-1), dtype=bool)
    except Exception as error:  # decoders raise whatever they like on broken files
        raise InputError("mask_invalid", f"{where}: {shown(mark.path)} is not a PNG mask") from error
    what = f"{where}: the mask is {found[0]} x {found[1]} pixels, the photo {size[0]} x {size[1]}"
    raise InputError("mask_invalid", what)


def drawn_in(covered: BoolArray, step: int = 1) -> BoolArray:
    """The mark without its edge, where background and blur mix in: 4 % of its size, at least 2 pixels.

    A mark that would lose more than two thirds of its pixels is drawn in by one pixel at most. ``step``: of the pixels
    that ``covered`` holds, when it holds only every so many-th; the edge may then lie so much nearer than it seems.
    """
    margin = max(2.0, 0.04 * step * float(np.sqrt(covered.sum())))
    inner = farther_in(covered, (margin + step - 1) / step)
    if inner.sum() * 3 >= covered.sum():
        return inner
    narrow = farther_in(covered, 1.0)
    return narrow if narrow.sum() * 3 >= covered.sum() else covered


def farther_in(covered: BoolArray, margin: float) -> BoolArray:
    """The covered pixels whose distance from every other pixel, those outside the image included, is over ``margin``."""
    along = _steps_along_rows(covered)
    far = along > margin
    for dy in range(1, min(int(margin), len(far)) + 1):
        wide = along > np.sqrt(margin**2 - dy**2)
        far[dy:] &= wide[:-dy]
        far[:-dy] &= wide[dy:]
        far[:dy] = far[-dy:] = False
    return far


def _steps_along_rows(covered: BoolArray) -> npt.NDArray[np.int32]:
    """Steps from each pixel to the nearest uncovered one, or the image's edge, in its row; 0 for the uncovered."""
    width = covered.shape[1]
    place = np.arange(width, dtype=np.int32)
    last = np.maximum.accumulate(np.where(covered, np.int32(-1), place), axis=1)
    following = np.minimum.accumulate(np.where(covered, np.int32(width), place)[:, ::-1], axis=1)[:, ::-1]
    return np.minimum(place - last, following - place)
