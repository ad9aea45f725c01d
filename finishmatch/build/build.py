"""The build file: read and checked, with key and line in every complaint."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import islice
from pathlib import Path
from typing import Any

import msgspec

from finishmatch.build.checks import complaints
from finishmatch.build.complaints import Complaint, complaint_error, key_text, parse
from finishmatch.build.tables import BoxValues, BuildFile, CardTable, Corners, MarkTable, PhotoTable, check
from finishmatch.card.kinds import FILE, NO_CARD, PLAIN, SHEET, CardKind, named
from finishmatch.disk import read_whole, require_file
from finishmatch.errors import InputError
from finishmatch.judge.facts import PartFacts, Seller
from finishmatch.judge.families import How
from finishmatch.judge.tolerance import Tolerance
from finishmatch.photo.decode.kinds import kind_of
from finishmatch.photo.marks import Box, Mark, Mask, Outline
from finishmatch.text import shown

MOST_BYTES = 10_000_000
MOST_COMPLAINTS = 100
# What a build that is still being made may lack.
_UNFINISHED = ("no_parts", "card_unplaced")


@dataclass(frozen=True, slots=True)
class CardEntry:
    """The card as the build file says it; ``chart_in``: the other photo that shows it."""

    kind: CardKind
    corners: Corners | None = None
    box: BoxValues | None = None
    second_box: BoxValues | None = None
    edition: str | None = None
    path: Path | None = None
    layout: tuple[int, int] | None = None
    chart_in: Path | None = None

    @property
    def in_photo(self) -> CardEntry:
        """The card as it lies in the photo that :attr:`chart_in` names, which is none of the build's."""
        return replace(self, chart_in=None)


@dataclass(frozen=True, slots=True)
class PartMark:
    """A part's mark; ``meant``: a person has said that it is right, whatever questions it raises."""

    name: str
    mark: Mark
    meant: bool = False


@dataclass(frozen=True, slots=True)
class PhotoEntry:
    """One photo: ``file`` as written in the build file; ``path``, ``flat`` and ``camera``, the file of the camera that took it,
    resolved against its folder."""

    file: str
    path: Path
    card: CardEntry
    light: str | None
    flat: Path | None
    parts: tuple[PartMark, ...]
    camera: Path | None = None


@dataclass(frozen=True, slots=True)
class Build:
    """``parts``: the facts of every part that a photo marks, in order of first appearance. ``currency``: of
    all prices; ``sellers``: what they ask and take back.
    """

    name: str
    finish: str | None
    tolerance: Tolerance
    photos: tuple[PhotoEntry, ...]
    parts: tuple[PartFacts, ...]
    families: How = "auto"
    currency: str | None = None
    sellers: tuple[Seller, ...] = ()

    @property
    def turns(self) -> list[int]:
        """The photos' numbers in the order that they are measured in: those that show a card of many patches first, which
        corrects others as well, and those without a card last, since others bridge them."""
        return sorted(range(len(self.photos)), key=lambda i: _turn(self.photos[i].card))

    @property
    def charts_elsewhere(self) -> tuple[tuple[Path, CardEntry], ...]:
        """Photos that are none of the build's but whose chart corrects some of them, and what is said of that chart."""
        own = {photo.path.resolve() for photo in self.photos}
        asked = ((photo.card.chart_in, photo.card.in_photo) for photo in self.photos)
        return tuple(dict.fromkeys((path, card) for path, card in asked if path and path.resolve() not in own))

    def files(self) -> Iterator[tuple[Path, str]]:
        """Path and name of the photos in the order that they are opened in: those with a sheet before all, for its mean."""
        yield from ((photo.path, photo.file) for photo in self.photos if photo.card.kind == SHEET)
        yield from ((path, path.name) for path, _ in self.charts_elsewhere)
        for photo in (self.photos[i] for i in self.turns):
            yield photo.path, photo.file
            if photo.flat is not None:
                yield photo.flat, str(photo.flat)


def _turn(card: CardEntry) -> int:
    if card.kind == NO_CARD:
        return 3
    return 2 if card.chart_in is not None else int(card.kind in PLAIN)


def read(path: Path) -> Build:
    """Read a build file and check it: shape, ranges, names, and that every file it names is there.

    Raises
    ------
    InputError : one line that names file, line and key. file_missing, file_unreadable, toml_invalid,
        unknown_key, build_value, duplicate_name, never_photographed, no_parts, limit_pair.
    """
    return from_text(read_text(path), path)


def from_text(text: str, path: Path, unfinished: bool = False) -> Build:
    """The build that the text of ``path`` says; an ``unfinished`` one may have no parts and unplaced cards. Errors: see :func:`read`."""
    checked, worth_telling = _check(parse(text, path), path.parent, unfinished)
    if checked is None or worth_telling:
        raise complaint_error(worth_telling, text, path)
    return _build(checked, path.parent)


def build_from(file: BuildFile, folder: Path) -> Build:
    """The build that tables made in Python say, checked as a file's are; paths in them are relative to ``folder``.

    Raises
    ------
    InputError : one line that names the key. Those of :func:`read` but for the file's own.

    Examples
    --------
    >>> from finishmatch import BuildFile, BuildTable, CardTable, MarkTable, PartFacts, PhotoTable
    >>> handle = MarkTable(name="handle", box=(350, 133, 110, 40))
    >>> bench = PhotoTable(file="bench.jpg", card=CardTable(kind="chart24"), part=(handle,))
    >>> file = BuildFile(build=BuildTable(name="Cabin"), photo=(bench,), part=(PartFacts("handle", zone="saloon"),))
    >>> build_from(file, Path("sample_photos/cabin")).parts[0].zone
    'saloon'
    """
    checked, worth_telling = _check(msgspec.to_builtins(file), folder, unfinished=False)
    return _build(_all_right(checked, worth_telling), folder)


def from_document(document: dict[str, Any], folder: Path) -> Build:
    """The build of a document as TOML would give it, perhaps without parts yet. Errors: see :func:`read`; no line named."""
    checked, worth_telling = _check(document, folder, unfinished=True)
    return _build(_all_right(checked, worth_telling), folder)


def _all_right(checked: BuildFile | None, worth_telling: list[Complaint]) -> BuildFile:
    if checked is None or worth_telling:
        first = worth_telling[0]
        raise InputError(first.code, f"{key_text(first.key)}: {first.text}")
    return checked


def _check(document: dict[str, Any], folder: Path, unfinished: bool) -> tuple[BuildFile | None, list[Complaint]]:
    checked = check(document, MOST_COMPLAINTS)
    if isinstance(checked, list):
        return None, checked
    wrong = (one for one in complaints(checked, folder) if not (unfinished and one.code in _UNFINISHED))
    return checked, list(islice(wrong, MOST_COMPLAINTS))


def read_text(path: Path) -> str:
    """The text of a build file. Errors: file_missing, file_unreadable, photo_given."""
    _refuse_photo(path)
    data = read_whole(path, MOST_BYTES)
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        what = f"{shown(path)}, line {line}: not UTF-8 text"
        raise InputError("file_unreadable", what, "save it as UTF-8") from error


def is_photo(path: Path) -> bool:
    """Whether a file begins as photos do. Errors: file_missing."""
    require_file(path)
    try:
        with path.open("rb") as file:
            return kind_of(file.read(4096)) is not None
    except OSError:  # reading it whole says why
        return False


def _refuse_photo(path: Path) -> None:
    if is_photo(path):
        mend = f"mark its parts with `finishmatch mark {shown(path)}`, and audit the build file that this keeps"
        raise InputError("photo_given", f"{shown(path)} is a photo and no build file", mend)


def _build(file: BuildFile, folder: Path) -> Build:
    facts = {part.name: part for part in file.part}
    names = dict.fromkeys(part.name for photo in file.photo for part in photo.part)
    return Build(
        name=file.build.name,
        finish=file.build.finish,
        tolerance=file.tolerance,
        photos=tuple(_photo(photo, folder, file.build.camera) for photo in file.photo),
        parts=tuple(facts.get(name, PartFacts(name)) for name in names),
        families=file.build.families,
        currency=file.build.currency,
        sellers=file.seller,
    )


def _photo(photo: PhotoTable, folder: Path, usual_camera: str | None) -> PhotoEntry:
    camera = photo.camera or usual_camera
    return PhotoEntry(
        file=photo.file,
        path=folder / photo.file,
        card=CardEntry(NO_CARD) if photo.card is None else _card(photo.card, folder),
        light=photo.light,
        flat=None if photo.flat is None else folder / photo.flat,
        parts=tuple(PartMark(part.name, _mark(part, folder), part.meant) for part in photo.part),
        camera=None if camera is None else folder / camera,
    )


def _card(card: CardTable, folder: Path) -> CardEntry:
    kind = named(card.kind)
    return CardEntry(
        kind=kind or FILE,
        corners=card.corners,
        box=card.box,
        second_box=card.second_box,
        edition=card.edition,
        path=None if kind else folder / card.kind,
        layout=card.layout,
        chart_in=None if card.chart_in is None else folder / card.chart_in,
    )


def _mark(part: MarkTable, folder: Path) -> Mark:
    if part.box is not None:
        return Box(*part.box)
    if part.outline is not None:
        return Outline(part.outline)
    assert part.mask is not None  # the checks saw to it
    return Mask(folder / part.mask)
