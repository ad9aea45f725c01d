"""Photos decoded once, corrected once for each place of their card, parts measured once for each outline."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable
from pathlib import Path
from typing import Generic, TypeVar

import numpy as np
import numpy.typing as npt

from finishmatch.build.build import Build, PartMark, PhotoEntry
from finishmatch.card.correct_photo import Corrected, correct
from finishmatch.card.flat import FlatField, fit_flat
from finishmatch.card.reference import Card
from finishmatch.card.sheet import design
from finishmatch.errors import InputError, Note, NothingMeasured
from finishmatch.measure import card_in, mean_of_sheets, place_of, second_place_of
from finishmatch.page.contours import Pieces, contours
from finishmatch.part.crop import Picture
from finishmatch.part.measured_photo import MeasuredPhoto, bridged, known_colours, part_of, photo_measured
from finishmatch.part.sample import Refusal, Sample
from finishmatch.photo.marks import Mark, Mask
from finishmatch.photo.photo import Photo
from finishmatch.photo.process.parent import open_safely

Array = npt.NDArray[np.float64]
V = TypeVar("V")

MOST_PHOTO_BYTES = 800_000_000
_MOST_PHOTOS, _MOST_PRINTS, _MOST_CORRECTIONS, _MOST_MARKS = 12, 16, 64, 1024


class Recent(Generic[V]):
    """The values made last, by key."""

    def __init__(self, most: int, size: Callable[[V], int] = lambda _: 1) -> None:
        self._most, self._size = most, size
        self._kept: OrderedDict[Hashable, V] = OrderedDict()
        self._lock = threading.RLock()

    def get(self, key: Hashable, make: Callable[[], V]) -> V:
        """The value of a key, made if it is not there; what was asked for longest ago makes room."""
        with self._lock:
            if key not in self._kept:
                self._kept[key] = make()
            self._kept.move_to_end(key)
            while len(self._kept) > 1 and sum(map(self._size, self._kept.values())) > self._most:
                self._kept.popitem(last=False)
            return self._kept[key]


class Memory:
    """Measured photos of a build, of which only what changed is measured again."""

    def __init__(self) -> None:
        self._photos: Recent[Photo] = Recent(MOST_PHOTO_BYTES, lambda photo: photo.encoded.nbytes)
        self._flats: Recent[FlatField | None] = Recent(_MOST_PHOTOS)
        self._prints: Recent[Card | None] = Recent(_MOST_PRINTS)
        self._corrections: Recent[Corrected | NothingMeasured] = Recent(_MOST_CORRECTIONS)
        self._marks: Recent[tuple[Sample | Refusal, Picture | None]] = Recent(_MOST_MARKS)
        self._contours: Recent[Pieces] = Recent(_MOST_MARKS)
        self._lock = threading.Lock()

    def photo(self, path: Path, name: str) -> Photo:
        """A decoded photo. Errors: those of :func:`open_safely`."""
        return self._photos.get((_stamp(path), name), lambda: open_safely(path, name))

    def develop(self, build: Build) -> list[MeasuredPhoto]:
        """Every photo of a build, measured, in its order; those without a card last, since others bridge them.

        A card or a mark that cannot be used is told in the photo's failure or in the part's refusal.
        Errors: those of the photos and of card files.
        """
        with self._lock:
            matt = {part.name for part in build.parts if part.matt}
            sheet_mean = self._print(build)
            photos: dict[int, MeasuredPhoto] = {}
            for i in build.turns:
                photos[i] = self._measured_photo(build.photos[i], sheet_mean, known_colours(photos.values()), matt)
            return [photos[i] for i in range(len(build.photos))]

    def _print(self, build: Build) -> Card | None:
        """The mean of an unlearnt sheet; the very same value as long as its photos, their cards and lights are."""
        shown = [entry for entry in build.photos if entry.card.kind == design.KIND]
        key = tuple((_stamp(entry.path), entry.card, entry.light) for entry in shown)
        return self._prints.get(key, lambda: mean_of_sheets(build, self._open))

    def _open(self, entry: PhotoEntry) -> Photo:
        return self.photo(entry.path, entry.file)

    def _measured_photo(
        self, entry: PhotoEntry, sheet_mean: Card | None, known: dict[str, Array], matt: set[str]
    ) -> MeasuredPhoto:
        photo = self._open(entry)
        flat = self._flat(entry, photo)
        key: tuple[Hashable, ...] = (photo.sha256, entry.card, _stamp(entry.card.path), _stamp(entry.flat))
        if entry.card.kind == design.KIND:
            key = (*key, sheet_mean, entry.light)  # a card is equal to itself alone
        corrected = self._corrections.get(key, lambda: _corrected(photo, entry, sheet_mean, flat))
        if isinstance(corrected, NothingMeasured):
            note = Note(corrected.code, f"{corrected.text}.")
            refused = tuple(Refusal(part.name, photo.name, 0.0, note) for part in entry.parts)
            return photo_measured(photo, None, refused, (), (*photo.notes, note), corrected)
        if entry.card.kind == "none" and known:
            corrected = _bridged(photo, corrected, entry.parts, known)
            key = (*key, corrected.correction.models.gain.tobytes())
        here = corrected
        measured = [
            self._marks.get(
                (*key, photo.name, part, part.name in matt, _mask_stamp(part.mark)),
                lambda part=part: _measured(photo, part, here, flat, part.name in matt),  # type: ignore[misc]  # bound now
            )
            for part in entry.parts
        ]
        pictures = tuple(picture for _, picture in measured if picture is not None)
        notes = (*photo.notes, *corrected.notes)
        return photo_measured(photo, corrected, tuple(found for found, _ in measured), pictures, notes, None)

    def masks(self, entry: PhotoEntry) -> dict[str, Pieces]:
        """Part -> its mask's outer contours; none where the mask cannot be read, and the part's refusal says why."""
        photo = self._open(entry)
        return {
            part.name: self._contours.get(
                (photo.sha256, part, _mask_stamp(part.mark)),
                lambda part=part: contours(photo, part.name, part.mark),  # type: ignore[misc]  # bound now
            )
            for part in entry.parts
            if isinstance(part.mark, Mask)
        }

    def _flat(self, entry: PhotoEntry, photo: Photo) -> FlatField | None:
        if entry.flat is None:
            return None
        flat = entry.flat
        return self._flats.get((_stamp(flat), photo.sha256), lambda: fit_flat(open_safely(flat), photo))


def _stamp(path: Path | None) -> Hashable:
    """What changes when a file does. A file that is gone has none; opening it says so."""
    if path is None or not path.exists():
        return path
    status = path.stat()
    return (path, status.st_mtime_ns, status.st_size)


def _mask_stamp(mark: Mark) -> Hashable:
    return _stamp(mark.path) if isinstance(mark, Mask) else None


def _corrected(
    photo: Photo, entry: PhotoEntry, sheet_mean: Card | None, flat: FlatField | None
) -> Corrected | NothingMeasured:
    """The correction, or why there is none: the page shows it beside the card instead of stopping."""
    try:
        return correct(photo, card_in(entry, sheet_mean), place_of(entry.card), flat, second_place_of(entry.card))
    except NothingMeasured as failure:
        return failure
    except InputError as error:
        return NothingMeasured(error.code, error.text, error.mend)


def _bridged(photo: Photo, corrected: Corrected, parts: tuple[PartMark, ...], known: dict[str, Array]) -> Corrected:
    try:
        return bridged(photo, corrected, [(part.name, part.mark) for part in parts], known)
    except InputError:  # a mark that cannot be read; its own refusal says why
        return corrected


def _measured(
    photo: Photo, part: PartMark, corrected: Corrected, flat: FlatField | None, matt: bool
) -> tuple[Sample | Refusal, Picture | None]:
    try:
        return part_of(photo, part.name, part.mark, corrected.correction, flat, matt)
    except InputError as error:
        return Refusal(part.name, photo.name, 0.0, Note(error.code, f"{error}.")), None
