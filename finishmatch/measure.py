"""A build's photos measured: what is opened in which order, which card corrects each, and what bridges those without."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Protocol, TypeVar, TypeVarTuple

from finishmatch.build.build import Build, CardEntry, PartMark, PhotoEntry
from finishmatch.card.correct_photo import Corrected, located
from finishmatch.card.flat import FlatField, fit_flat
from finishmatch.card.kinds import NO_CARD, PLAIN, SHEET
from finishmatch.card.reference import Card
from finishmatch.card.sheet import design
from finishmatch.card.sheet.mean import mean_sheet
from finishmatch.cards import (
    ChartIn,
    alone,
    camera_in,
    carried_from,
    chart_for,
    corrected_by,
    corrected_by_camera,
    place_of,
)
from finishmatch.errors import FinishmatchError, InputError, Note, NothingMeasured
from finishmatch.part.common_errors import with_common_errors
from finishmatch.part.crop import LONGEST_PX
from finishmatch.part.light_beside import LightBeside, light_beside
from finishmatch.part.measured_photo import (
    MeasuredPart,
    MeasuredPhoto,
    bridged,
    measured_part,
    measured_photo,
    unmeasured_photo,
)
from finishmatch.part.one_picture import look_of
from finishmatch.part.questions import questions
from finishmatch.part.sample import Refusal, Sample
from finishmatch.part.view import View, outline_of, view_of
from finishmatch.photo.marks import Region, region
from finishmatch.photo.photo import Photo
from finishmatch.progress import Progress

MOST_PARTS = 2000
"""Every two parts are compared: so many take about 3 GB of memory, and twice as many four times that."""

OpenPhoto = Callable[[Path, str], Photo]
V = TypeVar("V")
Inputs = TypeVarTuple("Inputs")
Failure = TypeVar("Failure", bound=FinishmatchError)


class Memo(Protocol):
    """Gives what a step makes of its inputs: made now, or remembered from when its inputs were the same."""

    def __call__(self, step: Callable[[*Inputs], V], *inputs: *Inputs) -> V: ...


def remember_nothing(step: Callable[[*Inputs], V], *inputs: *Inputs) -> V:
    """The :class:`Memo` of whoever measures a build once."""
    return step(*inputs)


def measured(
    build: Build,
    open_photo: OpenPhoto,
    memo: Memo = remember_nothing,
    progress: Progress | None = None,
    lenient: bool = False,
) -> list[MeasuredPhoto]:
    """Every photo of a build, measured, in the build's order; those without a card last, since others bridge them.

    Parameters
    ----------
    open_photo : gives the photo of a path, under a name; one picture is in use at a time.
    memo : what costs time is made through it.
    progress : told each photo, how many are done, and of how many.
    lenient : whether marks and cards that cannot be used are told in the part's refusal and the photo's failure, for a
        person who is still at them, instead of being raised.

    Raises
    ------
    InputError : too_many_parts; those of the photos and flat frames; unless ``lenient``, those of the card files, corners
        and marks.
    """
    _require_bearable(len(build.parts))
    mean = memo(mean_of_sheets, _sheets(build), open_photo)
    matt = frozenset(part.name for part in build.parts if part.matt)
    offered = frozenset(part.name for part in build.parts if not part.owned)
    way = _Way(open_photo, memo, lenient, mean, matt, offered, _view_px(len(build.photos)), _crop_px(len(build.parts)))
    elsewhere = tuple(_elsewhere(path, card, way) for path, card in build.charts_elsewhere)
    photos: dict[int, MeasuredPhoto] = {}
    for done, i in enumerate(build.turns):
        entry = build.photos[i]
        if progress:
            progress(entry.file, done, len(build.photos))
        shown = [_chart_in(build.photos[k], one) for k, one in photos.items()]
        photos[i] = _measured(entry, way, photos.values(), (*elsewhere, *shown))
    if progress:
        progress("", len(build.photos), len(build.photos))
    return with_common_errors([photos[i] for i in range(len(build.photos))])


def _require_bearable(parts: int) -> None:
    if parts > MOST_PARTS:
        text = f"{parts} parts are too many: every two are compared, and at most {MOST_PARTS} parts are"
        raise InputError("too_many_parts", text)


@dataclass(frozen=True, slots=True, eq=False)
class _Way:
    """How all photos of a build are measured; see :func:`measured`. ``matt``: names of the parts without gloss, ``offered``: of
    those that are not owned; ``view_px``, ``crop_px``: how long the pictures of photos and parts are that a report shows.
    """

    open_photo: OpenPhoto
    memo: Memo
    lenient: bool
    sheet_mean: Card | None
    matt: frozenset[str]
    offered: frozenset[str]
    view_px: int
    crop_px: int

    def usable(self, value: V) -> V:
        """The value. Raises the InputError that it is, unless mistakes are to be told."""
        if isinstance(value, InputError) and not self.lenient:
            raise value
        return value


def _view_px(photos: int) -> int:
    """A report of many photos shows them smaller, and stays one file that can be sent."""
    return 720 if photos <= 12 else 480 if photos <= 40 else 280 if photos <= 80 else 200


def _crop_px(parts: int) -> int:
    return LONGEST_PX if parts <= 200 else 200 if parts <= 500 else 110


def _measured(
    entry: PhotoEntry, way: _Way, others: Iterable[MeasuredPhoto], charts: Sequence[ChartIn]
) -> MeasuredPhoto:
    """One photo; ``others`` are measured already, ``charts`` what their cards told, and those of photos elsewhere."""
    photo = way.open_photo(entry.path, entry.file)
    flat = None if entry.flat is None else way.memo(flat_field, entry.flat, photo, way.open_photo)
    marked = [way.usable(way.memo(region_of, photo, part)) for part in entry.parts]
    regions = tuple(one for one in marked if isinstance(one, Region))
    asked = way.memo(questions, photo, regions, tuple(part.name for part in entry.parts if part.meant))
    corrected = way.usable(_corrected(entry, photo, way, flat, charts))
    if isinstance(corrected, FinishmatchError):
        refused = unmeasured_photo(photo, entry.light, corrected, [part.name for part in entry.parts], asked)
        return _shown(refused, way.memo(view_of, photo, None, None, way.view_px), regions)
    known = _known(entry, others) if entry.card.kind == NO_CARD and not corrected.knows_its_camera else ()
    if known:
        corrected = way.memo(bridged, photo, corrected, regions, known)
    beside = _light_beside(photo, regions, way, corrected) if flat is None else {}
    parts = [
        _wrongly_marked(part.name, photo.name, one)
        if isinstance(one, InputError)
        else way.memo(
            measured_part, photo, one, corrected, flat, part.name in way.matt, beside.get(part.name), way.crop_px
        )
        for part, one in zip(entry.parts, marked, strict=True)
    ]
    view = way.memo(view_of, photo, corrected.correction, flat, way.view_px)
    looks = tuple(way.memo(look_of, photo, one) for one in regions if one.part in way.offered)
    return replace(_shown(measured_photo(photo, entry.light, corrected, parts, asked), view, regions), looks=looks)


def _corrected(
    entry: PhotoEntry, photo: Photo, way: _Way, flat: FlatField | None, charts: Sequence[ChartIn]
) -> Corrected | FinishmatchError:
    """What a photo's card makes of it, be it in this photo or in another one, or why it cannot."""
    found = chart_for(entry, photo, charts)
    if isinstance(found, FinishmatchError):
        return found
    of_sheet = (entry.light, way.sheet_mean) if entry.card.kind == SHEET else (None, None)
    if found is None and entry.camera is not None and entry.card.kind in (NO_CARD, *PLAIN):
        camera = way.memo(camera_in, entry.camera)
        if isinstance(camera, InputError):
            return camera
        return way.memo(corrected_by_camera, photo, entry.card, camera, entry.camera.name, flat)
    if found is None:
        return way.memo(corrected_by, photo, entry.card, *of_sheet, flat)
    assert found.corrected is not None  # else it would not serve
    return way.memo(carried_from, photo, entry.card, found.corrected, found.file, flat)


def _elsewhere(path: Path, card: CardEntry, way: _Way) -> ChartIn:
    """What the chart in a photo told that is none of the build's own."""
    found = way.memo(corrected_by, way.open_photo(path, path.name), card, None, None, None)
    if isinstance(found, FinishmatchError):
        return ChartIn(path, path.name, None, None, found)
    return ChartIn(path, path.name, None, found)


def _chart_in(entry: PhotoEntry, photo: MeasuredPhoto) -> ChartIn:
    return ChartIn(entry.path, entry.file, entry.light, photo.corrected, photo.failure)


def _light_beside(photo: Photo, regions: Sequence[Region], way: _Way, corrected: Corrected) -> dict[str, LightBeside]:
    matt = way.matt.intersection(one.part for one in regions)
    return way.memo(light_beside, photo, regions, matt, corrected) if matt else {}


def _shown(photo: MeasuredPhoto, view: View, regions: Sequence[Region]) -> MeasuredPhoto:
    return replace(photo, view=view, outlines=tuple((region.part, outline_of(region)) for region in regions))


def nothing_measured(photos: Sequence[MeasuredPhoto]) -> NothingMeasured:
    """Why nothing was measured: the first card's own failure, or the first reasons of parts."""
    failures = [photo.failure for photo in photos if photo.failure]
    if failures:
        return failures[0]
    reasons = [f"{refusal.part}: {refusal.reason.text}" for photo in photos for refusal in photo.refusals]
    return NothingMeasured("all_refused", f"no part could be measured ({' '.join(reasons[:3])})")


def _wrongly_marked(part: str, photo: str, error: InputError) -> MeasuredPart:
    return MeasuredPart(Refusal(part, photo, 0.0, Note(error.code, f"{error}.")))


def _known(entry: PhotoEntry, others: Iterable[MeasuredPhoto]) -> tuple[Sample, ...]:
    """What photos with a card of absolute values say of the parts of this one, the last of each: it is bridged by them."""
    names = {part.name for part in entry.parts}
    samples = {
        sample.part: sample
        for other in others
        if other.corrected
        and (other.corrected.spot or other.corrected.settled)
        and not other.corrected.correction.relative
        for sample in other.samples
        if sample.part in names
    }
    return tuple(samples.values())


def region_of(photo: Photo, part: PartMark) -> Region | InputError:
    """What a part's mark covers, or why it covers nothing."""
    try:
        return region(photo, part.name, part.mark)
    except InputError as error:
        return alone(error)


def flat_field(path: Path, photo: Photo, open_photo: OpenPhoto) -> FlatField:
    """The field of a photo's flat frame.

    Raises
    ------
    InputError : those of photos; flat_unfit.
    """
    return fit_flat(open_photo(path, str(path)), photo)


def _sheets(build: Build) -> tuple[PhotoEntry, ...]:
    """The photos that show a sheet, without what is of no account for its mean."""
    shown = (entry for entry in build.photos if entry.card.kind == SHEET)
    return tuple(replace(entry, flat=None, parts=()) for entry in shown)


def mean_of_sheets(entries: tuple[PhotoEntry, ...], open_photo: OpenPhoto) -> Card | None:
    """The mean of an unlearnt sheet over all photos that show it; None where none does.

    Raises
    ------
    InputError : those of the photos.
    """
    seen = []
    for entry in entries:
        photo = open_photo(entry.path, entry.file)
        with suppress(NothingMeasured, InputError):  # told when the photo is measured
            seen.append(located(photo, design.expected(), place_of(entry.card))[1])
    return mean_sheet(seen, len({entry.light for entry in entries}) == 1) if seen else None
