"""The shelf's index: CIELAB cut into cells of two units, numbered so that a row of cells along b* is a range."""

from __future__ import annotations

import math
from collections.abc import Iterator

from finishmatch.colour.near_pairs import window

_BITS = 8
_MOST = (1 << _BITS) - 1
_UNIT = 2.0
_BELOW = (4, 128, 128)  # cells of L, a, b below zero; what lies beyond is in the outermost ones


def _step(value: float, axis: int) -> int:
    return min(max(math.floor(min(max(value, -1e6), 1e6) / _UNIT) + _BELOW[axis], 0), _MOST)


def cell_of(lab_l: float, lab_a: float, lab_b: float) -> int:
    """The number of the cell that a colour lies in."""
    return (_step(lab_l, 0) << _BITS | _step(lab_a, 1)) << _BITS | _step(lab_b, 2)


def cells_around(lab: tuple[float, float, float], radius: float, most: int) -> Iterator[tuple[int, int]]:
    """First and last number of the ranges of cells that hold every colour within ``radius`` CIEDE2000.

    When there would be more than ``most`` of them, one range of everything: reading all is quicker then.
    """
    low, high = (tuple(float(value) for value in corner) for corner in window(lab, radius))
    first, last = ([_step(corner[axis], axis) for axis in range(3)] for corner in (low, high))
    if (last[0] - first[0] + 1) * (last[1] - first[1] + 1) > most:
        yield 0, 1 << 3 * _BITS
        return
    for i in range(first[0], last[0] + 1):
        for j in range(first[1], last[1] + 1):
            row = (i << _BITS | j) << _BITS
            yield row | first[2], row | last[2]
