"""Which card corrects a photo: the one that lies in it, the chart in another photo of its camera and light, or none."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

from finishmatch.build.build import CardEntry, PhotoEntry
from finishmatch.card import reference
from finishmatch.card.carry import Plain, by_itself, carried, taken, unlike
from finishmatch.card.correct_photo import Corrected, corners_of, correct, plain_rgb
from finishmatch.card.flat import FlatField
from finishmatch.card.kinds import CHART, NO_CARD, PLAIN, SHEET
from finishmatch.card.known_camera import KnownCamera, by_camera, not_of
from finishmatch.card.locate import CardSpot
from finishmatch.card.reference import Card
from finishmatch.card.sheet import design
from finishmatch.card.sheet.mean import in_light, unknown_sheet
from finishmatch.errors import FinishmatchError, InputError, NothingMeasured
from finishmatch.exchange import card_table
from finishmatch.exchange.camera_file import read_camera
from finishmatch.photo.marks import Box, Mark, Outline
from finishmatch.photo.photo import Photo

Failure = TypeVar("Failure", bound=FinishmatchError)


@dataclass(frozen=True, slots=True, eq=False)
class ChartIn:
    """What the card in another photo told; None where it failed, and ``failure`` says why. ``light``: as the build names it."""

    path: Path
    file: str
    light: str | None
    corrected: Corrected | None
    failure: FinishmatchError | None = None

    @property
    def serves(self) -> bool:
        """Whether it shows a chart by which another photo can be corrected."""
        return self.corrected is not None and self.corrected.patch_fit is not None


def chart_for(entry: PhotoEntry, photo: Photo, charts: Sequence[ChartIn]) -> ChartIn | FinishmatchError | None:
    """The chart in another photo that corrects this one: the one that its card names; or, where it shows no chart itself,
    one in the same light by the same camera, and of several the one that fits best. None: none does; or why it cannot.
    """
    if entry.card.chart_in is not None:
        return _named(photo, entry.card.chart_in, charts)
    if entry.light is None or entry.card.kind not in (NO_CARD, *PLAIN):
        return None
    alike = [
        chart
        for chart in charts
        if chart.light == entry.light and chart.serves and by_itself(photo.taken, taken(_shown(chart)))
    ]
    return min(alike, key=lambda chart: _shown(chart).correction.cv_mean_de00 or 0.0, default=None)


def _shown(chart: ChartIn) -> Corrected:
    assert chart.corrected is not None  # it serves
    return chart.corrected


def _named(photo: Photo, path: Path, charts: Sequence[ChartIn]) -> ChartIn | FinishmatchError:
    chart = next(one for one in charts if one.path.resolve() == path.resolve())
    if not chart.serves:
        why = chart.failure.text if chart.failure else f"{chart.file} shows no chart"
        mend = "name a photo that shows the whole chart, sharp and in even light, or photograph it in this picture"
        return NothingMeasured("chart_photo_unfit", f"{photo.name}: the chart that it names cannot serve: {why}", mend)
    if differs := unlike(photo.taken, taken(_shown(chart))):
        mend = "photograph the chart with the same camera, and keep both files as they came from it"
        return NothingMeasured(
            "camera_differs", f"{photo.name}: the chart in {chart.file} cannot serve: {differs}", mend
        )
    return chart


def carried_from(
    photo: Photo, card: CardEntry, chart: Corrected, chart_in: str, flat: FlatField | None
) -> Corrected | FinishmatchError:
    """What the chart in another photo makes of this one, with a plain card in this one, or why that card cannot."""
    try:
        plain = _plain_in(photo, card) if card.kind in PLAIN else None
    except (NothingMeasured, InputError) as error:
        return alone(error)
    return carried(photo, chart, chart_in, card.chart_in is not None, flat is not None, plain)


def _plain_in(photo: Photo, entry: CardEntry) -> Plain | None:
    place = place_of(entry)
    if place is None:
        return None
    corners = corners_of(place)
    return Plain(entry.kind, CardSpot(corners, "given"), plain_rgb(photo, reference.plain(entry.kind), corners))


def camera_in(path: Path) -> KnownCamera | InputError:
    """What a camera file says, or why it says nothing."""
    try:
        return read_camera(path)
    except InputError as error:
        return alone(error)


def corrected_by_camera(
    photo: Photo, card: CardEntry, camera: KnownCamera, file: str, flat: FlatField | None
) -> Corrected | FinishmatchError:
    """What is known of its camera makes of a photo without a chart, or why it cannot; as without the file, where the photo
    is none of that camera's."""
    if why := camera.unlike(photo.taken):
        usual = corrected_by(photo, card, None, None, flat)
        return usual if isinstance(usual, FinishmatchError) else not_of(usual, file, why)
    try:
        plain = _plain_in(photo, card) if card.kind in PLAIN else None
    except (NothingMeasured, InputError) as error:
        return alone(error)
    return by_camera(photo, camera, file, flat is not None, plain)


def corrected_by(
    photo: Photo, card: CardEntry, light: str | None, sheet_mean: Card | None, flat: FlatField | None
) -> Corrected | FinishmatchError:
    """What the card in a photo makes of it, or why it cannot; see :func:`card_in` for light and mean."""
    try:
        return correct(photo, card_in(card, light, sheet_mean), place_of(card), flat, second_place_of(card))
    except (NothingMeasured, InputError) as error:
        return alone(error)


def alone(error: Failure) -> Failure:
    """The same error without what led to it: as a value that is kept, it would keep the picture with it."""
    return type(error)(error.code, error.text, error.mend)


def card_in(entry: CardEntry, light: str | None, sheet_mean: Card | None) -> Card | None:
    """The reference card of a photo in a light; ``sheet_mean``: of :func:`finishmatch.measure.mean_of_sheets`.

    Raises
    ------
    InputError : those of :func:`card_of`.
    """
    card = sheet_mean if entry.kind == SHEET and sheet_mean else card_of(entry)
    return in_light(card, light) if card and card.kind == SHEET else card


def card_of(entry: CardEntry) -> Card | None:
    """The reference card that a card entry names.

    Raises
    ------
    InputError : unknown_card, and those of card files.
    """
    if entry.kind == NO_CARD:
        return None
    if entry.kind == CHART:
        return reference.chart(entry.edition)
    if entry.kind == SHEET:
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
