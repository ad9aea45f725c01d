"""Sets of a graph's vertices as the bits of whole numbers."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from finishmatch.arrays import BoolArray


def neighbours(joined: BoolArray) -> list[int]:
    """Each vertex's neighbours, itself left out, of a graph of shape (n, n)."""
    edges = joined & ~np.eye(len(joined), dtype=bool)
    return [int.from_bytes(row.tobytes(), "little") for row in np.packbits(edges, axis=1, bitorder="little")]


def members(bits: int) -> Iterator[int]:
    """The vertices of a set, rising."""
    while bits:
        lowest = bits & -bits
        yield lowest.bit_length() - 1
        bits ^= lowest
