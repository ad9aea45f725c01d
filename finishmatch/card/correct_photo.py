"""A card in a photo -> the photo's correction: the card located or given, read, and fitted."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from finishmatch.arrays import Array, BoolArray, FloatImage
from finishmatch.card.correction import Correction, correct_by_chart, correct_by_plain_card, correct_without_card
from finishmatch.card.flat import FlatField
from finishmatch.card.light import light_of
from finishmatch.card.locate import CardSpot, Patches, check_corners, confirm, patch_centres, require_enough
from finishmatch.card.reference import Card
from finishmatch.card.search import find
from finishmatch.card.sheet.design import is_sheet
from finishmatch.card.sheet.find import find_sheet
from finishmatch.card.sheet.mean import by_card
from finishmatch.colour.space import xyz_to_lab
from finishmatch.errors import InputError, Note, NothingMeasured, noted
from finishmatch.photo.marks import Box, Mark, Outline, region
from finishmatch.photo.photo import Photo, Taken

_PLAIN_CLIPPED_MAX = 0.05
# A plain card is looked at in so many blocks across, not in fewer than the least, nor in smaller ones; ln(level) and the two
# ln(ratios) of colour by which one may be off what steady light gives, and the part of the card that may.
_PLAIN_BLOCKS, _PLAIN_LEAST, _PLAIN_BLOCK_PX = 16, 9, 4
_PLAIN_OFF, _PLAIN_UNLIKE_MAX = np.array([0.12, 0.05, 0.05]), 0.08
# More where a small card's blocks are noisy: so many of their robust standard deviations, up to so many times as much.
_NOISE_SD, _NOISE_MOST = 4.0, 3.0


@dataclass(frozen=True, slots=True, eq=False)
class PatchFit:
    """A chart's patches before and after correction: (n, 3) CIELAB D50, in the order of the grid; ``used``: (n,) bool."""

    columns: int
    rows: int
    reference_lab: Array
    before_lab: Array
    after_lab: Array
    used: BoolArray


@dataclass(frozen=True, slots=True, eq=False)
class Corrected:
    """What the card made of a photo. ``spot`` is None without a card in it, ``patch_fit`` without a chart in it.

    ``taken`` : how the photo was taken. ``chart_in`` : the photo whose chart corrects this one as well, if one does;
    ``settled`` : whether that is as good as a card of its own, being named by a person or under settings that were kept.
    ``camera_known`` : whether its camera was learnt before.
    """

    correction: Correction
    spot: CardSpot | None
    patches_used: int
    patch_fit: PatchFit | None
    notes: tuple[Note, ...]
    taken: Taken | None = None
    chart_in: str | None = None
    settled: bool = False
    camera_known: bool = False

    @property
    def knows_its_camera(self) -> bool:
        """Whether a chart elsewhere told its tone and colours, so that parts in other photos need not bridge it."""
        return self.camera_known or self.chart_in is not None


def correct(
    photo: Photo, card: Card | None, place: Mark | None, flat: FlatField | None = None, second: Mark | None = None
) -> Corrected:
    """The correction of one photo. Errors: card_not_found, card_order_unclear, card_unfit; outline_outside ..."""
    return in_its_light(photo, _corrected(photo, card, place, flat, second), flat is not None)


def in_its_light(photo: Photo, corrected: Corrected, flat: bool) -> Corrected:
    """What a card made of a photo, with what the light over the picture may be, and how the photo was taken."""
    corners = None if corrected.spot is None else corrected.spot.corners_px
    light = light_of(photo, corners, corrected.correction.light_range or 0.0, flat)
    if noted(corrected.notes, "mixed_light"):
        light = replace(light, colour_sd=max(light.colour_sd, _TWO_LIGHTS_COLOUR_SD))
    notes = (_TWO_LIGHTS,) if light.mixed and not noted(corrected.notes, "mixed_light") else ()
    correction = replace(corrected.correction, light=light, notes=(*corrected.correction.notes, *notes))
    return replace(corrected, correction=correction, notes=(*corrected.notes, *notes), taken=photo.taken)


# Where two plain cards tell of two lights: as between a window and a lamp.
_TWO_LIGHTS_COLOUR_SD = 0.5
_TWO_LIGHTS = Note(
    "mixed_light", "The ground's colour drifts over the picture as between two lamps of different colours."
)


def _corrected(
    photo: Photo, card: Card | None, place: Mark | None, flat: FlatField | None, second: Mark | None
) -> Corrected:
    if card is None:
        correction = correct_without_card(photo)
        return Corrected(correction, None, 0, None, correction.notes)
    if len(card.lab_d50) == 1:
        return _by_plain_card(photo, card, place, second)
    spot, patches = located(photo, card, place)
    require_enough(photo, patches)
    frame = None if flat is None else flat.rgb(patch_centres(card, spot.corners_px))
    correction, fit, patches = correct_by_chart(photo, patches, frame)
    correction = by_card(card, correction)
    after = np.full_like(patches.lab_d50, np.nan)
    after[patches.used] = fit.after_lab
    before = xyz_to_lab(patches.rgb @ photo.rgb_to_xyz_d50.T)
    patch_fit = PatchFit(card.columns, card.rows, patches.lab_d50, before, after, patches.used)
    return Corrected(correction, spot, int(patches.used.sum()), patch_fit, (*spot.notes, *correction.notes))


def located(photo: Photo, card: Card, place: Mark | None) -> tuple[CardSpot, Patches]:
    """Where a card of many patches lies, and what it shows. Errors: card_not_found, card_order_unclear; outline_outside ..."""
    corners = None if place is None else check_corners(photo, corners_of(place))
    if is_sheet(card):
        return find_sheet(photo, card, corners)
    return find(photo, card) if corners is None else confirm(photo, card, CardSpot(corners, "given"))


def corners_of(place: Mark) -> Array:
    """(4, 2) corners of a card's place in pixels."""
    if isinstance(place, Outline):
        return np.array(place.points, dtype=float)
    assert isinstance(place, Box)  # a card is given by corners or a box
    right, bottom = place.x + place.width - 1, place.y + place.height - 1
    return np.array([[place.x, place.y], [right, place.y], [right, bottom], [place.x, bottom]])


def _by_plain_card(photo: Photo, card: Card, place: Mark | None, second: Mark | None) -> Corrected:
    if place is None:
        raise InputError(
            "card_unplaced",
            f"{photo.name}: the {card.kind} card is not placed yet; nothing is measured by it before",
        )
    seen = [plain_rgb(photo, card, corners_of(mark)) for mark in (place, second) if mark is not None]
    correction = correct_by_plain_card(photo, card.kind, np.array(seen))
    return Corrected(correction, CardSpot(corners_of(place), "given"), len(seen), None, correction.notes)


def plain_rgb(photo: Photo, card: Card, corners: Array) -> Array:
    """(3,) mean linear RGB of a plain card. Errors: card_unfit when it is not one even, unclipped surface."""
    outline = Outline(tuple((float(x), float(y)) for x, y in corners))
    card_region = region(photo, f"the {card.kind} card", outline)
    clipped = photo.clipped(card_region.window)
    good = card_region.covered & ~clipped
    lost = 1 - good.sum() / card_region.covered.sum()
    if lost > _PLAIN_CLIPPED_MAX:
        raise NothingMeasured(
            "card_unfit", f"{photo.name}: {lost:.0%} of the {card.kind} card is over- or underexposed"
        )
    linear = photo.linear(card_region.window)
    unlike = _unlike(linear, good)
    if unlike > _PLAIN_UNLIKE_MAX:
        raise NothingMeasured(
            "card_unfit",
            f"{photo.name}: what is marked as the {card.kind} card is not one even surface ({unlike:.0%} of it differs)",
            "place the corners on the card alone, where nothing lies on it and no shadow falls",
        )
    return np.asarray(linear[good].mean(axis=0, dtype=float))


def _unlike(linear: FloatImage, good: BoolArray) -> float:
    """The part of a surface whose light or colour is not what an even light that falls off steadily would give it."""
    step = max(_PLAIN_BLOCK_PX, round(np.sqrt(good.sum()) / _PLAIN_BLOCKS))
    rows, columns = (size // step * step for size in good.shape)
    counted = good[:rows, :columns].reshape(rows // step, step, -1, step).sum(axis=(1, 3))
    masked = linear[:rows, :columns] * good[:rows, :columns, None]
    total = masked.reshape(rows // step, step, -1, step, 3).sum(axis=(1, 3), dtype=float)
    y, x = np.nonzero(counted > step**2 / 2)
    if len(y) < _PLAIN_LEAST:
        return 0.0
    log = np.log(np.maximum(total[y, x] / counted[y, x, None], 1e-6))
    seen = np.column_stack([log[:, 1], log[:, 0] - log[:, 1], log[:, 2] - log[:, 1]])
    terms = np.column_stack([np.ones(len(y)), x, y])
    kept = np.ones(len(y), dtype=bool)
    for _ in range(3):
        off = np.abs(seen - terms @ np.linalg.lstsq(terms[kept], seen[kept], rcond=None)[0])
        kept = (off <= np.maximum(2.5 * np.median(off, axis=0), 1e-4)).all(axis=1)
    noise = np.clip(_NOISE_SD * 1.4826 * np.median(off, axis=0), _PLAIN_OFF, _NOISE_MOST * _PLAIN_OFF)
    return float((off > noise).any(axis=1).mean())
