"""The shelf's index: CIELAB cut into cells of two units, numbered so that a row of cells along b* is a range."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from finishmatch.arrays import Array
from finishmatch.colour.near_pairs import FAR, largest_SL, sector, window

Ranges = npt.NDArray[np.int64]
"""(n, 2) the first and last of neighbouring cells."""

_BITS = 8
_MOST = (1 << _BITS) - 1
_UNIT = 2.0
_BELOW = (4, 128, 128)  # cells of L, a, b below zero; what lies beyond is in the outermost ones
_ROUNDING = 1e-9


def _step(value: float, axis: int) -> int:
    return min(max(math.floor(min(max(value, -1e6), 1e6) / _UNIT) + _BELOW[axis], 0), _MOST)


def cell_of(lab_l: float, lab_a: float, lab_b: float) -> int:
    """The number of the cell that a colour lies in."""
    return (_step(lab_l, 0) << _BITS | _step(lab_a, 1)) << _BITS | _step(lab_b, 2)


class Around:
    """The cells around a colour, in growing rings: each is given out once.

    A colour that is within CIEDE2000 ``radius`` has dL'/SL of the radius at most, and what that leaves for chroma and hue is
    the radius of a smaller window in the plane (a', b), which is a disk there; see :mod:`finishmatch.colour.near_pairs`.
    """

    def __init__(self, lab: tuple[float, float, float]) -> None:
        self._lab = lab
        self._rows: dict[int, tuple[int, int]] = {}  # a row of cells along b -> the first and last that were given out

    def ring(self, radius: float, most: int) -> Ranges | None:
        """Those cells that hold any colour within ``radius`` and were not given out yet; None where there would be more
        than ``most`` ranges, and reading everything is quicker."""
        rows = self._disks(radius)
        if rows is None or len(rows) > most:
            return None
        found: list[tuple[int, int]] = []
        for row, first, last in rows.tolist():
            seen = self._rows.get(row)
            if seen is None:
                found.append((row | first, row | last))
                self._rows[row] = first, last
                continue
            found += [(row | first, row | seen[0] - 1)] if first < seen[0] else []
            found += [(row | seen[1] + 1, row | last)] if last > seen[1] else []
            self._rows[row] = min(first, seen[0]), max(last, seen[1])
        return np.array(found, dtype=np.int64).reshape(-1, 2)

    def _disks(self, radius: float) -> npt.NDArray[np.int64] | None:
        """(n, 3) row, first and last cell in it; None where the bound says nothing."""
        low, high = window(self._lab, radius)
        if not np.isfinite(high).all():
            return None
        L = np.arange(_step(float(low[0]), 0), _step(float(high[0]), 0) + 1)
        off_L = _off(L, self._lab[0], 0)
        SL = largest_SL(self._lab[0], float(high[0]) - self._lab[0])
        left = np.sqrt(np.maximum(radius**2 - (off_L / SL) ** 2, 0))
        _, wide = window(np.broadcast_to(self._lab, (len(L), 3)), left * (1 + _ROUNDING) + _ROUNDING)
        half_a, reach = wide[:, 1] - self._lab[1], wide[:, 2] - self._lab[2]
        a = np.arange(_step(float(low[1]), 1), _step(float(high[1]), 1) + 1)
        share = _off(a, self._lab[1], 1) / half_a[:, None]
        i, j = np.nonzero(share <= 1)
        half_b = reach[i] * np.sqrt(1 - share[i, j] ** 2) + _ROUNDING
        low, high = self._lab[2] - half_b, self._lab[2] + half_b
        if radius >= FAR:
            within, edges = sector(self._lab, left * (1 + _ROUNDING) + _ROUNDING, reach), _edges(a, 1)[j]
            for _ in range(2):  # the narrower a row, the narrower its bound
                low, high = within.cut(i, edges, low, high)
        held = low <= high
        rows = (L[i] << _BITS | a[j]) << _BITS
        return np.stack([rows[held], _steps(low[held], 2), _steps(high[held], 2)], axis=1)


def _off(cells: npt.NDArray[np.int64], value: float, axis: int) -> Array:
    """How far the nearest value of each cell is; the outermost ones have no end."""
    low, high = _edges(cells, axis).T
    return np.asarray(np.maximum(np.maximum(low - value, value - high), 0))


def _edges(cells: npt.NDArray[np.int64], axis: int) -> Array:
    """(n, 2) the least and the largest value of each cell; the outermost ones have no end."""
    low = np.where(cells == 0, -np.inf, (cells - _BELOW[axis]) * _UNIT)
    high = np.where(cells == _MOST, np.inf, (cells - _BELOW[axis] + 1) * _UNIT)
    return np.stack([low, high], axis=1)


def _steps(values: Array, axis: int) -> npt.NDArray[np.int64]:
    steps: npt.NDArray[np.int64] = np.floor(np.clip(values, -1e6, 1e6) / _UNIT).astype(np.int64) + _BELOW[axis]
    return np.clip(steps, 0, _MOST)
