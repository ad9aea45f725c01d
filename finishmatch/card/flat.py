"""A flat frame: the same light and camera, a plain even sheet instead of the parts; what it says of the light everywhere."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from math import isqrt

import numpy as np
import numpy.typing as npt

from finishmatch.arrays import Array
from finishmatch.errors import InputError
from finishmatch.photo.photo import Photo, Window

_BLOCKS, _BLOCK_PIXELS = 48, 400
_DEGREE = 3


@dataclass(frozen=True, slots=True, eq=False)
class FlatField:
    """ln(linear RGB) of the flat frame as a polynomial of degree 3 over the picture.

    ``coefficients`` : (terms, 3); ``size`` : width and height in pixels.
    """

    coefficients: Array
    size: tuple[int, int]

    def rgb(self, points: npt.ArrayLike) -> Array:
        """(n, 3) linear RGB of the flat frame at (n, 2) pixel positions; outside the picture as at its edge."""
        return np.asarray(np.exp(_basis(np.asarray(points, dtype=float), self.size) @ self.coefficients))


def _basis(points: Array, size: tuple[int, int]) -> Array:
    x, y = np.clip(2 * (points + 0.5) / np.array(size) - 1, -1, 1).T
    return np.stack([x**i * y**j for i in range(_DEGREE + 1) for j in range(_DEGREE + 1 - i)], axis=-1)


def fit_flat(flat: Photo, photo: Photo) -> FlatField:
    """Fit the field of a flat frame for ``photo``, robustly against spots. Errors: flat_unfit."""
    if (flat.width, flat.height) != (photo.width, photo.height):
        raise InputError(
            "flat_unfit",
            f"{flat.name}: {flat.width} x {flat.height} pixels, but {photo.name} is {photo.width} x {photo.height}",
        )
    points, values = _block_means(flat)
    if len(points) < 4 * (_DEGREE + 1) ** 2:
        raise InputError("flat_unfit", f"{flat.name}: too much of the flat frame is over- or underexposed")
    size = (flat.width, flat.height)
    basis, target = _basis(points, size), np.log(values)
    weight = np.ones(len(points))
    for _ in range(8):  # iterated reweighting with Tukey's biweight
        root = np.sqrt(weight)[:, None]
        coefficients = np.linalg.lstsq(basis * root, target * root, rcond=None)[0]
        residual = np.abs(target - basis @ coefficients).max(axis=1)
        bound = 4.685 * max(1.4826 * float(np.median(residual)), 1e-4)
        weight = np.maximum(1 - (residual / bound) ** 2, 0) ** 2
    return FlatField(coefficients, size)


def _block_means(flat: Photo) -> tuple[Array, Array]:
    """Positions and mean linear RGB of the unclipped blocks of a grid over the frame, by some hundred pixels of each."""
    step = max(1, isqrt(flat.width * flat.height // (_BLOCKS**2 * _BLOCK_PIXELS)))
    columns = np.linspace(0, -(-flat.width // step), _BLOCKS + 1).astype(int)
    rows = np.linspace(0, -(-flat.height // step), _BLOCKS + 1).astype(int) * step
    points, values = [], []
    for top, bottom in pairwise(rows.clip(max=flat.height).tolist()):
        clipped = flat.clipped(Window(0, top, flat.width, bottom))[::step, ::step]
        linear = flat.light(flat.encoded[top:bottom:step, ::step])
        for left, right in pairwise(columns.tolist()):
            good = ~clipped[:, left:right]
            if good.mean() > 0.9:
                points.append(((left + right - 1) / 2 * step, (top + bottom - step) / 2))
                values.append(linear[:, left:right][good].mean(axis=0))
    return np.array(points, dtype=float).reshape(-1, 2), np.maximum(np.array(values, dtype=float).reshape(-1, 3), 1e-5)
