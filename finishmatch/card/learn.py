"""A card's values learnt from photos that show it beside a trusted 24-patch chart."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from finishmatch.arrays import Array
from finishmatch.card.correct_photo import correct
from finishmatch.card.correction import Correction
from finishmatch.card.locate import CardSpot, Corners, Patches, check_corners, fault_words, read
from finishmatch.card.reference import Card
from finishmatch.card.sheet import design
from finishmatch.card.sheet.find import find_sheet
from finishmatch.colour.ciede2000 import ciede2000
from finishmatch.colour.space import lab_to_xyz, xyz_to_lab
from finishmatch.errors import NothingMeasured
from finishmatch.photo.photo import Photo
from finishmatch.text import letters

# A trusted chart that misses a patch left out by more than this, in the mean CIEDE2000, is not to be trusted; manufactured
# charts in even light stay under it.
_FIT_MOST = 3.0
# The light over the sheet, by the grey that is printed six times: more than this and its other patches are not evened
# surely either.
_LIGHT_MOST = 0.15
_TRUSTED_LIGHT_MOST = 0.08
# Photos of one card agree within this, mean CIEDE2000 of all patches; another card, another place or another light does not.
_AGREE = 3.0


@dataclass(frozen=True, slots=True, eq=False)
class Learnt:
    """(n, 3) CIELAB D50 of the patches and their standard deviations, from ``photos`` photos; each patch was seen once at least."""

    names: tuple[str, ...]
    lab_d50: Array
    lab_sd: Array
    photos: int


@dataclass(frozen=True, slots=True, eq=False)
class Reading:
    """One photo's say: (n, 3) CIELAB D50 and standard deviations, NaN where a patch cannot be used; ``photo``: its name."""

    photo: str
    lab_d50: Array
    lab_sd: Array
    faults: str


def blank(columns: int, rows: int) -> Card:
    """A card of which only the grid is known; its patches are named A1, A2, ... row by row."""
    names = tuple(f"{letters(row)}{column}" for row in range(rows) for column in range(1, columns + 1))
    lab = np.tile([50.0, 0.0, 0.0], (len(names), 1))
    return Card("file", None, columns, rows, lab, names, "Not known yet.")


def read_card(photo: Photo, trusted: Card, card: Card, corners: Corners | None = None) -> Reading:
    """What a photo says of a card's patches, corrected by the trusted card, which is located.

    ``card``: the sheet, located without ``corners``, or a :func:`blank` grid at these corners.
    Errors: card_not_found, card_order_unclear, card_unfit; light_unfit; outline_outside, outline_invalid.
    """
    correction = _trusted(photo, trusted)
    if design.is_sheet(card):
        patches = find_sheet(photo, card, corners)[1]
        evened = _evened(photo, patches, correction)
    else:
        assert corners is not None  # only the sheet is located
        patches = read(photo, card, CardSpot(check_corners(photo, corners), "given").corners_px)
        evened = patches.rgb
    lab = xyz_to_lab(correction.models.first().xyz(evened)[0])
    sd = np.array([_sd(correction, rgb) for rgb in evened])
    lab[~patches.used], sd[~patches.used] = np.nan, np.nan
    return Reading(photo.name, lab, sd, fault_words(patches))


def _trusted(photo: Photo, trusted: Card) -> Correction:
    correction = correct(photo, trusted, None).correction
    assert correction.cv_mean_de00 is not None  # a chart was asked for
    if correction.cv_mean_de00 > _FIT_MOST:
        raise NothingMeasured(
            "card_unfit",
            f"{photo.name}: the trusted card misses a patch left out by {correction.cv_mean_de00:.1f} CIEDE2000 in the mean",
            "use a clean manufactured chart of the edition named, in even light, and no picture style in the camera",
        )
    if (correction.light_range or 0.0) > _TRUSTED_LIGHT_MOST:
        raise NothingMeasured(
            "light_unfit", f"{photo.name}: the light varies by {correction.light_range:.0%} over the trusted card"
        )
    return correction


def _evened(photo: Photo, patches: Patches, correction: Correction) -> Array:
    """(n, 3) RGB of the sheet's patches in the light of its middle, by a plane through ln(light) of its repeated grey."""
    places = [place for place in design.EVEN if patches.used[place]]
    seen = correction.models.first().xyz(patches.rgb[places])[0][:, 1]
    basis = np.column_stack([np.ones(len(places)), patches.place[places]])
    if np.linalg.matrix_rank(basis) < 3:
        raise NothingMeasured(
            "card_unfit", f"{photo.name}: the sheet's repeated grey shows in {len(places)} places only"
        )
    plane = np.linalg.lstsq(basis, np.log(np.maximum(seen, 1e-4)), rcond=None)[0]
    light = patches.place @ plane[1:]
    if np.ptp(light) > _LIGHT_MOST:
        raise NothingMeasured(
            "light_unfit", f"{photo.name}: the light varies by {np.expm1(np.ptp(light)):.0%} over the sheet"
        )
    slope = (
        correction.models.first().members[0].bend[0, 0] + 1
    )  # of ln(light) over ln(value), near enough for so small a change
    return np.asarray(patches.rgb * np.exp(-light / slope)[:, None])


def _sd(correction: Correction, rgb: Array) -> Array:
    """(3,) standard deviations of the CIELAB of one patch, by all that the correction leaves unsure."""
    shift = correction.rendering.shift_loadings(xyz_to_lab(correction.models.first().xyz(rgb[None])[0, 0]))
    loadings = np.concatenate([correction.shared_loadings(rgb[None], np.ones(1), None), shift], axis=1)
    return np.asarray(np.sqrt((loadings**2).sum(axis=1)))


def average(names: tuple[str, ...], readings: Sequence[Reading]) -> Learnt:
    """The card as all photos show it together.

    Photos of one camera err alike, so that their common error is not made smaller by their number; what they differ by is.
    Errors: card_unfit for a patch that no photo shows; photos_of_two_cards when they do not agree.
    """
    lab = np.array([reading.lab_d50 for reading in readings])
    seen = np.isfinite(lab[..., 0])
    count = seen.sum(axis=0)
    if not count.all():
        missing = [name for name, times in zip(names, count, strict=True) if not times]
        why = "; ".join(f"{reading.photo}: {reading.faults}" for reading in readings if reading.faults)
        raise NothingMeasured("card_unfit", f"no photo shows {', '.join(missing[:5])} of the card well ({why})")
    xyz = np.where(seen[..., None], lab_to_xyz(np.nan_to_num(lab)), 0.0)
    mean = xyz_to_lab(xyz.sum(axis=0) / count[:, None])
    for reading, shown in zip(readings, seen, strict=True):
        off = float(ciede2000(reading.lab_d50[shown], mean[shown]).mean())
        if off > _AGREE:
            raise NothingMeasured(
                "photos_of_two_cards", f"{reading.photo}: its card is {off:.1f} CIEDE2000 from that of all photos"
            )
    own = np.nanmean([reading.lab_sd**2 for reading in readings], axis=0)
    scatter = np.nansum((lab - mean) ** 2, axis=0) / np.maximum(count * (count - 1), 1)[:, None]
    return Learnt(names, mean, np.sqrt(own + scatter), len(readings))
