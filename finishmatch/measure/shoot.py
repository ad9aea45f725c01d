"""One photo from end to end: card, correction, every marked part, and the pictures that a report shows of them."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from finishmatch.colour.space import xyz_to_lab
from finishmatch.errors import InputError, Note, NothingMeasured
from finishmatch.measure.cards import Card
from finishmatch.measure.correct import Correction, correct_by_chart, correct_by_plain_card, correct_without_card
from finishmatch.measure.flat import FlatField
from finishmatch.measure.locate import (
    CardSpot,
    Patches,
    check_corners,
    confirm,
    find,
    patch_centres,
    require_enough,
)
from finishmatch.measure.marks import Box, Mark, Outline, region
from finishmatch.measure.photo import Photo
from finishmatch.measure.picture import Picture, corrected_crop
from finishmatch.measure.sample import Refusal, Sample, measure
from finishmatch.measure.sheet import is_sheet
from finishmatch.measure.sheet_find import find_sheet
from finishmatch.measure.sheet_mean import by_card

Array = npt.NDArray[np.float64]

_PLAIN_CLIPPED_MAX = 0.05
# Parts of a photo measured side by side; more than two would wait for one another.
_AT_ONCE = 2


@dataclass(frozen=True, slots=True, eq=False)
class PatchFit:
    """A chart's patches before and after correction: (n, 3) CIELAB D50, in the order of the grid; ``used``: (n,) bool."""

    columns: int
    rows: int
    reference_lab: Array
    before_lab: Array
    after_lab: Array
    used: npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True, eq=False)
class Corrected:
    """What the card made of a photo. ``spot`` is None without a card, ``patch_fit`` without a chart."""

    correction: Correction
    spot: CardSpot | None
    patches_used: int
    patch_fit: PatchFit | None
    notes: tuple[Note, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Shot:
    """One measured photo; ``corrected`` is None where the card failed, and then every part is refused."""

    photo: str
    sha256: str
    width: int
    height: int
    colour_source: str
    corrected: Corrected | None
    samples: tuple[Sample, ...]
    refusals: tuple[Refusal, ...]
    pictures: tuple[Picture, ...]
    notes: tuple[Note, ...]
    failure: NothingMeasured | None


def shoot(
    photo: Photo,
    card: Card | None,
    place: Mark | None,
    marks: Sequence[tuple[str, Mark]],
    flat: FlatField | None = None,
    known: Mapping[str, Array] | None = None,
    matt: Collection[str] = (),
    second: Mark | None = None,
) -> Shot:
    """Correct a photo by its card and measure its parts.

    Parameters
    ----------
    card : None when the photo has none.
    place : the card's four corners as an outline, or a box; None to locate it.
    marks : name and mark of every part.
    known : XYZ D50 of parts from photos with a card, to bridge a photo without one.
    matt : names of parts that are flat and without gloss.
    second : where a second grey or white card of the same kind lies.

    A card that cannot be used refuses every part and is kept as ``failure``. Errors: those of the marks and the corners.
    """
    for name, mark in marks:
        region(photo, name, mark)
    try:
        corrected = correct(photo, card, place, flat, second)
    except NothingMeasured as failure:
        note = Note(failure.code, f"{failure.text}.")
        refusals = [Refusal(name, photo.name, 0.0, (note,)) for name, _ in marks]
        return shot_of(photo, None, refusals, (), (*photo.notes, note), failure)
    if card is None and known:
        corrected = bridged(photo, corrected, marks, known)
    correction = corrected.correction
    with ThreadPoolExecutor(_AT_ONCE) as hands:
        asked = [hands.submit(part_of, photo, name, mark, correction, flat, name in matt) for name, mark in marks]
    parts = [one.result() for one in asked]
    measured, pictures = [sample for sample, _ in parts], [picture for _, picture in parts]
    return shot_of(photo, corrected, measured, pictures, (*photo.notes, *corrected.notes))


def part_of(
    photo: Photo, name: str, mark: Mark, correction: Correction, flat: FlatField | None, matt: bool
) -> tuple[Sample | Refusal, Picture]:
    """What a photo says of one part, and the part's picture. Errors: those of the mark."""
    sample = measure(photo, name, mark, correction, flat, matt)
    return sample, corrected_crop(photo, name, mark, correction, flat)


def shot_of(
    photo: Photo,
    corrected: Corrected | None,
    measured: Sequence[Sample | Refusal],
    pictures: Sequence[Picture],
    notes: Iterable[Note],
    failure: NothingMeasured | None = None,
) -> Shot:
    """A photo's shot from what was measured in it; each note once."""
    return Shot(
        photo=photo.name,
        sha256=photo.sha256,
        width=photo.width,
        height=photo.height,
        colour_source=photo.colour_source,
        corrected=corrected,
        samples=tuple(item for item in measured if isinstance(item, Sample)),
        refusals=tuple(item for item in measured if isinstance(item, Refusal)),
        pictures=tuple(pictures),
        notes=tuple(dict.fromkeys(notes)),
        failure=failure,
    )


def known_colours(shots: Iterable[Shot]) -> dict[str, Array]:
    """XYZ D50 of the parts that photos with a card of absolute values show: what a photo without one is bridged by."""
    return {
        sample.part: sample.xyz_d50
        for shot in shots
        if shot.corrected and shot.corrected.spot and not shot.corrected.correction.relative
        for sample in shot.samples
    }


def correct(
    photo: Photo, card: Card | None, place: Mark | None, flat: FlatField | None = None, second: Mark | None = None
) -> Corrected:
    """The correction of one photo. Errors: card_not_found, card_order_unclear, card_unfit; outline_outside ..."""
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
    window, covered = region(photo, f"the {card.kind} card", outline)
    good = covered & ~photo.clipped(window)
    if good.sum() < (1 - _PLAIN_CLIPPED_MAX) * covered.sum():
        lost = 1 - good.sum() / covered.sum()
        raise NothingMeasured(
            "card_unfit", f"{photo.name}: {lost:.0%} of the {card.kind} card is over- or underexposed"
        )
    return np.asarray(photo.linear(window)[good].mean(axis=0, dtype=float))


def bridged(
    photo: Photo, corrected: Corrected, marks: Sequence[tuple[str, Mark]], known: Mapping[str, Array]
) -> Corrected:
    """The correction of a photo without a card by parts whose colours other photos tell: one gain per channel."""
    to_rgb = np.linalg.inv(photo.rgb_to_xyz_d50)
    ratios = []
    for name, mark in marks:
        sample = measure(photo, name, mark, corrected.correction) if name in known else None
        if isinstance(sample, Sample):
            wanted, seen = to_rgb @ known[name], to_rgb @ sample.xyz_d50
            if wanted.min() > 0 and seen.min() > 0:
                ratios.append(np.log(wanted / seen))
    if not ratios:
        return corrected
    correction = correct_without_card(photo, np.exp(np.mean(ratios, axis=0)))
    return replace(corrected, correction=correction, notes=correction.notes)
