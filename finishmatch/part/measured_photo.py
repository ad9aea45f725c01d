"""One photo from end to end: card, correction, every marked part, and the pictures that a report shows of them."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from finishmatch.card.correct_photo import Corrected, correct
from finishmatch.card.correction import Correction, correct_without_card
from finishmatch.card.flat import FlatField
from finishmatch.card.reference import Card
from finishmatch.errors import Note, NothingMeasured
from finishmatch.part.crop import Picture, corrected_crop
from finishmatch.part.sample import Refusal, Sample, measure
from finishmatch.photo.marks import Mark, region
from finishmatch.photo.photo import Photo

Array = npt.NDArray[np.float64]

# Parts of a photo measured side by side; more than two would wait for one another.
_AT_ONCE = 2


@dataclass(frozen=True, slots=True, eq=False)
class MeasuredPhoto:
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


def measure_photo(
    photo: Photo,
    card: Card | None,
    place: Mark | None,
    marks: Sequence[tuple[str, Mark]],
    flat: FlatField | None = None,
    known: Mapping[str, Array] | None = None,
    matt: Collection[str] = (),
    second: Mark | None = None,
) -> MeasuredPhoto:
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
        refusals = [Refusal(name, photo.name, 0.0, note) for name, _ in marks]
        return photo_measured(photo, None, refusals, (), (*photo.notes, note), failure)
    if card is None and known:
        corrected = bridged(photo, corrected, marks, known)
    correction = corrected.correction
    with ThreadPoolExecutor(_AT_ONCE) as hands:
        asked = [hands.submit(part_of, photo, name, mark, correction, flat, name in matt) for name, mark in marks]
    parts = [one.result() for one in asked]
    measured, pictures = [sample for sample, _ in parts], [picture for _, picture in parts]
    return photo_measured(photo, corrected, measured, pictures, (*photo.notes, *corrected.notes))


def part_of(
    photo: Photo, name: str, mark: Mark, correction: Correction, flat: FlatField | None, matt: bool
) -> tuple[Sample | Refusal, Picture]:
    """What a photo says of one part, and the part's picture. Errors: those of the mark."""
    sample = measure(photo, name, mark, correction, flat, matt)
    return sample, corrected_crop(photo, name, mark, correction, flat)


def photo_measured(
    photo: Photo,
    corrected: Corrected | None,
    measured: Sequence[Sample | Refusal],
    pictures: Sequence[Picture],
    notes: Iterable[Note],
    failure: NothingMeasured | None = None,
) -> MeasuredPhoto:
    """A measured photo of what was found in it; each note once."""
    return MeasuredPhoto(
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


def known_colours(photos: Iterable[MeasuredPhoto]) -> dict[str, Array]:
    """XYZ D50 of the parts that photos with a card of absolute values show: what a photo without one is bridged by."""
    return {
        sample.part: sample.xyz_d50
        for seen in photos
        if seen.corrected and seen.corrected.spot and not seen.corrected.correction.relative
        for sample in seen.samples
    }


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
