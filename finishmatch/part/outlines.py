"""From the pixels of a reduced picture to an outline of them in the photo."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from finishmatch.arrays import Array, BoolArray
from finishmatch.photo.marks import Outline
from finishmatch.photo.photo import Photo

MOST_POINTS = 60
# A hole of at least this part of its thing shows what lies behind and is left out; a keyhole or a screw is not.
_HOLE = 0.08

Contour = npt.NDArray[np.int32]


def outline_of(photo: Photo, mask: BoolArray, step: float, left: int = 0, top: int = 0) -> Outline:
    """The mask's largest piece in photo pixels, at most 60 points; ``step``: photo pixels per pixel of the mask.

    A large hole is cut out: the outline runs in to it and back the same way, so that it stays one polygon.
    """
    outer, holes = _with_holes(mask)
    points = _fewer(outer, MOST_POINTS // (1 + len(holes)))
    for hole in holes:
        points = _cut(points, _fewer(hole, MOST_POINTS // (1 + len(holes)) - 2))
    placed = (points + 0.5) * step - 0.5 + [left, top]
    placed = np.clip(placed, 0, [photo.width - 1, photo.height - 1]).round(1)
    return Outline(tuple((float(x), float(y)) for x, y in placed))


def border(mask: BoolArray | npt.NDArray[np.uint8]) -> Contour:
    """(n, 1, 2) the outer border of a mask's largest piece."""
    import cv2

    contours = cv2.findContours(np.asarray(mask, dtype=np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)[0]
    return np.asarray(max(contours, key=cv2.contourArea), dtype=np.int32)


def filled(mask: BoolArray) -> BoolArray:
    """A mask's largest piece with its small holes filled."""
    import cv2

    outer, holes = _with_holes(mask)
    whole = np.zeros(mask.shape, dtype=np.uint8)
    cv2.drawContours(whole, [outer], -1, 1, cv2.FILLED)
    cv2.drawContours(whole, holes, -1, 0, cv2.FILLED)
    return whole.astype(bool)


def solid(mask: BoolArray) -> BoolArray:
    """A mask's largest piece with all its holes filled."""
    import cv2

    whole = np.zeros(mask.shape, dtype=np.uint8)
    cv2.drawContours(whole, [border(mask)], -1, 1, cv2.FILLED)
    return whole.astype(bool)


def _with_holes(mask: BoolArray) -> tuple[Contour, list[Contour]]:
    """The outer border of a mask's largest piece, and those of its large holes."""
    import cv2

    found, tree = cv2.findContours(mask.astype(np.uint8), cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE)
    outer = max((i for i in range(len(found)) if tree[0, i, 3] < 0), key=lambda i: cv2.contourArea(found[i]))
    area = cv2.contourArea(found[outer])
    inner: list[Contour] = [
        np.asarray(found[i], dtype=np.int32)
        for i in range(len(found))
        if tree[0, i, 3] == outer and cv2.contourArea(found[i]) > _HOLE * area
    ]
    return np.asarray(found[outer], dtype=np.int32), sorted(inner, key=cv2.contourArea)[-2:]


def _fewer(contour: Contour, most: int) -> Array:
    """(n, 2) as few points as follow a border to about a pixel."""
    import cv2

    tolerance = 1.0
    points = cv2.approxPolyDP(contour, tolerance, True)
    while len(points) > most:
        tolerance *= 1.25
        points = cv2.approxPolyDP(contour, tolerance, True)
    return np.asarray(points[:, 0], dtype=float)


def _cut(outer: Array, hole: Array) -> Array:
    """An outline that runs from its point nearest to a hole around that and back."""
    off = np.linalg.norm(outer[:, None] - hole[None], axis=-1)
    i, j = np.unravel_index(int(off.argmin()), off.shape)
    around = np.roll(hole, -int(j), axis=0)
    return np.concatenate([outer[: i + 1], around, around[:1], outer[i:]])
