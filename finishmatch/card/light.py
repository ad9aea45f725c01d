"""What the light may be at places away from the card: its level and its colour, less surely the farther away."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from finishmatch.arrays import Array, BoolArray
from finishmatch.colour.space import lab_jacobian
from finishmatch.photo.photo import Photo

# Directions in ln(linear RGB) in which light varies from place to place: in level; in colour along the daylight locus, from
# blue sky to warm lamp (common practice: ln R and ln B move against each other about so, IEC 61966-2-1 primaries), and a
# little across it.
_LEVEL = np.array([1.0, 1.0, 1.0])
_WARMER = np.array([0.6, 0.0, -0.8])
_GREENER = np.array([-0.4, 0.2, -0.4])
# The colour of light at one place, as a part of a slope of colour.
_AT_ONE_PLACE = 0.15


@dataclass(frozen=True, slots=True, eq=False)
class LightDoubt:
    """A linear field over the picture that nobody knows, zero at ``origin_px``.

    Attributes
    ----------
    origin_px : (2,) where the light is known: the card's middle, or the picture's.
    length_px : the picture's longer side.
    level_sd, colour_sd : standard deviation of the field's slope, in ln of light a length, in level and along the
        daylight locus.
    """

    origin_px: tuple[float, float]
    length_px: float
    level_sd: float
    colour_sd: float

    def loadings(self, place_px: tuple[float, float], xyz: Array, rgb_to_xyz_d50: Array) -> tuple[Array, Array]:
        """Of a part of colour ``xyz`` (3,) whose middle lies at ``place_px``, in Lab units: (3, 6) loadings on the field's
        slopes, and the (3, 3) covariance of what the light's colour does at this place alone, by attitude and what is reflected."""
        rgb = np.maximum(np.linalg.solve(rgb_to_xyz_d50, xyz), 0)
        kinds = np.stack([self.level_sd * _LEVEL, self.colour_sd * _WARMER, 0.3 * self.colour_sd * _GREENER])
        lab = lab_jacobian(xyz) @ rgb_to_xyz_d50 @ (rgb[:, None] * kinds.T)
        away = (np.array(place_px) - self.origin_px) / self.length_px
        return np.asarray((lab[:, :, None] * away).reshape(3, 6)), np.asarray(
            lab[:, 1:] @ lab[:, 1:].T * _AT_ONE_PLACE**2
        )


# Slopes of the light in ln a length that any photo may have, in level and colour, and a tenth of them where a flat frame
# was used; how a slope of colour that the picture shows (see colour_gradient) counts: small ones are mostly materials.
_USUAL_LEVEL, _USUAL_COLOUR, _UNSEEN_COLOUR = 0.15, 0.03, 0.05
_SEEN_COLOUR = 0.2


def light_doubt(photo: Photo, corners_px: Array | None, light_range: float, evened: bool) -> LightDoubt:
    """What the light of a photo may be away from the card at ``corners_px`` (4, 2), or from the picture's middle.

    ``light_range``: fraction by which its level varies over the card. ``evened``: a flat frame was divided out.
    """
    length = float(max(photo.width, photo.height))
    gradient = None if evened else colour_gradient(photo)
    colour = _UNSEEN_COLOUR if gradient is None else float(np.hypot(_USUAL_COLOUR, _SEEN_COLOUR * gradient**2))
    if corners_px is None:
        return LightDoubt((photo.width / 2, photo.height / 2), length, _USUAL_LEVEL, colour)
    x, y = corners_px.mean(axis=0)
    card_px = float(np.ptp(corners_px, axis=0).max())
    level = float(np.hypot(_USUAL_LEVEL, np.log1p(light_range) * length / card_px))
    part = _EVENED if evened else 1.0
    return LightDoubt((float(x), float(y)), length, part * level, part * colour)


_EVENED = 0.1


def colour_gradient(photo: Photo) -> float | None:
    """How steeply the light's colour varies over a picture, in ln a length; None where nothing in it tells.

    Near-neutral, evenly coloured places are compared with their neighbours a twentieth of the picture away. One light
    leaves differences in all directions of colour alike, from what lies there; two lights leave one along the daylight
    locus that does not grow less with distance.
    """
    grid = _grid(photo)
    if grid is None:
        return None
    chroma, level, usable = grid
    steps = np.concatenate([_steps(chroma, level, usable, axis) for axis in (0, 1)])
    if len(steps) < _FEWEST_STEPS:
        return None
    slopes = steps * (_GRID / _REACH)
    along, across = (float(np.mean((slopes @ direction) ** 2)) for direction in (_ALONG, _ACROSS))
    return float(np.sqrt(max(along - _MATERIAL * across, 0.0)))


_GRID, _REACH, _FEWEST_STEPS = 64, 3, 60
# In the plane of ln(R/G) and ln(B/G).
_ALONG, _ACROSS = np.array([0.6, -0.8]), np.array([0.8, 0.6])
_MATERIAL = 2.0
_NEUTRAL, _DARK, _SPREAD = 0.45, 0.08, 0.08
_SAME_LEVEL, _SAME_COLOUR = 0.3, 0.24


def _grid(photo: Photo) -> tuple[Array, Array, BoolArray] | None:
    """ln(R/G), ln(B/G) and ln(G) of a grid of squares of the picture, and which are near-neutral, light and even."""
    side = max(photo.width, photo.height) / _GRID
    step = max(1, int(side // 8))
    size = int(side / step)
    sampled = photo.encoded[::step, ::step]
    rows, columns = sampled.shape[0] // max(size, 1), sampled.shape[1] // max(size, 1)
    if size < 2 or rows <= _REACH or columns <= _REACH:
        return None
    sampled = sampled[: rows * size, : columns * size]
    square = (rows, size, columns, size)
    light = np.maximum(photo.light(sampled), 1e-4)
    ends = photo.at_ends(sampled).reshape(square).mean(axis=(1, 3))
    mean = light.reshape(*square, 3).mean(axis=(1, 3), dtype=float)
    green = np.log(light[..., 1]).reshape(square).swapaxes(1, 2).reshape(rows, columns, -1)
    spread = green.std(axis=2)
    log = np.log(mean)
    chroma = log[..., [0, 2]] - log[..., 1:2]
    usable = (np.abs(chroma).max(axis=-1) < _NEUTRAL) & (mean[..., 1] > _DARK) & (ends < 0.1) & (spread < _SPREAD)
    return chroma, log[..., 1], usable


def _steps(chroma: Array, level: Array, usable: BoolArray, axis: int) -> Array:
    """(n, 2) changes of chromaticity between usable squares some steps apart that may be of one material."""
    count = chroma.shape[axis]
    here, there = (np.arange(count - _REACH), np.arange(_REACH, count))
    change = chroma.take(there, axis) - chroma.take(here, axis)
    same = np.abs(level.take(there, axis) - level.take(here, axis)) < _SAME_LEVEL
    same &= np.abs(change).max(axis=-1) < _SAME_COLOUR
    same &= usable.take(there, axis) & usable.take(here, axis)
    return np.asarray(change[same])
