"""Signs of damage in a decoded JPEG that no decoder reports.

Lost data are filled with an even grey; saved again by a tolerant program, the grey is part of a sound file. One wrong bit
in a block's level shifts the level of every block after it, for each is stored as a difference from the one before
(ITU-T T.81, F.1.1.5.1): a step that runs along the border of a row of blocks from one block to the right end, and along
the next border from the left end back to it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, floor

import numpy as np
import numpy.typing as npt

from finishmatch.arrays import Array, BoolArray, FloatImage

Pixels = npt.NDArray[np.uint8]
Plane = tuple[FloatImage, int]  # its rows, and how many of them a group of blocks is high

_BLOCK, _FILL = 8, 128
_STRIP = 16
# RGB to Y, Cb, Cr, a column each (ITU-T T.871, 7; Cb and Cr about zero).
_YCC = np.array([[0.299, -0.168736, 0.5], [0.587, -0.331264, -0.418688], [0.114, 0.5, -0.081312]], dtype=np.float32)
# Set on the photographs of one half of tests/bench/damage.py, which reports on the other half. A step counts in full when
# it is as large as this in Y, Cb and Cr, or as so many of the file's own steps of level: those alone make borders of blocks.
_STEP, _QUANTA = np.array([3.0, 1.6, 2.0]), 2.0
# A large step stands out where smaller ones are all about: steps are looked at so many times as coarsely as well.
_COARSER = (1.0, 4.0, 16.0)
# So much of the steps along one line of blocks must go one way, beyond what goes one way along lines beside the border ...
_ONE_WAY, _BESIDE = 0.5, (-4, -3, -2, 2, 3, 4)
# ... and this much in both of its pieces: an edge of the picture itself lies along one border only, and has one piece.
_IN_EACH, _SHORTEST = 0.25, 0.04
# A step from black to black or white to white is not seen; lines that are blind in more than half count as if it were half.
_BLACK, _WHITE, _BLIND = 4.0, 251.0, 0.5
# Fewer blocks tell nothing.
_FEWEST = 12


@dataclass(frozen=True, slots=True)
class Coding:
    """How a picture was coded.

    Attributes
    ----------
    width, height : of a group of blocks that are stored together, in pixels (T.81's MCU).
    subsampled : columns and rows of pixels that share a value of chroma.
    quanta : of Y, Cb, Cr: the step in which a block's mean level is stored, in levels.
    """

    width: int
    height: int
    subsampled: tuple[int, int]
    quanta: tuple[float, float, float]


def ends_in_fill(pixels: Pixels) -> bool:
    """Whether a picture's last row of blocks is all fill."""
    return bool((pixels[-_BLOCK:] == _FILL).all())


def grey_band(pixels: Pixels) -> int | None:
    """The first row of a band, a block high at least, that is fill from side to side; None where there is none."""
    height = len(pixels)
    if height < 2 * _BLOCK:
        return None
    middle = pixels[:, pixels.shape[1] // 2].astype(np.int16)
    rows = np.flatnonzero((np.abs(middle - _FILL) <= 1).all(axis=-1))
    # A band of 8 rows holds a row whose number is a multiple of 8, and its neighbours.
    grey = {int(row) for row in rows if _is_fill(pixels[row])}
    for row in sorted(grey):
        if all(row + i in grey for i in range(_BLOCK)):
            return row
    return None


def _is_fill(row: Pixels) -> bool:
    return bool(((row >= _FILL - 1) & (row <= _FILL + 1)).all())


def level_jump(pixels: Pixels, coding: Coding) -> int | None:
    """The row at which the level jumps and stays; None where it does not, or the picture is too small to tell."""
    columns = pixels.shape[1] // coding.width
    rows = len(pixels) // coding.height
    if columns < _FEWEST or rows < 3:
        return None
    planes = _planes(_line_levels(pixels, coding.width), coding)
    size = np.maximum(_STEP, _QUANTA * np.array(coding.quanta))
    seen = _seen(planes[0], rows)
    for coarser in _COARSER:
        jumps = _jumps(planes, coarser * size, seen)
        if jumps.any():
            return int(np.flatnonzero(jumps.any(axis=1))[0] + 1) * coding.height
    return None


def _jumps(planes: Sequence[Plane], size: Array, seen: FloatImage) -> BoolArray:
    """(rows - 2, columns) bool: where the level jumps by ``size`` or more and stays, in one of the planes."""
    rows = len(seen) + 1
    lines = [_one_way(_steps(plane, 0, step, rows), seen) for plane, step in zip(planes, size, strict=True)]
    likely = [(in_each > _IN_EACH) & (along > _ONE_WAY) for along, in_each in lines]
    if not any(one.any() for one in likely):
        return likely[0]
    beside = np.zeros((rows - 2, seen.shape[1]))
    for plane, step in zip(planes, size, strict=True):
        for offset in _BESIDE:
            np.maximum(beside, _one_way(_steps(plane, offset, step, rows), seen)[0], out=beside)
    found = [one & (along - beside > _ONE_WAY) for one, (along, _) in zip(likely, lines, strict=True)]
    return np.asarray(np.any(found, axis=0))


def _line_levels(pixels: Pixels, width: int) -> FloatImage:
    """(h, columns, 3) mean Y, Cb, Cr of each row of pixels over the width of a group of blocks."""
    height, columns = len(pixels), pixels.shape[1] // width
    weights = np.tile(_YCC / width, (width, 1))
    levels = np.empty((height, columns, 3), dtype=np.float32)
    for top in range(0, height, _STRIP):
        strip = pixels[top : top + _STRIP, : columns * width].astype(np.float32)
        np.matmul(strip.reshape(-1, 3 * width), weights, out=levels[top : top + _STRIP].reshape(-1, 3))
    return levels


def _planes(levels: FloatImage, coding: Coding) -> list[Plane]:
    """Y, Cb and Cr, each with the rows that it was stored with, and how many of them a group of blocks is high."""
    share = coding.subsampled[1]
    rows = len(levels) // share * share
    chroma = levels[:rows, :, 1:].reshape(rows // share, share, -1, 2).mean(axis=1)
    high = coding.height // share
    return [(levels[..., 0], coding.height), (chroma[..., 0], high), (chroma[..., 1], high)]


def _seen(luma: Plane, rows: int) -> FloatImage:
    """(rows - 1, columns) 1 where a step across the border of blocks could be seen, 0 where both sides are black, or white."""
    plane, block = luma
    y = np.arange(1, rows) * block
    sides = np.stack([plane[y - 1], plane[y]])
    blind = (sides < _BLACK).all(axis=0) | (sides > _WHITE).all(axis=0)
    return np.asarray(~blind, dtype=np.float32)


def _steps(plane: Plane, offset: int, size: float, rows: int) -> FloatImage:
    """(rows - 1, columns) the step across each border of blocks, or so many rows beside it, beyond the slope around it.

    From -1 to 1: 0 up to half of ``size``, 1 from ``size`` on.
    """
    levels, block = plane
    y = np.arange(1, rows) * block + offset
    step = 1.5 * (levels[y] - levels[y - 1]) - 0.5 * (levels[y + 1] - levels[y - 2])
    return np.asarray(np.sign(step) * np.clip(2 * np.abs(step) / size - 1, 0, 1), dtype=np.float32)


def _one_way(steps: FloatImage, seen: FloatImage) -> tuple[Array, Array]:
    """(rows - 2, columns) for each block: the mean step along the line that begins at it, and in the lesser of its pieces.

    The line goes on to the right end, and from the left end of the next border on. Steps of two signs take each other
    away; blocks where nothing could be seen do not count, unless there are many.
    """
    columns = steps.shape[1]
    counts = np.maximum(_pieces(seen), _BLIND * _pieces(np.ones_like(seen)))
    sums = _pieces(steps * seen)
    means = sums / np.maximum(counts, 1)
    lesser = np.abs(means).min(axis=0) * (np.sign(means[0]) == np.sign(means[1]))
    lesser[:, : max(ceil(columns * _SHORTEST), 1)] = 0
    lesser[:, floor(columns * (1 - _SHORTEST)) + 1 :] = 0
    return np.abs(sums.sum(axis=0)) / counts.sum(axis=0), lesser


def _pieces(values: FloatImage) -> Array:
    """(2, rows - 2, columns) sums from each block to the right end, and from the next border's left end up to it."""
    summed = np.concatenate([np.zeros((len(values), 1)), np.cumsum(values, axis=1, dtype=float)], axis=1)
    return np.stack([(summed[:, -1:] - summed)[:-1, :-1], summed[1:, :-1]])
