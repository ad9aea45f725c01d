"""Photos that nobody has marked: their cards and parts are found, and each is given a name."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path, PurePath

from finishmatch.arrays import Array
from finishmatch.build.build import Build, CardEntry, PartMark, PhotoEntry
from finishmatch.card.kinds import CHART, NO_CARD, SHEET
from finishmatch.judge.facts import PartFacts
from finishmatch.judge.tolerance import Tolerance
from finishmatch.measure import Memo, OpenPhoto, measured, remember_nothing
from finishmatch.part.things import find_parts
from finishmatch.text import LONGEST, blemish

_LOOKED_FOR = (CHART, SHEET)


def with_card(path: Path, file: str, open_photo: OpenPhoto, memo: Memo = remember_nothing) -> PhotoEntry:
    """A photo with the card that is found in it, perhaps none; without parts.

    Raises
    ------
    InputError : those of the photo.
    """
    for kind in _LOOKED_FOR:
        entry = PhotoEntry(file, path, CardEntry(kind), None, None, ())
        if corners_of(entry, open_photo, memo) is not None:
            return entry
    return PhotoEntry(file, path, CardEntry(NO_CARD), None, None, ())


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
    entry = with_card(path, file, open_photo, memo)
    outlines = find_parts(open_photo(path, file), corners_of(entry, open_photo, memo))
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
