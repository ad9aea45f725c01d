"""Whether two lights of different colour fall on a picture: the colour of most of it drifts along the daylight locus.

The picture is read in squares so large that cloth and wood lose their texture; what lies on the ground is off the plane
that most squares agree on and does not count.
"""

from __future__ import annotations

import numpy as np

from finishmatch.arrays import Array
from finishmatch.photo.photo import Photo

# Squares along the longer side, and every so-many-th pixel of each; fewer squares tell nothing, nor do dark ones.
_SQUARES, _ACROSS_SQUARE, _FEWEST, _DARK = 16, 24, 40, 0.02
# Tukey's biweight over ln(R/G) and ln(B/G): rounds, bound in robust standard deviations, and the least of these.
_ROUNDS, _BOUND, _LEAST_SCATTER = 15, 4.0, 0.005
# Most of the picture must agree on the plane so well.
_SHARE, _SCATTER = 0.45, 0.08
# In that plane, along and across the daylight locus (common practice: ln R and ln B move against each other about so).
_ALONG, _ACROSS = np.array([0.6, -0.8]), np.array([0.8, 0.6])
# Two lights are told of when the slope along the locus is over this, in ln a longer side, and so many times that across it.
# Set on the renderings for tuning, plain and typical phone: at most 0.09 in one light, 0.11 to 0.12 under bulb and tubes or
# sun and sky on the phone (in plain pictures these stay unseen, under 0.09). Of those for testing two lamps show 0.16 to
# 0.29, and no others pass. A strong phone's own shading passes in 3 of 34 single lights, with 0.11 to 0.13.
_TWO_LIGHTS, _TIMES_ACROSS = 0.105, 2.0


def slope_between_lights(photo: Photo) -> float:
    """How steeply the light's colour changes over a picture under two lights, in ln along the daylight locus a longer side;
    0 where one light is all that it shows."""
    place, chroma = _squares(photo)
    if len(place) < _FEWEST:
        return 0.0
    slopes, scatter, share = _plane(place, chroma)
    along, across = (float(np.linalg.norm(slopes @ direction)) for direction in (_ALONG, _ACROSS))
    told = scatter < _SCATTER and share > _SHARE and along > max(_TWO_LIGHTS, _TIMES_ACROSS * across)
    return along if told else 0.0


def _squares(photo: Photo) -> tuple[Array, Array]:
    """(n, 2) places in longer sides and (n, 2) middle ln(R/G) and ln(B/G) of the squares that are light enough."""
    side = max(photo.width, photo.height) / _SQUARES
    step = max(1, int(side // _ACROSS_SQUARE))
    size = max(1, int(side / step))
    sampled = photo.encoded[::step, ::step]
    rows, columns = sampled.shape[0] // size, sampled.shape[1] // size
    sampled = sampled[: rows * size, : columns * size]
    log = np.log(np.maximum(photo.light(sampled), 1e-4))
    log[photo.at_ends(sampled)] = np.nan
    log = log.reshape(rows, size, columns, size, 3).swapaxes(1, 2).reshape(rows * columns, -1, 3)
    told = np.flatnonzero(np.isfinite(log[..., 1]).mean(axis=1) > 0.5)
    log = log[told]
    light = np.nanmedian(log[..., 1], axis=1) > np.log(_DARK)
    chroma = np.nanmedian(log[light][..., [0, 2]] - log[light][..., 1:2], axis=1)
    y, x = np.divmod(told[light], columns)
    return np.stack([x, y], axis=1) / _SQUARES, chroma.astype(float)


def _plane(place: Array, chroma: Array) -> tuple[Array, float, float]:
    """(2, 2) slopes of ``chroma`` (n, 2) along x and y, the scatter about the plane, and what part of the squares lies on it."""
    design = np.column_stack([np.ones(len(place)), place])
    off = np.linalg.norm(chroma - np.median(chroma, axis=0), axis=1)
    weight = _biweight(off, float(np.median(off)))
    for _ in range(_ROUNDS):
        rooted = np.sqrt(weight)[:, None]
        plane = np.linalg.lstsq(design * rooted, chroma * rooted, rcond=None)[0]
        off = np.linalg.norm(chroma - design @ plane, axis=1)
        on = off[weight > 0.05]
        middle = float(np.median(on)) if len(on) else 0.0
        weight = _biweight(off, middle)
    return plane[1:], 1.4826 * middle, float(np.mean(weight > 0.2))


def _biweight(off: Array, middle: float) -> Array:
    bound = _BOUND * max(1.4826 * middle, _LEAST_SCATTER)
    return np.asarray(np.maximum(1 - (off / bound) ** 2, 0) ** 2)
