"""What a mark covers and what lies around it, in as few numbers as tell the two apart.

Colours here are not corrected, and only compared with one another within one photo: CIELAB of the photo's own
primaries, with a* and b* at one luminance, and with lightness at a third of its weight, since metal's level varies over
one part more than its colour does.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from finishmatch.arrays import Array, BoolArray, IndexArray
from finishmatch.colour.space import xyz_to_lab
from finishmatch.photo.marks import Region, drawn_in, farther_in
from finishmatch.photo.photo import Photo, Window

_LEVEL_WEIGHT, _LEVEL_Y, _DARKEST_Y = 0.3, 0.2, 0.004
# Samples along the side of a mark, and its rings in parts of that side: one close by, one that begins where that ends.
_ACROSS = 20
_GAP, _NEAR, _BEYOND = 0.04, 0.16, 0.40
_GAP_PX, _NEAR_PX, _BEYOND_PX = 2.0, 5.0, 9.0
# Directions that a ring is cut into, and samples that one needs to have a colour.
DIRECTIONS, _DIRECTION_SAMPLES = 24, 3
# The whole photo is a grid of so many cells along its longer side.
_CELLS = 64
_MOST_STEPS = 200


@dataclass(frozen=True, slots=True, eq=False)
class Surroundings:
    """The colours of a mark and of two rings around it.

    Attributes
    ----------
    inside : (n, 3) colours of the mark's samples, its edge left out.
    middle : (3,) their median.
    near, beyond : (24, 3) mean colours of a ring close by and of a wider one, by direction; NaN outside the picture.
    """

    inside: Array
    middle: Array
    near: Array
    beyond: Array


@dataclass(frozen=True, slots=True, eq=False)
class Overview:
    """The whole photo as a coarse grid.

    Attributes
    ----------
    colours : (rows, columns, 3) of cells that are ``cell_px`` wide.
    rim : (n, 3) of those along the photo's edges.
    """

    colours: Array
    rim: Array
    cell_px: int

    def area_px(self, colour: Array, bound: float, window: Window) -> float:
        """Pixels of the connected cells within ``bound`` of a colour that the window touches."""
        alike = np.linalg.norm(self.colours - colour, axis=-1) < bound
        step, last = self.cell_px, np.array(alike.shape) - 1
        top, left = np.minimum([window.top // step, window.left // step], last)
        bottom, right = np.minimum([(window.bottom - 1) // step, (window.right - 1) // step], last)
        seen = np.zeros_like(alike)
        seen[top : bottom + 1, left : right + 1] = True
        return float((_grown_within(seen & alike, alike)).sum()) * step**2


def colours(photo: Photo, linear: Array) -> Array:
    """(..., 3) linear RGB to the colours of this module."""
    xyz = linear.reshape(-1, 3) @ photo.rgb_to_xyz_d50.T
    y = np.maximum(xyz[:, 1], _DARKEST_Y)
    levelled = xyz_to_lab(xyz * (_LEVEL_Y / y)[:, None])
    levelled[:, 0] = _LEVEL_WEIGHT * (116 * np.cbrt(y) - 16)
    return levelled.reshape(linear.shape)


def overview(photo: Photo) -> Overview:
    """The photo's coarse grid."""
    step = max(1, -(-max(photo.width, photo.height) // _CELLS))
    c = colours(photo, _means(photo, photo.whole, step))
    return Overview(c, np.concatenate([c[0], c[-1], c[1:-1, 0], c[1:-1, -1]]), step)


def surroundings(photo: Photo, mark: Region) -> Surroundings:
    """What a mark covers and what lies around it."""
    side = float(np.sqrt(np.count_nonzero(mark.covered)))
    gap, near, beyond = max(_GAP_PX, _GAP * side), max(_NEAR_PX, _NEAR * side), max(_BEYOND_PX, _BEYOND * side)
    seen = _lattice(photo, mark, beyond, max(1, int(side / _ACROSS)))
    outside = [farther_out(seen.mark, distance / seen.step) for distance in (gap, near, beyond)]
    inside = seen.colour[drawn_in(seen.mark, seen.step)]
    close = _by_direction(seen, outside[0] & ~outside[1])
    return Surroundings(inside, np.median(inside, axis=0), close, _by_direction(seen, outside[1] & ~outside[2]))


def ring(photo: Photo, mark: Region, inner_px: float, outer_px: float) -> Array:
    """(24, 3) mean colours of a ring around a mark by direction; NaN outside the picture."""
    seen = _lattice(photo, mark, outer_px, max(1, int(outer_px / _ACROSS)))
    near, far = (farther_out(seen.mark, distance / seen.step) for distance in (inner_px, outer_px))
    return _by_direction(seen, near & ~far)


@dataclass(frozen=True, slots=True, eq=False)
class _Lattice:
    """Every ``step``-th place of a window around a mark: (h, w, 3) colours, and (h, w) which of them the mark covers."""

    colour: Array
    mark: BoolArray
    step: int


def _lattice(photo: Photo, mark: Region, reach_px: float, step: int) -> _Lattice:
    margin = int(np.ceil(reach_px)) + step
    w = mark.window
    left, top = max(w.left - margin, 0), max(w.top - margin, 0)
    window = Window(left, top, min(w.right + margin, photo.width), min(w.bottom + margin, photo.height))
    colour = colours(photo, _means(photo, window, step))
    placed = np.zeros((window.bottom - top, window.right - left), dtype=bool)
    placed[w.top - top : w.bottom - top, w.left - left : w.right - left] = mark.covered
    rows, columns = colour.shape[:2]
    covered = placed[step // 2 :: step, step // 2 :: step][:rows, :columns]
    if not covered.any():  # thinner than the lattice
        y, x = np.argwhere(placed)[0] // step
        covered[min(y, rows - 1), min(x, columns - 1)] = True
    return _Lattice(colour, covered, step)


def between(photo: Photo, one: Region, other: Region) -> Array:
    """(n, 3) colours along the straight way from one mark's middle to another's, outside both; means of 3 x 3 pixels."""
    ends = np.array([_middle(one), _middle(other)])
    count = int(np.clip(np.abs(ends[1] - ends[0]).max(), 2, _MOST_STEPS))
    points = np.rint(ends[0] + np.linspace(0, 1, count)[:, None] * (ends[1] - ends[0])).astype(np.intp)
    points = points[~_covers(one, points) & ~_covers(other, points)]
    offset = np.stack(np.meshgrid([-1, 0, 1], [-1, 0, 1]), axis=-1).reshape(-1, 2)
    around = np.clip(points[:, None] + offset, 0, [photo.width - 1, photo.height - 1])
    return colours(photo, photo.light(photo.encoded[around[..., 1], around[..., 0]]).mean(axis=1, dtype=float))


def _middle(mark: Region) -> Array:
    """(2,) x and y of a mark's middle, by some of its pixels."""
    step = max(1, min(mark.covered.shape) // _ACROSS)
    y, x = np.nonzero(mark.covered[::step, ::step])
    return np.array([mark.window.left + step * x.mean(), mark.window.top + step * y.mean()])


def _covers(mark: Region, points: IndexArray) -> BoolArray:
    """Which (n, 2) pixels a mark covers."""
    x, y = points[:, 0] - mark.window.left, points[:, 1] - mark.window.top
    rows, columns = mark.covered.shape
    inside = (x >= 0) & (x < columns) & (y >= 0) & (y < rows)
    return np.asarray(inside & mark.covered[np.where(inside, y, 0), np.where(inside, x, 0)])


def _means(photo: Photo, window: Window, step: int) -> Array:
    """Mean linear RGB over squares of ``step`` pixels, by four pixels of each; what fills no square is cut off."""
    encoded = photo.encoded[window.top : window.bottom, window.left : window.right]
    rows, columns = max(1, encoded.shape[0] // step), max(1, encoded.shape[1] // step)
    places = sorted({step // 4, step - 1 - step // 4})
    total = np.zeros((rows, columns, 3))
    for dy in places:
        for dx in places:
            first = (min(dy, encoded.shape[0] - 1), min(dx, encoded.shape[1] - 1))
            total += photo.light(encoded[first[0] :: step, first[1] :: step][:rows, :columns])
    return total / len(places) ** 2


def farther_out(mark: BoolArray, distance: float) -> BoolArray:
    """The samples farther from the mark than this; what lies outside the image does not count."""
    pad = int(distance) + 1
    return farther_in(np.pad(~mark, pad, constant_values=True), distance)[pad:-pad, pad:-pad]


def _by_direction(seen: _Lattice, ring: BoolArray) -> Array:
    """(24, 3) means of a ring's samples, by their direction from the mark's middle."""
    y, x = np.nonzero(seen.mark)
    rows, columns = np.nonzero(ring)
    turn = np.arctan2(rows - y.mean(), columns - x.mean()) / (2 * np.pi) + 0.5
    numbers = np.minimum((turn * DIRECTIONS).astype(np.intp), DIRECTIONS - 1)
    count = np.bincount(numbers, minlength=DIRECTIONS)
    sums = [np.bincount(numbers, weights=values, minlength=DIRECTIONS) for values in seen.colour[ring].T]
    return np.where(count >= _DIRECTION_SAMPLES, sums / np.maximum(count, 1), np.nan).T


def _grown_within(seed: BoolArray, allowed: BoolArray) -> BoolArray:
    """Everything in ``allowed`` that is connected, by sides, to the seed."""
    while True:
        grown = seed.copy()
        grown[1:] |= seed[:-1]
        grown[:-1] |= seed[1:]
        grown[:, 1:] |= seed[:, :-1]
        grown[:, :-1] |= seed[:, 1:]
        grown &= allowed
        if (grown == seed).all():
            return seed
        seed = grown
