"""Stored rows and columns turned into the picture as it is seen."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import numpy.typing as npt

Encoded = npt.NDArray[np.uint8] | npt.NDArray[np.uint16]

# Exif 2.32, orientation tag 274; TIFF 6.0 has the same.
_TURNS: dict[int, Callable[[Encoded], Encoded]] = {
    1: lambda p: p,
    2: lambda p: p[:, ::-1],
    3: lambda p: p[::-1, ::-1],
    4: lambda p: p[::-1],
    5: lambda p: p.transpose(1, 0, 2),
    6: lambda p: p.transpose(1, 0, 2)[:, ::-1],
    7: lambda p: p.transpose(1, 0, 2)[::-1, ::-1],
    8: lambda p: p.transpose(1, 0, 2)[::-1],
}


def upright(pixels: Encoded, orientation: int) -> Encoded:
    """(h, w, n) pixels, turned as an orientation from 1 to 8 says."""
    return _TURNS[orientation](pixels)
