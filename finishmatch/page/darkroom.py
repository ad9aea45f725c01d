"""Photos decoded once, corrected once for each place of their card, parts measured once for each outline."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable, Iterable
from pathlib import Path
from typing import Generic, TypeVar

import numpy as np
import numpy.typing as npt

from finishmatch.audit import card_of, place_of
from finishmatch.errors import InputError, Note, NothingMeasured
from finishmatch.files.build import Build, PartMark, PhotoEntry
from finishmatch.measure.flat import FlatField, fit_flat
from finishmatch.measure.marks import Mark, Mask
from finishmatch.measure.photo import Photo
from finishmatch.measure.picture import Picture, corrected_crop
from finishmatch.measure.quarantine import open_safely
from finishmatch.measure.sample import Refusal, Sample, measure
from finishmatch.measure.shoot import Corrected, Shot, bridged, correct

Array = npt.NDArray[np.float64]
V = TypeVar("V")

MOST_PHOTO_BYTES = 800_000_000
_MOST_PHOTOS, _MOST_CORRECTIONS, _MOST_MARKS = 12, 64, 1024


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


class Darkroom:
    """Measured photos of a build, of which only what changed is measured again."""

    def __init__(self) -> None:
        self._photos: Recent[Photo] = Recent(MOST_PHOTO_BYTES, lambda photo: photo.encoded.nbytes)
        self._flats: Recent[FlatField | None] = Recent(_MOST_PHOTOS)
        self._corrections: Recent[Corrected | NothingMeasured] = Recent(_MOST_CORRECTIONS)
        self._marks: Recent[tuple[Sample | Refusal, Picture | None]] = Recent(_MOST_MARKS)
        self._lock = threading.Lock()

    def photo(self, path: Path, name: str) -> Photo:
        """A decoded photo. Errors: those of :func:`open_safely`."""
        return self._photos.get((_stamp(path), name), lambda: open_safely(path, name))

    def develop(self, build: Build) -> list[Shot]:
        """Every photo of a build, measured, in its order; those without a card last, since others bridge them.

        A card or a mark that cannot be used is told in the shot's failure or in the part's refusal.
        Errors: those of the photos and of card files.
        """
        with self._lock:
            order = sorted(range(len(build.photos)), key=lambda i: build.photos[i].card.kind == "none")
            shots: dict[int, Shot] = {}
            for i in order:
                shots[i] = self._shot(build.photos[i], _known(shots.values()))
            return [shots[i] for i in range(len(order))]

    def _shot(self, entry: PhotoEntry, known: dict[str, Array]) -> Shot:
        photo = self.photo(entry.path, entry.file)
        flat = self._flat(entry, photo)
        key: tuple[Hashable, ...] = (photo.sha256, entry.card, _stamp(entry.card.path), _stamp(entry.flat))
        corrected = self._corrections.get(key, lambda: _corrected(photo, entry, flat))
        if isinstance(corrected, NothingMeasured):
            note = Note(corrected.code, f"{corrected.text}.")
            refused = tuple(Refusal(part.name, photo.name, 0.0, (note,)) for part in entry.parts)
            return _as_shot(photo, None, refused, (), (*photo.notes, note), corrected)
        if entry.card.kind == "none" and known:
            corrected = _bridged(photo, corrected, entry.parts, known)
            key = (*key, corrected.correction.models.gain.tobytes())
        here = corrected
        measured = [
            self._marks.get(
                (*key, photo.name, part, _stamp(part.mark.path) if isinstance(part.mark, Mask) else None),
                lambda part=part: _measured(photo, part.name, part.mark, here, flat),  # type: ignore[misc]  # bound now
            )
            for part in entry.parts
        ]
        pictures = tuple(picture for _, picture in measured if picture is not None)
        notes = (*photo.notes, *corrected.notes)
        return _as_shot(photo, corrected, tuple(found for found, _ in measured), pictures, notes, None)

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


def _known(shots: Iterable[Shot]) -> dict[str, Array]:
    charted = [shot for shot in shots if shot.corrected and shot.corrected.spot]
    return {sample.part: sample.xyz_d50 for shot in charted for sample in shot.samples}


def _corrected(photo: Photo, entry: PhotoEntry, flat: FlatField | None) -> Corrected | NothingMeasured:
    """The correction, or why there is none: the page shows it beside the card instead of stopping."""
    try:
        return correct(photo, card_of(entry.card), place_of(entry.card), flat)
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
    photo: Photo, name: str, mark: Mark, corrected: Corrected, flat: FlatField | None
) -> tuple[Sample | Refusal, Picture | None]:
    try:
        found = measure(photo, name, mark, corrected.correction, flat)
        return found, corrected_crop(photo, name, mark, corrected.correction, flat)
    except InputError as error:
        return Refusal(name, photo.name, 0.0, (Note(error.code, f"{error}."),)), None


def _as_shot(
    photo: Photo,
    corrected: Corrected | None,
    found: tuple[Sample | Refusal, ...],
    pictures: tuple[Picture, ...],
    notes: tuple[Note, ...],
    failure: NothingMeasured | None,
) -> Shot:
    return Shot(
        photo=photo.name,
        sha256=photo.sha256,
        width=photo.width,
        height=photo.height,
        colour_source=photo.colour_source,
        corrected=corrected,
        samples=tuple(one for one in found if isinstance(one, Sample)),
        refusals=tuple(one for one in found if isinstance(one, Refusal)),
        pictures=pictures,
        notes=tuple(dict.fromkeys(notes)),
        failure=failure,
    )
