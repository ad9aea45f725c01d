"""A neighbourhood of a point cut into the thing around the point and the rest, by the colours of both."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from finishmatch.arrays import BoolArray, FloatImage
from finishmatch.errors import InputError
from finishmatch.part.ground import Bytes, reduced
from finishmatch.part.outlines import border, filled, outline_of
from finishmatch.photo.marks import Outline
from finishmatch.photo.photo import Photo, Window

# Half the side of the neighbourhoods looked at, smallest first, as parts of the photo's longer side.
_REACHES = (0.025, 0.04, 0.065, 0.1, 0.16, 0.26, 0.42)
_LONGEST_PX = 128
# A thing around the point: this much of the neighbourhood at least, compact, and off the neighbourhood's rim.
_AREA_MIN, _SOLIDITY_MIN, _RIM_MAX = 0.03, 0.82, 0.01
_OTHER_MIN = 0.01
_DISC, _RIM_PX, _NEAR_RIM_PX = 0.05, 4, 12
# On the colour-difference map lightness counts for less: metal's level varies over one part more than its colour does.
_LIGHTNESS_WEIGHT = 0.45
# Otsu's threshold of the map is held between these (CIELAB units).
_NEAR_MIN, _NEAR_MAX, _MAP_TOP = 4.0, 14.0, 40.0
_ROUNDS = 3
# A loop is looked at with so much around it, in a picture of so many pixels.
_LOOP_MARGIN, _LOOP_PX, _LOOP_LEAST_PX = 0.15, 240, 8
# A loop covers at least this part of the box around it.
_LOOP_FULL = 0.1


@dataclass(frozen=True, slots=True, eq=False)
class Piece:
    """What was cut out of a neighbourhood: (h, w) mask, where that begins in the photo, photo pixels per step."""

    mask: BoolArray
    left: int
    top: int
    step: float


@dataclass(frozen=True, slots=True, eq=False)
class _View:
    """A reduced neighbourhood, (h, w, 3) 8-bit RGB: where it begins, photo pixels per step, and the point in it."""

    rgb: Bytes
    left: int
    top: int
    step: float
    x: int
    y: int


def cuts(photo: Photo, x: float, y: float) -> Iterator[Piece]:
    """The things around a point that neighbourhoods of growing size hold whole, the smallest first.

    Each is cut by GrabCut (Rother, Kolmogorov and Blake, ACM Trans. Graph. 23, 2004, 309), begun from a map of colour
    differences to the point.
    """
    for reach in _REACHES:
        view = _view(photo, x, y, max(8, round(reach * max(photo.width, photo.height))))
        thing = _thing(view)
        if thing is not None and _is_whole(view, thing, photo):
            yield Piece(thing.astype(bool), view.left, view.top, view.step)


def propose_within(photo: Photo, loop: Sequence[tuple[float, float]]) -> Outline:
    """Outline of what a loop of (x, y) was drawn around: what lies outside is known not to be it.

    Errors: outline_outside where the loop lies outside the picture, outline_invalid where nothing stands out in it.
    """
    import cv2

    points = np.array(loop, dtype=float)
    low, high = points.min(axis=0), points.max(axis=0)
    margin = _LOOP_MARGIN * float((high - low).max()) + 2
    left, top = (int(max(value, 0)) for value in low - margin)
    right, bottom = (int(value) for value in np.minimum(high + margin, [photo.width, photo.height]))
    if right - left < _LOOP_LEAST_PX or bottom - top < _LOOP_LEAST_PX:
        raise InputError("outline_outside", f"{photo.name}: the loop is too small or lies outside the picture")
    if cv2.contourArea(points.astype(np.float32)) < _LOOP_FULL * float(np.prod(high - low)):
        raise InputError("outline_invalid", f"{photo.name}: the loop goes around nothing", "draw it around the part")
    rgb, step = reduced(photo, Window(left, top, right, bottom), _LOOP_PX)
    mask = np.full(rgb.shape[:2], cv2.GC_BGD, dtype=np.uint8)
    drawn = np.rint((points - [left, top] + 0.5) / step - 0.5).astype(np.int32)
    cv2.fillPoly(mask, [drawn], cv2.GC_PR_FGD)
    cut = _cut(rgb, mask)
    if not cut.any():
        raise InputError("outline_invalid", f"{photo.name}: nothing stands out in the loop", "outline it by hand")
    return outline_of(photo, filled(cut.astype(bool)), step, left, top)


def _cut(rgb: Bytes, mask: Bytes) -> Bytes:
    """(h, w) 1 where GrabCut, begun from a mask of its four classes, sees the thing; small specks taken away."""
    import cv2

    cv2.setRNGSeed(1)  # GrabCut begins with a random clustering
    background, foreground = np.zeros((1, 65)), np.zeros((1, 65))
    lab = cv2.cvtColor(rgb, cv2.COLOR_RGB2LAB)
    cv2.grabCut(lab, mask, (0, 0, 0, 0), background, foreground, _ROUNDS, cv2.GC_INIT_WITH_MASK)
    cut = np.isin(mask, (cv2.GC_FGD, cv2.GC_PR_FGD)).astype(np.uint8)
    brush = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (5, 5))
    return np.asarray(cv2.morphologyEx(cut, cv2.MORPH_OPEN, brush), dtype=np.uint8)


def _view(photo: Photo, x: float, y: float, half: int) -> _View:
    column, row = round(x), round(y)
    left, top = max(column - half, 0), max(row - half, 0)
    window = Window(left, top, min(column + half + 1, photo.width), min(row + half + 1, photo.height))
    rgb, step = reduced(photo, window, _LONGEST_PX)
    rows, columns = rgb.shape[:2]
    seen = int(min((column - left) / step, columns - 1)), int(min((row - top) / step, rows - 1))
    return _View(rgb, left, top, step, *seen)


def _thing(view: _View) -> Bytes | None:
    """(h, w) 1 on the one piece around the point, holes filled; None when the cut leaves the point outside."""
    import cv2

    mask = _beginning(view)
    if (mask == cv2.GC_PR_BGD).mean() < _OTHER_MIN:
        return None  # nothing but the thing in sight
    pieces = cv2.connectedComponents(_cut(view.rgb, mask))[1]
    if pieces[view.y, view.x] == 0:
        return None
    piece = (pieces == pieces[view.y, view.x]).astype(np.uint8)
    filled: Bytes = np.zeros_like(piece)
    cv2.drawContours(filled, [border(piece)], -1, 1, cv2.FILLED)
    return filled


def _beginning(view: _View) -> Bytes:
    """What GrabCut begins from: sure of a disc around the point and of the rim, else led by the colour difference."""
    import cv2

    sharp = cv2.cvtColor(view.rgb.astype(np.float32) / 255, cv2.COLOR_RGB2LAB)
    lab: FloatImage = np.asarray(cv2.GaussianBlur(sharp, (0, 0), 1.2), dtype=np.float32)
    rows, columns = np.mgrid[: lab.shape[0], : lab.shape[1]]
    disc = (columns - view.x) ** 2 + (rows - view.y) ** 2 <= (_DISC * max(lab.shape)) ** 2
    difference = _difference(lab, np.median(lab[disc], axis=0))
    levels = np.clip(difference * (255 / _MAP_TOP), 0, 255).astype(np.uint8)
    otsu = cv2.threshold(levels, 0, 255, cv2.THRESH_BINARY + cv2.THRESH_OTSU)[0] * _MAP_TOP / 255
    near = difference < min(max(otsu, _NEAR_MIN), _NEAR_MAX)
    mask = np.where(near, cv2.GC_PR_FGD, cv2.GC_PR_BGD).astype(np.uint8)
    mask[_rim(mask, _RIM_PX)] = cv2.GC_BGD
    mask[disc] = cv2.GC_FGD
    return mask


def _difference(lab: FloatImage, seed: FloatImage) -> FloatImage:
    weights = np.array([_LIGHTNESS_WEIGHT, 1, 1], dtype=np.float32)
    return np.asarray(np.linalg.norm((lab - seed) * weights, axis=-1), dtype=np.float32)


def _rim(picture: Bytes, width: int) -> BoolArray:
    rim = np.ones(picture.shape, dtype=bool)
    rim[width:-width, width:-width] = False
    return rim


def _is_whole(view: _View, thing: Bytes, photo: Photo) -> bool:
    """Whether the thing is compact, large enough, and does not go on beyond the neighbourhood."""
    import cv2

    hull = cv2.contourArea(cv2.convexHull(border(thing)))
    just_inside = _rim(thing, _NEAR_RIM_PX) & ~_rim(thing, _RIM_PX)
    on_rim = thing[just_inside].mean()
    sees_all = thing.shape[1] * view.step >= photo.width - 1 and thing.shape[0] * view.step >= photo.height - 1
    return bool(thing.mean() >= _AREA_MIN and thing.sum() >= _SOLIDITY_MIN * hull and (on_rim <= _RIM_MAX or sees_all))
