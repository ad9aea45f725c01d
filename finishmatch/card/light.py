"""The light over a picture: how its colour drifts, as the picture itself shows, and what it may be away from the card."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from finishmatch.arrays import Array, BoolArray
from finishmatch.card.two_lights import slope_between_lights
from finishmatch.colour.space import lab_jacobian
from finishmatch.photo.photo import Photo

# Directions in ln(linear RGB) in which light varies from place to place: in level; in colour along the daylight locus, from
# blue sky to warm lamp (common practice: ln R and ln B move against each other about so, IEC 61966-2-1 primaries), and a
# little across it.
_LEVEL = np.array([1.0, 1.0, 1.0])
_WARMER = np.array([0.6, 0.0, -0.8])
_GREENER = np.array([-0.4, 0.2, -0.4])
_ACROSS_LOCUS = 0.3
# The colour of light at one place, as a part of a slope of colour; and under two lights, each of which a part may mirror
# more than the ground beside it does, as a part of the slope between them (three times as much covered more of the renderings
# in two lights, and left every fifth pair of plainly different real surfaces unsure).
_AT_ONE_PLACE, _OF_TWO_LIGHTS = 0.15, 0.12
# Slopes of the light in ln a length that any photo may have, in level and colour, and a tenth of them where a flat frame
# was used; how a slope of colour that the picture shows (see colour_gradient) counts: small ones are mostly materials.
_USUAL_LEVEL, _USUAL_COLOUR, _UNSEEN_COLOUR = 0.02, 0.03, 0.05
_SEEN_COLOUR = 0.2
_EVENED = 0.1
# The picture is looked at in so many squares along its longer side, every so-many-th pixel of each.
_SQUARES, _ACROSS_SQUARE = 64, 8
# Squares that tell: light, evenly coloured, hardly clipped; near-neutral ones for two lights.
_DARK, _DARK_NEUTRAL, _SPREAD, _CLIPPED = 0.03, 0.08, 0.10, 0.1
_NEUTRAL, _SPREAD_NEUTRAL = 0.45, 0.08
# Two squares may be of one material when they differ by less than this in ln of level and colour.
_SAME_LEVEL, _SAME_COLOUR = 0.3, 0.24
_DRIFT_LEVEL, _DRIFT_COLOUR = 0.2, 0.05
_REACH, _DRIFT_REACHES, _FEWEST_STEPS = 3, (1, 2, 3), 60
# In the plane of ln(R/G) and ln(B/G).
_ALONG, _ACROSS = np.array([0.6, -0.8]), np.array([0.8, 0.6])
_MATERIAL = 2.0
# What a drift is believed to be before the picture is looked at, in ln a length; and how many steps tell as much as one
# independent one: neighbours share their squares.
_DRIFT_SD, _STEPS_ALIKE = 0.1, 30.0


@dataclass(frozen=True, slots=True, eq=False)
class Light:
    """The light over a picture, zero at ``origin_px``: the drift of its colour as seen, and a linear field nobody knows.

    Attributes
    ----------
    origin_px : (2,) where the light is known: the card's middle, or the picture's.
    length_px : the picture's longer side.
    drift : (3, 2) slopes of ln(linear RGB) a length along x and y, to be divided out.
    level_sd, colour_sd : standard deviation of the unknown slope, in ln of light a length, in level and along the
        daylight locus.
    mixed : whether the picture shows lights of two colours.
    two_lights : slope between them, in ln of light a length along the daylight locus; 0 where it is not told.
    """

    origin_px: tuple[float, float]
    length_px: float
    drift: Array
    level_sd: float
    colour_sd: float
    mixed: bool
    two_lights: float = 0.0

    def away(self, place_px: tuple[float, float]) -> Array:
        """(2,) how far a place lies from the origin, in lengths."""
        return np.asarray((np.array(place_px) - self.origin_px) / self.length_px)

    def evened(self, rgb: Array, place_px: tuple[float, float]) -> Array:
        """(n, 3) linear RGB seen at a place, as the light at the origin would show it."""
        return np.asarray(rgb * np.exp(-(self.drift @ self.away(place_px))))

    def loadings(self, place_px: tuple[float, float], xyz: Array, rgb_to_xyz_d50: Array) -> tuple[Array, Array]:
        """Of a part of colour ``xyz`` (3,) whose middle lies at ``place_px``, in Lab units: (3, 6) loadings on the field's
        slopes, and the (3, 3) covariance of what the light's colour does at this place alone, by attitude and what is
        reflected."""
        rgb = np.maximum(np.linalg.solve(rgb_to_xyz_d50, xyz), 0)
        colour = np.stack([_WARMER, _ACROSS_LOCUS * _GREENER]) * self.colour_sd
        kinds = np.concatenate([self.level_sd * _LEVEL[None], colour])
        lab = lab_jacobian(xyz) @ rgb_to_xyz_d50 @ (rgb[:, None] * kinds.T)
        slopes = (lab[:, :, None] * self.away(place_px)).reshape(3, 6)
        at_one_place = _AT_ONE_PLACE**2 + (_OF_TWO_LIGHTS * self.two_lights / self.colour_sd) ** 2
        return np.asarray(slopes), np.asarray(lab[:, 1:] @ lab[:, 1:].T * at_one_place)


def light_of(photo: Photo, corners_px: Array | None, light_range: float, flat: bool) -> Light:
    """The light of a photo whose card lies at ``corners_px`` (4, 2), or of one without a card.

    ``light_range``: fraction by which its level varies over the card. ``flat``: whether a flat frame is divided out.
    """
    length = float(max(photo.width, photo.height))
    middle, level = (photo.width / 2, photo.height / 2), _USUAL_LEVEL
    if corners_px is not None:
        middle = (float(corners_px[:, 0].mean()), float(corners_px[:, 1].mean()))
        level = float(np.hypot(level, np.log1p(light_range) * length / np.ptp(corners_px, axis=0).max()))
    light = Light(middle, length, np.zeros((3, 2)), level, _USUAL_COLOUR, False)
    if flat:
        return replace(light, level_sd=_EVENED * level, colour_sd=_EVENED * _USUAL_COLOUR)
    two_lights = slope_between_lights(photo)
    light = replace(light, two_lights=two_lights, mixed=two_lights > 0)
    squares = _squares(photo)
    gradient = None if squares is None else colour_gradient(squares)
    if squares is None or gradient is None:
        return replace(light, colour_sd=_UNSEEN_COLOUR, drift=_drift(squares))
    colour = float(np.hypot(_USUAL_COLOUR, _SEEN_COLOUR * gradient**2))
    return replace(light, colour_sd=colour, drift=_drift(squares), mixed=light.mixed or gradient > _MIXED)


# Above this gradient two lights of different colours are told of (set on real photographs: 1.7 between window and lamp,
# at most 0.8 in one light).
_MIXED = 1.2


@dataclass(frozen=True, slots=True, eq=False)
class Squares:
    """A picture in squares: (h, w, 2) ln(R/G) and ln(B/G), (h, w) ln(G), which are even, and which near-neutral as well."""

    chroma: Array
    level: Array
    even: BoolArray
    neutral: BoolArray


def _squares(photo: Photo) -> Squares | None:
    side = max(photo.width, photo.height) / _SQUARES
    step = max(1, int(side // _ACROSS_SQUARE))
    size = int(side / step)
    sampled = photo.encoded[::step, ::step]
    rows, columns = sampled.shape[0] // max(size, 1), sampled.shape[1] // max(size, 1)
    if size < 2 or min(rows, columns) <= _REACH:
        return None
    sampled = sampled[: rows * size, : columns * size]
    square = (rows, size, columns, size)
    light = np.maximum(photo.light(sampled), 1e-4)
    ends = photo.at_ends(sampled).reshape(square).mean(axis=(1, 3))
    log = np.log(light.reshape(*square, 3).mean(axis=(1, 3), dtype=float))
    spread = np.log(light[..., 1]).reshape(square).swapaxes(1, 2).reshape(rows, columns, -1).std(axis=2)
    chroma, level = log[..., [0, 2]] - log[..., 1:2], log[..., 1]
    even = (ends < _CLIPPED) & (spread < _SPREAD) & (level > np.log(_DARK))
    neutral = (np.abs(chroma).max(axis=-1) < _NEUTRAL) & (level > np.log(_DARK_NEUTRAL)) & (spread < _SPREAD_NEUTRAL)
    return Squares(chroma, level, even, even & neutral)


def colour_gradient(squares: Squares) -> float | None:
    """How steeply the light's colour varies over a picture, in ln a length; None where nothing in it tells.

    Near-neutral, evenly coloured places are compared with their neighbours a twentieth of the picture away. One light
    leaves differences in all directions of colour alike, from what lies there; two lights leave one along the daylight
    locus that does not grow less with distance.
    """
    near = [
        _steps(squares, squares.neutral, (_SAME_LEVEL, _SAME_COLOUR), _REACH * along)[1]
        for along in np.eye(2, dtype=int)
    ]
    slopes = np.concatenate(near) * (_SQUARES / _REACH)
    if len(slopes) < _FEWEST_STEPS:
        return None
    along, across = (float(np.mean((slopes @ direction) ** 2)) for direction in (_ALONG, _ACROSS))
    return float(np.sqrt(max(along - _MATERIAL * across, 0.0)))


def _drift(squares: Squares | None) -> Array:
    """(3, 2) slopes of the light's colour in ln(linear RGB) a length, along x and y: what small steps between neighbours
    of one material add up to, fitted robustly and drawn towards none."""
    if squares is None:
        return np.zeros((3, 2))
    ways = [reach * np.array(way) for reach in _DRIFT_REACHES for way in ((0, 1), (1, 0), (1, 1))]
    found = [_steps(squares, squares.even, (_DRIFT_LEVEL, _DRIFT_COLOUR), way) for way in ways]
    move, change = (np.concatenate(parts) for parts in zip(*found, strict=True))
    if len(move) < _FEWEST_STEPS:
        return np.zeros((3, 2))
    slopes = _robust_slopes(move / _SQUARES, change)
    return np.array([slopes[:, 0], [0.0, 0.0], slopes[:, 1]])


def _robust_slopes(move: Array, change: Array) -> Array:
    """(2, 2) slopes of ``change`` (n, 2) along ``move`` (n, 2), by Tukey's biweight and a belief that they are small."""
    weight = np.ones(len(move))
    for _ in range(8):
        rooted = move * np.sqrt(weight)[:, None]
        noise = float((weight[:, None] * change**2).sum() / weight.sum()) / 2
        belief = np.eye(2) * noise * _STEPS_ALIKE / _DRIFT_SD**2
        slopes = np.linalg.solve(rooted.T @ rooted + belief, rooted.T @ (change * np.sqrt(weight)[:, None]))
        missed = np.linalg.norm(change - move @ slopes, axis=1)
        bound = 3 * max(1.4826 * float(np.median(missed)), 1e-3)
        weight = np.maximum(1 - (missed / bound) ** 2, 0) ** 2
    return np.asarray(slopes)


def _steps(squares: Squares, usable: BoolArray, same: tuple[float, float], way: Array) -> tuple[Array, Array]:
    """(n, 2) steps ``way`` (down, right) as x and y, and (n, 2) changes of chromaticity, between usable squares that may be
    of one material: ``same``, how much they may differ in ln of level and of colour."""
    down, right = int(way[0]), int(way[1])
    rows, columns = usable.shape
    here = (slice(0, rows - down), slice(0, columns - right))
    there = (slice(down, rows), slice(right, columns))
    change = squares.chroma[there] - squares.chroma[here]
    alike = np.abs(squares.level[there] - squares.level[here]) < same[0]
    alike &= (np.abs(change).max(axis=-1) < same[1]) & usable[here] & usable[there]
    return np.tile(np.array([right, down], dtype=float), (int(alike.sum()), 1)), np.asarray(change[alike])
