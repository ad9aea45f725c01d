"""One part in one photo: its colour in linear light, level and chromaticity kept apart, own and shared errors kept apart."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from finishmatch.arrays import Array
from finishmatch.card.correction import Correction
from finishmatch.card.flat import FlatField
from finishmatch.colour.measured_colour import CommonError, Rendering
from finishmatch.colour.space import WHITE_D50, lab_jacobian, xyz_to_lab
from finishmatch.errors import Note
from finishmatch.part.light_beside import UNSEEN_SD, LightBeside
from finishmatch.part.pixels import Pixels, Unusable, at_one_level, medians, pixels_of
from finishmatch.photo.marks import Region
from finishmatch.photo.photo import Photo

_TRIM = 0.05
# CIELAB a*, b* by which adding all of a perfect white's light would move a part that has no chroma to speak of.
_NO_CHROMA = 1.0
# What attitude towards the light does to the level of metal and gloss, as a standard deviation of ln Y.
_LEVEL_ATTITUDE = 0.30
# A part whose own level varies by more is shaped, and its light is not the ground's.
_FLAT_SPREAD = 0.08
# A channel is above the card's white when it is by more than noise.
_OVER_WHITE = 1.1
# The white light that a surface reflects beside its body colour differs between attitudes, as a part of a perfect
# white's light: by this much of what it differs between the blocks of the part itself, within these bounds (set on
# simulated parts and the tuning half of the renderings).
_SURFACE_OF_BLOCKS, _SURFACE_LEAST, _SURFACE_MOST = 0.8, 0.0015, 0.007
_SURFACE_MATT = 0.0015


def _no_loadings() -> Array:
    return np.zeros((3, 0))


def _no_cov() -> Array:
    return np.zeros((3, 3))


@dataclass(frozen=True, slots=True, eq=False)
class Sample:
    """What one photo says of one part.

    Attributes
    ----------
    xyz_d50 : (3,) mean in linear light.
    own_cov : (3, 3) covariance of the mean's Lab that nothing else in the photo shares.
    correction : id of the photo's own; shared : (3, k) loadings in Lab units on errors of corrections.
    sources : whose errors these are, each with how many columns are its; none: all of the photo's own correction.
    rendered : id and rendering of all that stretches and shifts the photo's colours.
    light : (3, k) loadings on how the photo's light usually varies from place to place.
    light_own : (3, 3) the part of ``own_cov`` that the light makes at this place alone.
    level_sd : of ln Y. used_fraction : of the mark's pixels.
    """

    part: str
    photo: str
    xyz_d50: Array
    own_cov: Array
    correction: str
    shared: Array
    level_sd: float
    used_fraction: float
    notes: tuple[Note, ...]
    rendered: tuple[tuple[str | CommonError, Rendering], ...] = ()
    light: Array = field(default_factory=_no_loadings)
    light_own: Array = field(default_factory=_no_cov)
    sources: tuple[tuple[str | CommonError, int], ...] = ()

    @property
    def lab_d50(self) -> Array:
        """(3,) CIELAB D50."""
        return xyz_to_lab(self.xyz_d50)


@dataclass(frozen=True, slots=True)
class Refusal:
    """A part that this photo cannot measure: ``reason`` says why, ``notes`` what else is worth knowing."""

    part: str
    photo: str
    used_fraction: float
    reason: Note
    notes: tuple[Note, ...] = ()


def measure(
    photo: Photo,
    region: Region,
    correction: Correction,
    flat: FlatField | None = None,
    matt: bool = False,
    light: LightBeside | None = None,
) -> Sample | Refusal:
    """Measure one part.

    Parameters
    ----------
    region : what the part's mark covers.
    correction, flat : of the photo.
    matt : whether the part is flat and without gloss.
    light : on the part, where it is matt and the ground beside it tells.
    """
    pixels = pixels_of(photo, region, correction, flat)
    if isinstance(pixels, Unusable):
        return Refusal(region.part, photo.name, pixels.used_fraction, pixels.reason, pixels.notes)
    return sample_of(photo, region.part, pixels, correction, matt, light)


def _in_one_light(sample: Sample, light: LightBeside) -> Sample:
    """The sample with its level over that of the ground beside it; its errors stay what they are of its light."""
    xyz = sample.xyz_d50 * np.exp(-light.level)
    turn = lab_jacobian(xyz) @ np.linalg.inv(lab_jacobian(sample.xyz_d50)) * np.exp(-light.level)
    slopes = turn @ sample.light
    slopes[:, :2] = 0  # those of level, see Light.loadings
    note = Note("level_beside_ground", f"Its light differs by {np.expm1(abs(light.level)):.0%} from the middle of all.")
    return replace(
        sample,
        xyz_d50=xyz,
        own_cov=turn @ sample.own_cov @ turn.T,
        shared=turn @ sample.shared,
        light=slopes,
        light_own=turn @ sample.light_own @ turn.T,
        notes=(*sample.notes, note),
    )


def sample_of(
    photo: Photo, part: str, pixels: Pixels, correction: Correction, matt: bool, beside: LightBeside | None = None
) -> Sample:
    """What usable pixels say of a part; ``matt``: it is flat and without gloss; ``beside``: the light that the ground tells."""
    level = pixels.xyz[:, 1]
    low, high = np.quantile(level, [_TRIM, 1 - _TRIM])
    pixels = pixels.keep((level >= low) & (level <= high))
    weight, rgb, flat, xyz = _block_means(pixels)
    mean = weight @ xyz
    spread = _level_spread(xyz[:, 1])
    beside = beside if spread <= _FLAT_SPREAD else None
    light, light_own = _no_loadings(), _no_cov()
    if correction.light is not None:
        light, light_own = correction.light.loadings(pixels.middle_px, mean, photo.rgb_to_xyz_d50)
    sample = Sample(
        part=part,
        photo=photo.name,
        xyz_d50=mean,
        own_cov=_own_cov(mean, xyz, weight, _SURFACE_MATT if matt else _surface_sd(mean, xyz)) + light_own,
        correction=correction.id,
        shared=correction.shared_loadings(rgb, weight, flat),
        level_sd=float(np.hypot(spread, _attitude_sd(matt, beside))),
        used_fraction=pixels.used_fraction,
        notes=(*pixels.notes, *_brighter(correction, weight @ rgb, mean)),
        rendered=correction.rendered,
        light=light,
        light_own=light_own,
        sources=correction.sources,
    )
    return sample if beside is None else _in_one_light(sample, beside)


def _brighter(correction: Correction, rgb: Array, xyz: Array) -> tuple[Note, ...]:
    """The note that a part, of this mean linear RGB (3,) and XYZ, is brighter than the card's white."""
    extrapolated = correction.toned and bool(np.any(rgb > _OVER_WHITE * correction.lightest))
    if extrapolated:
        text = "It is brighter than the card's white, beyond which the photo's tone is not known."
    elif xyz[1] > 1:
        text = "It sends back more light than the card's white: it mirrors a light, or lies nearer to it."
    else:
        return ()
    return (Note("brighter_than_white", text),)


def _block_means(pixels: Pixels) -> tuple[Array, Array, Array | None, Array]:
    """Weights (b,) that add up to 1, and (b, 3) mean RGB, flat frame and XYZ of the blocks."""
    counts = np.bincount(pixels.block)
    filled = counts > 0

    def mean(values: Array) -> Array:
        sums = np.stack([np.bincount(pixels.block, weights=values[:, c]) for c in range(3)], axis=1)
        return np.asarray(sums[filled] / counts[filled, None])

    flat = None if pixels.flat is None else mean(pixels.flat)
    return counts[filled] / counts.sum(), mean(pixels.rgb), flat, mean(pixels.xyz)


def _own_cov(mean: Array, xyz: Array, weight: Array, surface_sd: float) -> Array:
    """Covariance of the mean's Lab by the block bootstrap in its closed form (pixels of a block err together), and
    what the part's attitude adds: a little more or less of the white light that its surface reflects."""
    deviation = (xyz - mean) * weight[:, None]
    cov = deviation.T @ deviation * len(weight) / max(len(weight) - 1, 1)
    surface = surface_sd * WHITE_D50
    jacobian = lab_jacobian(mean)
    return np.asarray(jacobian @ (cov + np.outer(surface, surface)) @ jacobian.T)


def _surface_sd(mean: Array, xyz: Array) -> float:
    """How much the white reflected by a part's surface differs by attitude, told by its blocks, (b, 3): by the shift of
    their chromaticity, at one level, towards white. A grey part tells nothing, and need not."""
    levelled = at_one_level(xyz)[:, 1:]
    whiter = (lab_jacobian(mean) @ (WHITE_D50 - mean / max(float(mean[1]), 1e-4)))[1:]
    length = float(np.linalg.norm(whiter))
    if length < _NO_CHROMA:
        return _SURFACE_LEAST
    along = (levelled - medians(levelled)) @ whiter / length**2
    seen = 1.4826 * float(np.median(np.abs(along)))
    return float(np.clip(_SURFACE_OF_BLOCKS * seen, _SURFACE_LEAST, _SURFACE_MOST))


def _level_spread(blocks: Array) -> float:
    """Standard deviation of ln Y between a part's blocks: its shape."""
    log = np.log(np.maximum(blocks, 1e-5))
    return 1.4826 * float(np.median(np.abs(log - np.median(log))))


def _attitude_sd(matt: bool, beside: LightBeside | None) -> float:
    """Standard deviation of ln Y that a part's attitude, and its light, add."""
    if not matt:
        return _LEVEL_ATTITUDE
    return UNSEEN_SD if beside is None else beside.sd
