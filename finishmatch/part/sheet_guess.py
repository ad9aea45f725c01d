"""Where a plain card or sheet of paper may lie in a photo: a guess, for a person to confirm."""

from __future__ import annotations

import numpy as np

from finishmatch.arrays import Array, BoolArray
from finishmatch.card.correct_photo import plain_rgb
from finishmatch.card.kinds import CardKind
from finishmatch.card.reference import plain
from finishmatch.errors import NothingMeasured
from finishmatch.part.ground import Bytes, look
from finishmatch.part.outlines import border
from finishmatch.part.things import at_rim, levels, things
from finishmatch.photo.photo import Photo

# A sheet fills the quadrilateral through its corners to this part; what is read of it lies a little inside.
_FULL, _INSIDE = 0.93, 0.94
# A sheet that helps takes up at least this part of a photo.
_LEAST_AREA = 0.012
# CIELAB chroma, uncorrected, up to which a thing may be grey or white: lamps tint both.
_CHROMA_MAX = 30.0


def guess_plain_card(photo: Photo, kind: CardKind) -> tuple[tuple[float, float], ...] | None:
    """Corners of the largest even, nearly neutral quadrilateral in a photo, clockwise; None where there is none."""
    seen = look(photo)
    best, most = None, _LEAST_AREA * seen.card.size
    for one in things(seen, levels(seen)):
        corners = _quadrilateral(one.mask)
        area = int(one.mask.sum())
        if corners is None or area <= most or at_rim(one.mask) or _chroma(seen.rgb[one.mask]) > _CHROMA_MAX:
            continue
        placed = (corners + 0.5) * seen.step - 0.5
        try:
            plain_rgb(photo, plain(kind), placed)
        except NothingMeasured:
            continue
        best, most = placed, area
    return None if best is None else tuple((round(float(x), 1), round(float(y), 1)) for x, y in best)


def _quadrilateral(mask: BoolArray) -> Array | None:
    """(4, 2) corners a little inside of a piece that is one; None for any other."""
    import cv2

    outer = border(mask)
    hull = cv2.convexHull(outer)
    corners = cv2.approxPolyDP(hull, 0.04 * cv2.arcLength(hull, True), True)[:, 0].astype(float)
    if len(corners) != 4 or cv2.contourArea(outer) < _FULL * cv2.contourArea(corners.astype(np.float32)):
        return None
    first = int(corners.sum(axis=1).argmin())
    middle = corners.mean(axis=0)
    around = np.argsort(np.arctan2(*(np.roll(corners, -first, axis=0) - middle).T[::-1]))
    ordered = np.roll(corners, -first, axis=0)[around]
    return np.asarray(middle + _INSIDE * (np.roll(ordered, -int(ordered.sum(axis=1).argmin()), axis=0) - middle))


def _chroma(rgb: Bytes) -> float:
    """Chroma of the median of (n, 3) 8-bit sRGB."""
    import cv2

    middle = np.median(rgb, axis=0).astype(np.float32).reshape(1, 1, 3) / 255
    return float(np.hypot(*cv2.cvtColor(middle, cv2.COLOR_RGB2LAB)[0, 0, 1:]))
