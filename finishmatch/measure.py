"""A build's photos measured: what is opened in which order, and which card each is corrected by."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

import numpy as np

from finishmatch.build.build import Build, CardEntry, PhotoEntry
from finishmatch.card import reference
from finishmatch.card.correct_photo import located
from finishmatch.card.flat import fit_flat
from finishmatch.card.reference import Card
from finishmatch.card.sheet import design
from finishmatch.card.sheet.mean import in_light, mean_sheet, unknown_sheet
from finishmatch.errors import InputError, NothingMeasured
from finishmatch.exchange import card_table
from finishmatch.part.measured_photo import MeasuredPhoto, known_colours, measure_photo
from finishmatch.photo.marks import Box, Mark, Outline
from finishmatch.photo.photo import Photo

Progress = Callable[[str, int, int], None]


def measured(
    build: Build, open_photo: Callable[[Path, str], Photo], progress: Progress | None = None
) -> list[MeasuredPhoto]:
    """Every photo's seen, in the build's order; one picture is in memory at a time.

    Errors: those of the photos, the card files and the marks.
    """
    matt = {part.name for part in build.parts if part.matt}
    photos: dict[int, MeasuredPhoto] = {}
    sheet_mean = mean_of_sheets(build, lambda entry: open_photo(entry.path, entry.file))
    for done, i in enumerate(build.turns):
        entry = build.photos[i]
        if progress:
            progress(entry.file, done, len(build.photos))
        photos[i] = _measured_photo(entry, open_photo, card_in(entry, sheet_mean), known_colours(photos.values()), matt)
    if progress:
        progress("", len(build.photos), len(build.photos))
    return [photos[i] for i in range(len(build.photos))]


def mean_of_sheets(build: Build, open_photo: Callable[[PhotoEntry], Photo]) -> Card | None:
    """The mean of an unlearnt sheet over all photos that show it; None where none does. Errors: those of the photos."""
    seen = []
    lights = {entry.light for entry in build.photos if entry.card.kind == design.KIND}
    for entry in build.photos:
        if entry.card.kind == design.KIND:
            photo = open_photo(entry)
            with suppress(NothingMeasured, InputError):  # told when the photo is measured
                seen.append(located(photo, design.expected(), place_of(entry.card))[1])
    return mean_sheet(seen, len(lights) == 1) if seen else None


def card_in(entry: PhotoEntry, sheet_mean: Card | None) -> Card | None:
    """The reference card of a photo; ``sheet_mean``: of :func:`mean_of_sheets`. Errors: those of :func:`card_of`."""
    card = sheet_mean if entry.card.kind == design.KIND and sheet_mean else card_of(entry.card)
    return in_light(card, entry.light) if card and card.kind == design.KIND else card


def _measured_photo(
    entry: PhotoEntry,
    open_photo: Callable[[Path, str], Photo],
    card: Card | None,
    known: dict[str, np.ndarray],
    matt: set[str],
) -> MeasuredPhoto:
    photo = open_photo(entry.path, entry.file)
    flat = None if entry.flat is None else fit_flat(open_photo(entry.flat, str(entry.flat)), photo)
    marks = [(part.name, part.mark) for part in entry.parts]
    meant = [part.name for part in entry.parts if part.meant]
    return measure_photo(
        photo, card, place_of(entry.card), marks, flat, known, matt, second_place_of(entry.card), meant
    )


def card_of(entry: CardEntry) -> Card | None:
    """The reference card that a card entry names. Errors: unknown_card, and those of card files."""
    if entry.kind == "none":
        return None
    if entry.kind == "chart24":
        return reference.chart24(entry.edition)
    if entry.kind == design.KIND:
        return unknown_sheet()
    if entry.path is None or entry.layout is None:
        return reference.plain(entry.kind)
    table = card_table.read_card_table(entry.path, entry.layout)
    source = f"The card file {entry.path.name}."
    return design.on_its_grid(reference.from_table(*entry.layout, table.patches, table.lab_d50, source, table.lab_sd))


def place_of(entry: CardEntry) -> Mark | None:
    """Where a card entry says that the card lies; None when it is to be located."""
    if entry.box is not None:
        return Box(*entry.box)
    return None if entry.corners is None else Outline(entry.corners)


def second_place_of(entry: CardEntry) -> Mark | None:
    """Where a card entry says that a second plain card of its kind lies."""
    return None if entry.second_box is None else Box(*entry.second_box)
