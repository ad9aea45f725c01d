"""Whether the marks of two parts lie in one picture: a copy that was cropped, made smaller, saved again, or shot off a screen.

What lies about each mark is hashed as in C. Zauner's perceptual hash (2010): 32 x 32 greys, of whose cosine transform the
lowest 8 x 8 coefficients that are not constant along a side give a bit each, above their median or not. Two people mark a
part a little differently, so that one of two hashes is taken at several places and sizes; the nearest counts. Where it
lies near, colours, shading and detail must agree there as well: shops photograph their goods in one stand, and what differs
then is the colour alone. Where a part shows nothing but an even surface there is nothing to be recognised by.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np

from finishmatch.arrays import Array, BoolArray, FloatImage
from finishmatch.colour.space import xyz_to_srgb
from finishmatch.photo.marks import Region
from finishmatch.photo.photo import Photo

_TILE_PX, _GREYS, _CELLS, _BITS = 96, 32, 32, 8
_TILE, _WINDOW = 1.7, 1.3  # sides of the tile that is kept and of the window that is hashed, over the mark's
_MOVED, _SCALED = (-0.08, -0.04, 0.0, 0.04, 0.08), (0.92, 0.96, 1.0, 1.04, 1.08)  # over the mark's side
# Set on copies of samples and of coins in real photographs, marks drawn 3 % off. With other marks and copies of the same
# pictures 25 to 28 of 29 samples and 17 to 24 of 26 coins are recognised, by the kind of copy, fewest where it is small; of bare
# even surfaces hardly any; none of 4 500 other pairs is taken for one (tests/bench/one_picture.py).
_MOST_BITS, _LEAST_CORRELATION, _MOST_COLOUR = 14, 0.9, 8 / 255
_LEAST_DETAIL, _LEAST_OF_DETAIL = 0.003, 0.5
_LEAST_CONTRAST = 0.02  # standard deviation of encoded grey below which nothing is there to be recognised


@dataclass(frozen=True, slots=True, eq=False)
class Look:
    """What lies about the mark of a part: ``tile`` (96, 96, 3) encoded sRGB, single precision, and ``bits`` (64,) of its hash."""

    part: str
    photo: str
    tile: FloatImage
    bits: BoolArray


def look_of(photo: Photo, region: Region) -> Look:
    """What lies about a part's mark; beyond the picture's edge its last pixels."""
    inside = region.window
    middle = np.array([inside.top + inside.bottom, inside.left + inside.right]) / 2
    half = _TILE / 2 * max(inside.bottom - inside.top, inside.right - inside.left)
    places = (np.arange(4 * _TILE_PX) + 0.5) / (2 * _TILE_PX) - 1
    rows, columns = (np.floor(at + half * places / 2) for at in middle)
    y = np.clip(rows, 0, photo.height - 1).astype(np.intp)
    x = np.clip(columns, 0, photo.width - 1).astype(np.intp)
    linear = photo.light(photo.encoded[y][:, x]).reshape(_TILE_PX, 4, _TILE_PX, 4, 3).mean(axis=(1, 3))
    tile = xyz_to_srgb(linear @ photo.rgb_to_xyz_d50.T).astype(np.float32)
    return Look(region.part, photo.name, tile, _hashes(tile, (_STRAIGHT,))[0])


def same_pictures(looks: Sequence[Look]) -> tuple[tuple[str, str], ...]:
    """Pairs of parts whose marks, in two photos, lie in one picture; each once, in the order given."""
    found: dict[tuple[str, str], None] = {}
    bits = np.array([one.bits for one in looks])
    for i, one in enumerate(looks[:-1]):
        if one.tile.mean(axis=2).std() < _LEAST_CONTRAST:
            continue
        placed = _hashes(one.tile, _PLACES)
        apart = (placed[:, None] != bits[i + 1 :]).sum(axis=2)
        for k in np.flatnonzero(apart.min(axis=0) <= _MOST_BITS).tolist():
            other = looks[i + 1 + k]
            if other.photo != one.photo and other.part != one.part:
                nearest = np.argsort(apart[:, k], kind="stable")[:_TRIED]
                if any(_agree(one.tile, other.tile, _PLACES[at]) for at in nearest):
                    found[one.part, other.part] = None
    return tuple(found)


_INNER = slice(_CELLS // 4, -(_CELLS // 4))  # of a window, on the part
_Place = tuple[float, float, float]  # down and right, over the mark's side, and how much larger
_PLACES: tuple[_Place, ...] = tuple(product(_MOVED, _MOVED, _SCALED))
_STRAIGHT: _Place = (0.0, 0.0, 1.0)
_STEPS = ((1, 0, 0), (-1, 0, 0), (0, 1, 0), (0, -1, 0), (0, 0, 1), (0, 0, -1))
_FINEST, _TRIED = 0.004, 2  # the last step of the search, and how many places it begins from


def _agree(tile: FloatImage, other: FloatImage, place: _Place) -> bool:
    """Whether two tiles show the same there, part and ground: shading, the part's colour, and its detail."""
    place, alike = _settled(tile, other, place)
    one, two = _window(tile, place, _CELLS), _window(other, _STRAIGHT, _CELLS)
    off = np.abs((one - two)[_INNER, _INNER].mean(axis=(0, 1))).max()
    if alike < _LEAST_CORRELATION or float(off) > _MOST_COLOUR:
        return False
    first, second = (_detail(image.mean(axis=2))[_INNER, _INNER] for image in (one, two))
    return bool(min(first.std(), second.std()) >= _LEAST_DETAIL and correlated(first, second) >= _LEAST_OF_DETAIL)


def _settled(tile: FloatImage, other: FloatImage, place: _Place) -> tuple[_Place, float]:
    """The place near this one where a tile is most like the other, and their correlation there."""
    grey = tile.mean(axis=2, keepdims=True)
    fixed = _window(other, _STRAIGHT, _CELLS).mean(axis=2, keepdims=True)
    best, most = place, correlated(_window(grey, place, _CELLS), fixed)
    step = _MOVED[1] - _MOVED[0]
    while step > _FINEST:
        around = [(best[0] + a * step, best[1] + b * step, best[2] + c * step) for a, b, c in _STEPS]
        values = [correlated(_window(grey, one, _CELLS), fixed) for one in around]
        if max(values) > most:
            best, most = around[int(np.argmax(values))], max(values)
        else:
            step /= 2
    return best, most


def correlated(one: Array, other: Array) -> float:
    """How alike two pictures are in what departs from the mean of each channel, from -1 to 1."""
    a, b = one - one.mean(axis=(0, 1)), other - other.mean(axis=(0, 1))
    return float((a * b).sum() / max(np.sqrt((a**2).sum() * (b**2).sum()), 1e-9))


def _detail(grey: Array) -> Array:
    """What departs from the mean of the 5 x 5 cells around."""
    padded = np.pad(grey, 2, mode="edge")
    around = np.lib.stride_tricks.sliding_window_view(padded, (5, 5)).mean(axis=(2, 3))
    return np.asarray(grey - around)


def _hashes(tile: FloatImage, places: Sequence[_Place]) -> BoolArray:
    """(n, 64) the hash of what a tile shows at these places."""
    grey = tile @ np.array([0.299, 0.587, 0.114])
    k, x = np.arange(1, _BITS + 1)[:, None], np.arange(_GREYS)
    cosines = np.cos(np.pi * k * (2 * x + 1) / (2 * _GREYS))
    low = np.array([cosines @ _window(grey[..., None], place, _GREYS)[..., 0] @ cosines.T for place in places])
    low = low.reshape(len(places), -1)
    return np.asarray(low > np.median(low, axis=1, keepdims=True))


def _window(tile: FloatImage, place: _Place, cells: int) -> Array:
    """(cells, cells, c) means over squares of a window of the tile."""
    down, right, scale = place
    rows, columns = _shares(down, scale, cells), _shares(right, scale, cells)
    return np.stack([rows @ tile[..., c] @ columns.T for c in range(tile.shape[2])], axis=-1)


def _shares(moved: float, scale: float, cells: int) -> Array:
    """(cells, 96) which share of each cell's mean a row of the tile has."""
    unit = _TILE_PX / _TILE
    start = _TILE_PX / 2 + unit * (moved - _WINDOW / 2 * scale)
    edges = start + np.arange(cells + 1) * unit * _WINDOW * scale / cells
    pixels = np.arange(_TILE_PX)
    inside = np.minimum(edges[1:, None], pixels + 1) - np.maximum(edges[:-1, None], pixels)
    shares = np.clip(inside, 0, 1)
    return np.asarray(shares / np.maximum(shares.sum(axis=1, keepdims=True), 1e-9))
