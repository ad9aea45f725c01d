"""Where a part lies in a photo: box, outline or mask. Pixels, x right, y down, origin at the centre of the top left pixel."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True, slots=True)
class Box:
    """The pixels from column ``x`` and row ``y``, ``width`` and ``height`` of them."""

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
