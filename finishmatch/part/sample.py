"""One part in one photo: its colour in linear light, level and chromaticity kept apart, own and shared errors kept apart."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from finishmatch.arrays import Array, BoolArray, IndexArray
from finishmatch.card.correction import Correction, smooth_loadings
from finishmatch.card.flat import FlatField
from finishmatch.colour.ciede2000 import ciede2000
from finishmatch.colour.measured_colour import CommonError
from finishmatch.colour.space import WHITE_D50, lab_jacobian, xyz_to_lab
from finishmatch.errors import Note
from finishmatch.photo.marks import Region, drawn_in
from finishmatch.photo.photo import Photo, Window

# Refusals and notes (our choice, set on renderings and real photographs).
_CLIPPED_REFUSED, _CLIPPED_NOTED = 0.30, 0.02
_PIXELS_REFUSED, _PIXELS_FEW = 60, 600
_MINORITY_REFUSED, _MINORITY_NOTED = 1 / 3, 0.01
# Two clusters are two finishes when they lie this far apart in CIEDE2000 at one luminance, and (Ashman's D, Astron. J.
# 108, 1994, 2348: clean separation above 2) so far apart for their widths.
_CLUSTER_DE00, _CLUSTER_D = 5.0, 3.0
# Chromaticities further out than this many robust standard deviations are dirt, engraving or reflections.
_OUTLIER_SD = 4.0
_TRIM = 0.05
_BLOCKS_PER_SIDE = 8
# Of a larger part every second, third ... pixel of both directions is read: a block keeps some hundred pixels.
_MAX_PIXELS = 30_000
# Level, as standard deviations of ln Y: attitude towards the light does this much to metal and gloss; a matt flat part
# that lies in even light beside another tells its level nearly as a meter does (set on renderings).
_LEVEL_ATTITUDE, _LEVEL_ATTITUDE_MATT = 0.30, 0.03
# The white light that a surface reflects beside its body colour differs by this between attitudes and shapes, as a part
# of a perfect white's light (set so that intervals cover what renderings show).
_SURFACE_SD, _SURFACE_SD_MATT = 0.006, 0.002


@dataclass(frozen=True, slots=True, eq=False)
class Sample:
    """What one photo says of one part.

    Attributes
    ----------
    xyz_d50 : (3,) mean in linear light.
    own_cov : (3, 3) covariance of the mean's Lab that nothing else in the photo shares.
    correction : id of the shared errors; shared : (3, k) loadings in Lab units on them.
    beyond : the errors that parts of other photos share as well, each with its (3, k) loadings.
    level_sd : of ln Y. used_fraction : of the mark's pixels. light_too_uneven : of the photo.
    """

    part: str
    photo: str
    xyz_d50: Array
    own_cov: Array
    correction: str
    shared: Array
    level_sd: float
    used_fraction: float
    light_too_uneven: bool
    notes: tuple[Note, ...]
    beyond: tuple[tuple[CommonError, Array], ...] = ()

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


@dataclass(frozen=True, slots=True)
class _Lattice:
    """Every ``step``-th pixel of a window in both directions, from its top left one."""

    window: Window
    step: int


@dataclass(frozen=True, slots=True, eq=False)
class _Pixels:
    """Usable pixels of a part: (n, 3) linear RGB, (n, 3) of the flat frame, (n, 3) XYZ, (n,) number of the block."""

    rgb: Array
    flat: Array | None
    xyz: Array
    block: IndexArray

    def keep(self, kept: BoolArray) -> _Pixels:
        flat = None if self.flat is None else np.compress(kept, self.flat, axis=0)
        rgb, xyz = np.compress(kept, self.rgb, axis=0), np.compress(kept, self.xyz, axis=0)
        return _Pixels(rgb, flat, xyz, self.block[kept])


def measure(
    photo: Photo, region: Region, correction: Correction, flat: FlatField | None = None, matt: bool = False
) -> Sample | Refusal:
    """Measure one part.

    Parameters
    ----------
    region : what the part's mark covers.
    correction, flat : of the photo.
    matt : whether the part is flat and without gloss.
    """
    part, window, covered = region.part, region.window, region.covered
    step = int(np.ceil(np.sqrt(covered.sum() / _MAX_PIXELS)))
    inner = drawn_in(covered[::step, ::step], step)
    clipped = photo.clipped(window)[::step, ::step] & inner
    lost = float(clipped.sum() / max(inner.sum(), 1))
    if lost > _CLIPPED_REFUSED:
        note = Note("part_clipped", f"{lost:.0%} of the part is over- or underexposed.")
        return Refusal(part, photo.name, 1 - lost, note)
    usable = int((inner & ~clipped).sum()) * step**2
    if usable < _PIXELS_REFUSED:
        note = Note("part_small", f"Only {usable} pixels of the part can be used.")
        return Refusal(part, photo.name, 0.0, note)
    notes = []
    if lost > _CLIPPED_NOTED:
        notes.append(
            Note("clipped_dropped", f"{lost:.0%} of the part's pixels were over- or underexposed and left out.")
        )
    pixels = _pixels(photo, _Lattice(window, step), inner & ~clipped, correction, flat)
    levelled = _at_one_level(pixels.xyz)
    middle = _medians(levelled)
    minority = _second_finish(levelled, middle)
    if minority.mean() > _MINORITY_REFUSED:
        note = Note("two_finishes", f"{minority.mean():.0%} of the outline is of another colour than the rest.")
        return Refusal(part, photo.name, float(1 - minority.mean()), note, tuple(notes))
    kept = ~minority & ~_chromaticity_outliers(levelled[:, 1:] - middle[1:])
    dropped = 1 - float(kept.mean())
    if dropped > _MINORITY_NOTED:
        notes.append(
            Note("outliers_dropped", f"{dropped:.0%} of the part's pixels are of another colour and were left out.")
        )
    if usable < _PIXELS_FEW:
        notes.append(Note("few_pixels", f"Only {usable} pixels of the part can be used."))
    used = (1 - lost) * float(kept.mean())
    sample = _sample(photo, part, pixels.keep(kept), correction, matt)
    return replace(sample, used_fraction=used, notes=tuple(notes))


def _pixels(
    photo: Photo, lattice: _Lattice, wanted: BoolArray, correction: Correction, flat: FlatField | None
) -> _Pixels:
    """The wanted pixels of a lattice."""
    y, x = np.nonzero(wanted)
    row, column = lattice.window.top + y * lattice.step, lattice.window.left + x * lattice.step
    rgb = np.maximum(photo.light(photo.encoded[row, column]).astype(float), 1e-6)
    frame = None if flat is None else flat.rgb(np.stack([column, row], axis=-1))
    xyz = correction.models.first().xyz(rgb, frame)[0]
    return _Pixels(rgb, frame, xyz, _block_numbers(y, x))


def _block_numbers(y: IndexArray, x: IndexArray) -> IndexArray:
    """Squares of about a sixty-fourth of the part's pixels each."""
    area = (np.ptp(y) + 1) * (np.ptp(x) + 1)
    side = max(1.0, float(np.sqrt(area)) / _BLOCKS_PER_SIDE)
    rows, columns = ((y - y.min()) / side).astype(np.intp), ((x - x.min()) / side).astype(np.intp)
    return np.asarray(rows * (columns.max() + 1) + columns)


def _at_one_level(xyz: Array) -> Array:
    """Lab of every pixel scaled to the part's median luminance: chromaticity alone."""
    level = np.maximum(xyz[:, 1], 1e-4)
    return xyz_to_lab(xyz * (np.median(level) / np.maximum(xyz[:, 1:2], 1e-9)))


def _second_finish(levelled: Array, middle: Array) -> BoolArray:
    """Which pixels belong to the smaller of two clearly separate clusters of chromaticity; none where there is one."""
    centred = levelled[:, 1:] - middle[1:]
    axis = np.linalg.eigh(centred.T @ centred)[1][:, -1]
    along = centred @ axis
    ordered = np.sort(along)
    split = _best_split(_running_mean(ordered))
    low = along <= ordered[split]
    if not low.any() or low.all():
        return np.zeros(len(along), dtype=bool)
    groups = [np.compress(side, centred, axis=0) for side in (low, ~low)]
    widths = [1.4826 * np.median(np.abs(g @ axis - np.median(g @ axis))) + 1e-6 for g in groups]
    middles = [_medians(g) for g in groups]
    gap = abs(float((middles[0] - middles[1]) @ axis))
    separate = gap * np.sqrt(2) / np.hypot(*widths) > _CLUSTER_D and _apart(middle, *middles) > _CLUSTER_DE00
    smaller = low if low.sum() * 2 <= len(low) else ~low
    return smaller if separate else np.zeros(len(along), dtype=bool)


def _running_mean(values: Array) -> Array:
    """Means of five neighbours, mirrored at the ends."""
    return np.convolve(np.pad(values, 2, mode="symmetric"), np.full(5, 0.2), mode="valid")


def _best_split(ordered: Array) -> int:
    """Index of the split of sorted values with the least variance within both sides (Otsu's criterion, 1979)."""
    n = np.arange(1, len(ordered))
    total = np.cumsum(ordered)
    between = (total[:-1] / n - (total[-1] - total[:-1]) / (len(ordered) - n)) ** 2 * n * (len(ordered) - n)
    return int(np.argmax(between))


def _apart(lab: Array, one: Array, other: Array) -> float:
    """CIEDE2000 of two shifts of a*, b* from one colour."""
    return float(ciede2000(lab + np.array([0, *one]), lab + np.array([0, *other])))


def _chromaticity_outliers(chroma: Array) -> BoolArray:
    """Which pixels lie far from the median, itself at 0, 0."""
    width = 1.4826 * _medians(np.abs(chroma)) + 0.3
    return np.asarray(((chroma / width) ** 2).sum(axis=1) > _OUTLIER_SD**2)


def _medians(values: Array) -> Array:
    """Of each column: one by one they take a third of the time."""
    return np.array([np.median(column) for column in values.T])


def _sample(photo: Photo, part: str, pixels: _Pixels, correction: Correction, matt: bool) -> Sample:
    level = pixels.xyz[:, 1]
    low, high = np.quantile(level, [_TRIM, 1 - _TRIM])
    pixels = pixels.keep((level >= low) & (level <= high))
    weight, rgb, flat, xyz = _block_means(pixels)
    mean = weight @ xyz
    return Sample(
        part=part,
        photo=photo.name,
        xyz_d50=mean,
        own_cov=_own_cov(mean, xyz, weight, _SURFACE_SD_MATT if matt else _SURFACE_SD),
        correction=correction.id,
        shared=correction.shared_loadings(rgb, weight, flat),
        level_sd=_level_sd(xyz[:, 1], correction, matt),
        used_fraction=1.0,
        light_too_uneven=correction.light_too_uneven,
        notes=(),
        beyond=tuple((key, smooth_loadings(xyz_to_lab(mean), sd)) for key, sd in correction.beyond),
    )


def _block_means(pixels: _Pixels) -> tuple[Array, Array, Array | None, Array]:
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


def _level_sd(blocks: Array, correction: Correction, matt: bool) -> float:
    """Standard deviation of ln Y: spread between a part's blocks (its shape), attitude, and surely uneven light."""
    log = np.log(np.maximum(blocks, 1e-5))
    spread = 1.4826 * float(np.median(np.abs(log - np.median(log))))
    attitude = _LEVEL_ATTITUDE_MATT if matt else _LEVEL_ATTITUDE
    return float(np.sqrt(spread**2 + attitude**2 + np.log1p(correction.light_surely) ** 2))
