"""Which pixels of a mark tell the part's colour: inside its edge, exposed, of one finish; or why too few do."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from finishmatch.arrays import Array, BoolArray, IndexArray
from finishmatch.card.correction import Correction
from finishmatch.card.flat import FlatField
from finishmatch.colour.ciede2000 import ciede2000
from finishmatch.colour.space import xyz_to_lab
from finishmatch.errors import Note
from finishmatch.photo.decode.upright import Encoded
from finishmatch.photo.marks import Region, drawn_in
from finishmatch.photo.photo import Photo, Window

# Refusals and notes (our choice, set on renderings and real photographs).
_CLIPPED_NOTED = 0.02
_PIXELS_REFUSED, _PIXELS_FEW = 60, 600
# A rest of a part that is smaller than this is what the light left by chance.
_REST_LEAST = 0.05
_MOSTLY_LOST = 0.3
_MINORITY_REFUSED, _MINORITY_NOTED = 1 / 3, 0.01
# Two clusters are two finishes when they lie this far apart in CIEDE2000 at one luminance, and (Ashman's D, Astron. J.
# 108, 1994, 2348: clean separation above 2) so far apart for their widths.
_CLUSTER_DE00, _CLUSTER_D = 5.0, 3.0
# Chromaticities further out than this many robust standard deviations are dirt, engraving or reflections.
_OUTLIER_SD = 4.0
_BLOCKS_PER_SIDE = 8
# Of a larger part every second, third ... pixel of both directions is read: a block keeps some hundred pixels.
_MAX_PIXELS = 30_000
# Pixels hold no hue when every channel is so many times as bright as the card's white, and over so much of the scale. Our
# choice: bare metal of 1.3 times the white stays measured; on the renderings for tuning nothing is as bright.
_WASHED_OUT, _WASHED_OUT_FROM = 1.4, 0.6
# A channel that is over its end in this part of the lost pixels is what lost them.
_CHANNEL_LOST = 0.5


@dataclass(frozen=True, slots=True, eq=False)
class Pixels:
    """Usable pixels of a part.

    Attributes
    ----------
    rgb, flat, xyz : (n, 3) linear RGB, that of the flat frame at the same places, and XYZ D50.
    block : (n,) number of the block of neighbours that a pixel belongs to.
    middle_px : where the part's middle lies in the photo.
    used_fraction : of the mark's pixels.
    """

    rgb: Array
    flat: Array | None
    xyz: Array
    block: IndexArray
    middle_px: tuple[float, float]
    used_fraction: float
    notes: tuple[Note, ...] = ()

    def keep(self, kept: BoolArray) -> Pixels:
        """Only these pixels."""
        flat = None if self.flat is None else np.compress(kept, self.flat, axis=0)
        rgb, xyz = np.compress(kept, self.rgb, axis=0), np.compress(kept, self.xyz, axis=0)
        return replace(self, rgb=rgb, flat=flat, xyz=xyz, block=self.block[kept])


@dataclass(frozen=True, slots=True)
class Unusable:
    """Why a part's pixels cannot be used, and what else was noted of them."""

    used_fraction: float
    reason: Note
    notes: tuple[Note, ...] = ()


@dataclass(frozen=True, slots=True)
class Lattice:
    """Every ``step``-th pixel of a window in both directions, from its top left one."""

    window: Window
    step: int


def pixels_of(photo: Photo, region: Region, correction: Correction, flat: FlatField | None) -> Pixels | Unusable:
    """The usable pixels of what a part's mark covers, corrected."""
    window, covered = region.window, region.covered
    step = int(np.ceil(np.sqrt(covered.sum() / _MAX_PIXELS)))
    inner = drawn_in(covered[::step, ::step], step)
    lattice = Lattice(window, step)
    clipped = photo.clipped(window)[::step, ::step] & inner
    washed = _washed_out(photo, lattice, inner & ~clipped, correction)
    clipped |= washed
    lost = float(clipped.sum() / max(inner.sum(), 1))
    usable = int((inner & ~clipped).sum()) * step**2
    if lost > 0 and (usable < _PIXELS_REFUSED or 1 - lost < _REST_LEAST):
        return Unusable(1 - lost, _why_lost(photo, lattice, clipped, lost, washed))
    if usable < _PIXELS_REFUSED:
        return Unusable(0.0, Note("part_small", f"Only {usable} pixels of the part can be used."))
    notes = []
    if lost > _CLIPPED_NOTED:
        text = f"{lost:.0%} of the part's pixels were over- or underexposed and left out."
        notes.append(Note("clipped_dropped", text))
    if usable < _PIXELS_FEW:
        notes.append(Note("few_pixels", f"Only {usable} pixels of the part can be used."))
    return _of_one_finish(corrected_pixels(photo, lattice, inner & ~clipped, correction, flat), lost, notes)


def _washed_out(photo: Photo, lattice: Lattice, wanted: BoolArray, correction: Correction) -> BoolArray:
    """Which of the wanted pixels are so far above the card's white, all channels in the camera's shoulder, that no hue is
    left of them; none in raw and linear files, and none without a card."""
    washed = np.zeros_like(wanted)
    if correction.toned and wanted.any():
        light = photo.light(_encoded(photo, lattice, wanted)).astype(float)
        washed[wanted] = (light > np.maximum(_WASHED_OUT * correction.lightest, _WASHED_OUT_FROM)).all(axis=1)
    return washed


def _why_lost(photo: Photo, lattice: Lattice, clipped: BoolArray, lost: float, washed: BoolArray) -> Note:
    """Which channels are beyond the end of their scale: one alone is a colour that the file cannot hold."""
    if washed.sum() * 2 > clipped.sum():
        return Note("washed_out", f"{lost:.0%} of the part is washed out: far brighter than the card's white.")
    high = photo.over(_encoded(photo, lattice, clipped)).mean(axis=0)
    names = [name for name, share in zip(("red", "green", "blue"), high, strict=True) if share > _CHANNEL_LOST]
    if len(names) in (1, 2):
        text = f"{lost:.0%} of the part is beyond what the photo can hold: its {' and '.join(names)} is over the scale."
        return Note("channel_lost", text)
    what = "over" if names else "under"
    return Note("part_clipped", f"{lost:.0%} of the part is {what}exposed.")


def _encoded(photo: Photo, lattice: Lattice, wanted: BoolArray) -> Encoded:
    y, x = np.nonzero(wanted)
    return photo.encoded[lattice.window.top + y * lattice.step, lattice.window.left + x * lattice.step]


def corrected_pixels(
    photo: Photo, lattice: Lattice, wanted: BoolArray, correction: Correction, flat: FlatField | None
) -> Pixels:
    """The wanted pixels of a lattice, (rows, columns) bool, corrected."""
    y, x = np.nonzero(wanted)
    row, column = lattice.window.top + y * lattice.step, lattice.window.left + x * lattice.step
    rgb = np.maximum(photo.light(photo.encoded[row, column]).astype(float), 1e-6)
    frame = None if flat is None else flat.rgb(np.stack([column, row], axis=-1))
    middle = (float(column.mean()), float(row.mean()))
    if correction.light is not None:
        rgb = correction.light.evened(rgb, middle)
    xyz = correction.models.first().xyz(rgb, frame)[0]
    return Pixels(rgb, frame, xyz, _block_numbers(y, x), middle, 1.0)


def _block_numbers(y: IndexArray, x: IndexArray) -> IndexArray:
    """Squares of about a sixty-fourth of the part's pixels each."""
    area = (np.ptp(y) + 1) * (np.ptp(x) + 1)
    side = max(1.0, float(np.sqrt(area)) / _BLOCKS_PER_SIDE)
    rows, columns = ((y - y.min()) / side).astype(np.intp), ((x - x.min()) / side).astype(np.intp)
    return np.asarray(rows * (columns.max() + 1) + columns)


def _of_one_finish(pixels: Pixels, lost: float, notes: list[Note]) -> Pixels | Unusable:
    """Without screws, engraving and dirt, or the note that two finishes lie in the mark."""
    levelled = at_one_level(pixels.xyz)
    middle = medians(levelled)
    minority = _second_finish(levelled, middle)
    if minority.mean() > _MINORITY_REFUSED:
        note = Note("two_finishes", f"{minority.mean():.0%} of the outline is of another colour than the rest.")
        if lost > _MOSTLY_LOST:  # what is left of it is of two colours for want of light that is not clipped
            note = Note("part_clipped", f"{lost:.0%} of the part is over- or underexposed.")
        return Unusable(float(1 - minority.mean()), note, tuple(notes))
    kept = ~minority & ~_chromaticity_outliers(levelled[:, 1:] - middle[1:])
    dropped = 1 - float(kept.mean())
    if dropped > _MINORITY_NOTED:
        text = f"{dropped:.0%} of the part's pixels are of another colour and were left out."
        notes.append(Note("outliers_dropped", text))
    return replace(pixels.keep(kept), used_fraction=(1 - lost) * (1 - dropped), notes=tuple(notes))


def at_one_level(xyz: Array) -> Array:
    """Lab of every pixel, (n, 3), scaled to their median luminance: chromaticity alone."""
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
    middles = [medians(g) for g in groups]
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
    width = 1.4826 * medians(np.abs(chroma)) + 0.3
    return np.asarray(((chroma / width) ** 2).sum(axis=1) > _OUTLIER_SD**2)


def medians(values: Array) -> Array:
    """Of each column: one by one they take a third of the time."""
    return np.array([np.median(column) for column in values.T])
