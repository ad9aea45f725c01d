"""Photos that nobody has marked: their cards and parts are found, and each is given a name."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path, PurePath

from finishmatch.arrays import Array
from finishmatch.audit import Audit, judged
from finishmatch.build.build import Build, CardEntry, PartMark, PhotoEntry
from finishmatch.card.kinds import CHART, NO_CARD, SHEET
from finishmatch.errors import InputError, Note
from finishmatch.judge.facts import PartFacts
from finishmatch.judge.tolerance import Tolerance
from finishmatch.measure import Memo, OpenPhoto, measured, remember_nothing
from finishmatch.part.measured_photo import MeasuredPhoto
from finishmatch.part.things import find_parts
from finishmatch.photo.limits import USUAL, Limits
from finishmatch.photo.photo import Photo
from finishmatch.photo.process.parent import DecodingProcess
from finishmatch.progress import Progress
from finishmatch.text import LONGEST, blemish, listed, shown

_LOOKED_FOR = (CHART, SHEET)


def audit_photos(paths: Sequence[Path], progress: Progress | None = None, limits: Limits = USUAL) -> Audit:
    """Audit photos that nobody has marked; each carries a note of what was found in it.

    Raises
    ------
    InputError : those of the photos; no_parts when nothing was found in any of them.
    """
    with DecodingProcess(limits) as decoding:
        build = found(paths, decoding.open_photo, progress)
        if not build.parts:
            mend = "lay the parts apart on an even ground, or mark them with `finishmatch mark`"
            raise InputError("no_parts", f"no part was found in {listed([shown(path) for path in paths])}", mend)
        photos = measured(build, decoding.open_photo, progress=progress)
    return judged(build, list(map(told, photos, build.photos)), progress)


def found(paths: Sequence[Path], open_photo: OpenPhoto, progress: Progress | None = None) -> Build:
    """The build of all that is found in photos; no two things have one name."""
    entries, taken = [], set[str]()
    names = [path.name for path in paths]
    for done, path in enumerate(paths):
        file = path.name if names.count(path.name) == 1 else str(path)
        if progress:
            progress(f"looking for parts in {file}", done, len(paths))
        entry = with_parts(path, file, partial(_as_is, open_photo(path, file)))
        parts = tuple(replace(part, name=name) for part, name in zip(entry.parts, _apart(entry, taken), strict=True))
        taken.update(part.name for part in parts)
        entries.append(replace(entry, parts=parts))
    return build_of(entries)


def _as_is(photo: Photo, path: Path, name: str) -> Photo:
    """The photo that is open already."""
    return photo


def _apart(entry: PhotoEntry, taken: set[str]) -> Iterator[str]:
    """The parts' names, numbered where another photo of that name has taken them."""
    for part in entry.parts:
        others = (part.name if n == 1 else f"{part.name} ({n})" for n in range(1, len(taken) + 2))
        yield next(name for name in others if name not in taken)


def told(photo: MeasuredPhoto, entry: PhotoEntry) -> MeasuredPhoto:
    """The measured photo with a note of what was found in it."""
    count = len(entry.parts)
    parts = "no part" if count == 0 else "1 part" if count == 1 else f"{count} parts"
    card = "no card" if entry.card.kind == NO_CARD else "a card"
    text = f"Nobody has marked this photo: {card} and {parts} were found in it; the names are its file's."
    return replace(photo, notes=(Note("found_unmarked", text), *photo.notes))


def with_card(path: Path, file: str, open_photo: OpenPhoto, memo: Memo = remember_nothing) -> PhotoEntry:
    """A photo with the card that is found in it, perhaps none; without parts.

    Raises
    ------
    InputError : those of the photo.
    """
    return _found_card(path, file, open_photo, memo)[0]


def _found_card(path: Path, file: str, open_photo: OpenPhoto, memo: Memo) -> tuple[PhotoEntry, Array | None]:
    """The photo with its card, and where that lies."""
    for kind in _LOOKED_FOR:
        entry = PhotoEntry(file, path, CardEntry(kind), None, None, ())
        corners = corners_of(entry, open_photo, memo)
        if corners is not None:
            return entry, corners
    return PhotoEntry(file, path, CardEntry(NO_CARD), None, None, ()), None


def corners_of(entry: PhotoEntry, open_photo: OpenPhoto, memo: Memo = remember_nothing) -> Array | None:
    """(4, 2) where the card of a photo lies; None where there is none or it cannot be used."""
    (seen,) = measured(build_of([entry]), open_photo, memo, lenient=True)
    spot = None if seen.corrected is None else seen.corrected.spot
    return None if spot is None else spot.corners_px


def with_parts(path: Path, file: str, open_photo: OpenPhoto, memo: Memo = remember_nothing) -> PhotoEntry:
    """A photo with the card and the parts that are found in it, named after its file.

    Raises
    ------
    InputError : those of the photo.
    """
    entry, corners = _found_card(path, file, open_photo, memo)
    outlines = find_parts(open_photo(path, file), corners)
    parts = tuple(map(PartMark, names(file, len(outlines)), outlines))
    return PhotoEntry(file, path, entry.card, None, None, parts)


def build_of(photos: Sequence[PhotoEntry], name: str = "photos", tolerance: Tolerance | None = None) -> Build:
    """A build of photos whose parts are known by nothing but their marks."""
    parts = dict.fromkeys(part.name for photo in photos for part in photo.parts)
    facts = tuple(map(PartFacts, parts))
    return Build(name, None, tolerance or Tolerance(), tuple(photos), facts)


def names(file: str, count: int) -> Iterable[str]:
    """Names of the parts of a photo, from left to right: its file's name, with a number where there are several.

    Examples
    --------
    >>> list(names("box 7/hinge.jpg", 1)), list(names("hinges.jpg", 2))
    (['hinge'], ['hinges 1', 'hinges 2'])
    """
    stem = PurePath(file).stem[: LONGEST - 10].strip()
    stem = "part" if blemish(stem) else stem
    return [stem] if count == 1 else [f"{stem} {n}" for n in range(1, count + 1)]
