"""A card in a photo -> the photo's correction: the card located or given, read, and fitted."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from finishmatch.arrays import Array, BoolArray
from finishmatch.card.correction import Correction, correct_by_chart, correct_by_plain_card, correct_without_card
from finishmatch.card.flat import FlatField
from finishmatch.card.light import light_of
from finishmatch.card.locate import CardSpot, Patches, check_corners, confirm, find, patch_centres, require_enough
from finishmatch.card.reference import Card
from finishmatch.card.sheet.design import is_sheet
from finishmatch.card.sheet.find import find_sheet
from finishmatch.card.sheet.mean import by_card
from finishmatch.colour.space import xyz_to_lab
from finishmatch.errors import InputError, Note, NothingMeasured, noted
from finishmatch.photo.marks import Box, Mark, Outline, region
from finishmatch.photo.photo import Photo

_PLAIN_CLIPPED_MAX = 0.05


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
    """What the card made of a photo. ``spot`` is None without a card, ``patch_fit`` without a chart."""

    correction: Correction
    spot: CardSpot | None
    patches_used: int
    patch_fit: PatchFit | None
    notes: tuple[Note, ...]


def correct(
    photo: Photo, card: Card | None, place: Mark | None, flat: FlatField | None = None, second: Mark | None = None
) -> Corrected:
    """The correction of one photo. Errors: card_not_found, card_order_unclear, card_unfit; outline_outside ..."""
    corrected = _corrected(photo, card, place, flat, second)
    corners = None if corrected.spot is None else corrected.spot.corners_px
    light = light_of(photo, corners, corrected.correction.light_range or 0.0, flat is not None)
    if noted(corrected.notes, "mixed_light"):
        light = replace(light, colour_sd=max(light.colour_sd, _TWO_LIGHTS_COLOUR_SD))
    notes = (_TWO_LIGHTS,) if light.mixed and not noted(corrected.notes, "mixed_light") else ()
    correction = replace(corrected.correction, light=light, notes=(*corrected.correction.notes, *notes))
    return replace(corrected, correction=correction, notes=(*corrected.notes, *notes))


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
    corners = None if place is None else check_corners(photo, _corners(place))
    if is_sheet(card):
        return find_sheet(photo, card, corners)
    return find(photo, card) if corners is None else confirm(photo, card, CardSpot(corners, "given"))


def _corners(place: Mark) -> Array:
    if isinstance(place, Outline):
        return np.array(place.points, dtype=float)
    assert isinstance(place, Box)  # a card is given by corners or a box
    right, bottom = place.x + place.width - 1, place.y + place.height - 1
    return np.array([[place.x, place.y], [right, place.y], [right, bottom], [place.x, bottom]])


def _by_plain_card(photo: Photo, card: Card, place: Mark | None, second: Mark | None) -> Corrected:
    if place is None:
        raise InputError("build_value", f"{photo.name}: a {card.kind} card needs its corners or a box")
    seen = [_plain_rgb(photo, card, _corners(mark)) for mark in (place, second) if mark is not None]
    correction = correct_by_plain_card(photo, card.kind, np.array(seen))
    return Corrected(correction, CardSpot(_corners(place), "given"), len(seen), None, correction.notes)


def _plain_rgb(photo: Photo, card: Card, corners: Array) -> Array:
    """(3,) mean linear RGB of a plain card."""
    outline = Outline(tuple((float(x), float(y)) for x, y in corners))
    card_region = region(photo, f"the {card.kind} card", outline)
    good = card_region.covered & ~photo.clipped(card_region.window)
    lost = 1 - good.sum() / card_region.covered.sum()
    if lost > _PLAIN_CLIPPED_MAX:
        raise NothingMeasured(
            "card_unfit", f"{photo.name}: {lost:.0%} of the {card.kind} card is over- or underexposed"
        )
    return np.asarray(photo.linear(card_region.window)[good].mean(axis=0, dtype=float))
