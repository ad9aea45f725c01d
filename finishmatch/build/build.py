"""The build file: read, check (key and line in every complaint), write."""

from __future__ import annotations

import json
import os
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING, Any

from finishmatch.build.checks import CARD_KINDS, complaints
from finishmatch.build.complaints import Complaint, complaint_error, key_text, parse
from finishmatch.disk import read_whole, require_file
from finishmatch.errors import InputError
from finishmatch.judge.facts import PartFacts, Tolerance
from finishmatch.photo.marks import Box, Mark, Mask, Outline
from finishmatch.text import LONGEST_PATH, blemish, shown

if TYPE_CHECKING:
    from finishmatch.build.tables import BuildFile, CardTable, MarkTable, PhotoTable

MOST_BYTES = 10_000_000
MOST_COMPLAINTS = 100

Point = tuple[float, float]


@dataclass(frozen=True, slots=True)
class CardEntry:
    """The card as the build file says it. ``kind``: chart24, sheet, grey18, white, none or file."""

    kind: str
    corners: tuple[Point, Point, Point, Point] | None = None
    box: tuple[float, float, float, float] | None = None
    second_box: tuple[float, float, float, float] | None = None
    edition: str | None = None
    path: Path | None = None
    layout: tuple[int, int] | None = None


@dataclass(frozen=True, slots=True)
class PartMark:
    """A part's mark; ``meant``: a person has said that it is right, whatever questions it raises."""

    name: str
    mark: Mark
    meant: bool = False


@dataclass(frozen=True, slots=True)
class PhotoEntry:
    """One photo: ``file`` as written in the build file, ``path`` and ``flat`` resolved against its folder."""

    file: str
    path: Path
    card: CardEntry
    light: str | None
    flat: Path | None
    parts: tuple[PartMark, ...]


@dataclass(frozen=True, slots=True)
class Build:
    """``parts``: the facts of every part that a photo marks, in order of first appearance."""

    name: str
    finish: str | None
    tolerance: Tolerance
    photos: tuple[PhotoEntry, ...]
    parts: tuple[PartFacts, ...]

    @property
    def turns(self) -> list[int]:
        """The photos' numbers in the order that they are measured in: those without a card last, since others bridge them."""
        return sorted(range(len(self.photos)), key=lambda i: self.photos[i].card.kind == "none")

    def files(self) -> Iterator[tuple[Path, str]]:
        """Path and name of the photos in the order that they are opened in: those with a sheet before all, for its mean."""
        yield from ((photo.path, photo.file) for photo in self.photos if photo.card.kind == "sheet")
        for photo in (self.photos[i] for i in self.turns):
            yield photo.path, photo.file
            if photo.flat is not None:
                yield photo.flat, str(photo.flat)


def read(path: Path) -> Build:
    """Read a build file and check it: shape, ranges, names, and that every file it names is there.

    Raises
    ------
    InputError : one line that names file, line and key. file_missing, file_unreadable, toml_invalid,
        unknown_key, build_value, duplicate_name, never_photographed, no_parts, limit_pair.
    """
    return from_text(read_text(path), path)


def from_text(text: str, path: Path, unfinished: bool = False) -> Build:
    """The build that the text of ``path`` says; an ``unfinished`` one may have no parts yet. Errors: see :func:`read`."""
    checked, worth_telling = _check(parse(text, path), path.parent, unfinished)
    if checked is None or worth_telling:
        raise complaint_error(worth_telling, text, path)
    return _build(checked, path.parent)


def from_document(document: dict[str, Any], folder: Path) -> Build:
    """The build of a document as TOML would give it, perhaps without parts yet. Errors: see :func:`read`; no line named."""
    checked, worth_telling = _check(document, folder, unfinished=True)
    if checked is None or worth_telling:
        first = worth_telling[0]
        raise InputError(first.code, f"{key_text(first.key)}: {first.text}")
    return _build(checked, folder)


def _check(document: dict[str, Any], folder: Path, unfinished: bool) -> tuple[BuildFile | None, list[Complaint]]:
    from finishmatch.build import tables

    checked = tables.check(_tuples(document))
    if isinstance(checked, list):
        return None, checked[:MOST_COMPLAINTS]
    wrong = (one for one in complaints(checked, folder) if not (unfinished and one.code == "no_parts"))
    return checked, list(islice(wrong, MOST_COMPLAINTS))


def read_text(path: Path) -> str:
    """The text of a build file. Errors: file_missing, file_unreadable."""
    data = read_whole(path, MOST_BYTES)
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        what = f"{shown(path)}, line {line}: not UTF-8 text"
        raise InputError("file_unreadable", what, "save it as UTF-8") from error


def _tuples(value: Any) -> Any:
    """The same document with arrays as tuples: the values that come out of it are frozen."""
    if isinstance(value, dict):
        return {key: _tuples(inner) for key, inner in value.items()}
    return tuple(_tuples(inner) for inner in value) if isinstance(value, list) else value


def _build(file: BuildFile, folder: Path) -> Build:
    facts = {part.name: part for part in file.part}
    names = dict.fromkeys(part.name for photo in file.photo for part in photo.part)
    return Build(
        name=file.build.name,
        finish=file.build.finish,
        tolerance=file.tolerance,
        photos=tuple(_photo(photo, folder) for photo in file.photo),
        parts=tuple(facts.get(name, PartFacts(name)) for name in names),
    )


def _photo(photo: PhotoTable, folder: Path) -> PhotoEntry:
    return PhotoEntry(
        file=photo.file,
        path=folder / photo.file,
        card=CardEntry("none") if photo.card is None else _card(photo.card, folder),
        light=photo.light,
        flat=None if photo.flat is None else folder / photo.flat,
        parts=tuple(PartMark(part.name, _mark(part, folder), part.meant) for part in photo.part),
    )


def _card(card: CardTable, folder: Path) -> CardEntry:
    named = card.kind in CARD_KINDS
    corners = None
    if card.corners is not None:
        first, second, third, fourth = _points(card.corners)
        corners = (first, second, third, fourth)
    return CardEntry(
        kind=card.kind if named else "file",
        corners=corners,
        box=card.box,
        second_box=card.second_box,
        edition=card.edition,
        path=None if named else folder / card.kind,
        layout=card.layout,
    )


def _mark(part: MarkTable, folder: Path) -> Mark:
    if part.box is not None:
        return Box(*part.box)
    if part.outline is not None:
        return Outline(_points(part.outline))
    assert part.mask is not None  # the checks saw to it
    return Mask(folder / part.mask)


def _points(points: tuple[tuple[float, ...], ...]) -> tuple[Point, ...]:
    return tuple((x, y) for x, y in points)


_HEAD = """\
## A build file for finishmatch. Lines with one # are examples: remove the # and put in your own.
## Pixels: x to the right, y downwards from the top left corner, in the photo shown upright.
[build]
name = "My build"
# finish = "bronze"                 ## what the labels say

## How large a difference (CIEDE2000) may be. These are the defaults.
# [tolerance]
# touching = 1.5                    ## parts that touch
# together = 2.5                    ## parts seen together in one glance
# apart = 4.0                       ## parts never seen side by side
# confidence = 0.90                 ## how sure a verdict must be
"""

_PHOTO = """
[[photo]]
file = {file}
## The card: "chart24" and "sheet" are located by themselves, or give corners = [[x, y], [x, y], [x, y], [x, y]];
## "grey18" and "white" need corners, or box = [x, y, width, height]; "none" if there is no card.
card = {{ kind = "chart24" }}
# light = "window"                  ## the same words in several photos: taken in the same light
## flat = "empty.jpg"               the same view of a plain even sheet, to even the light

## One such table for each part in this photo; the same name in several photos is the same physical part.
# [[photo.part]]
# name = "door handle"
# box = [100, 100, 80, 60]          ## x, y, width, height; the ellipse that touches its sides is read
# meant = true                      ## the mark is right, although the program questioned it

# [[photo.part]]
# name = "door plate"
# outline = [[300, 100], [380, 110], [340, 180]]
"""

_FACTS = """
## What is known about a part; everything but its name may be left out.
# [[part]]
# name = "door handle"
# maker = "Maker A"
# batch = "2026-09"
# slot = "door"                     ## parts with the same slot are candidates for it
# zone = "aft door"                 ## parts in different zones are never seen side by side
# touches = ["door plate"]
# owned = true                      ## false: not bought yet
# price = 38.50
# neutral = false                   ## true: black, white, bare metal; never counted as a mismatch
# matt = false                      ## true: flat and without gloss (powder coat, paint): its lightness is judged closely
# critical = false                  ## true: carries load, brakes, pressure, mains...: cautions are shown
"""


def template(photos: list[Path], relative_to: Path) -> str:
    """The text of a build file for these photos, with comments, for a person to fill in.

    ``relative_to`` is the folder that the build file will stand in. A photo named twice is listed once.

    Raises
    ------
    InputError : file_missing, file_unreadable; build_value for a file name that a build file cannot say.
    """
    files = dict.fromkeys(_quoted(photo, relative_to) for photo in photos)
    return _HEAD + "".join(_PHOTO.format(file=file) for file in files) + _FACTS


def _quoted(photo: Path, folder: Path) -> str:
    require_file(photo)
    # JSON and TOML escape the quote and the backslash alike; nothing else to escape is left.
    return json.dumps(as_written(photo, folder), ensure_ascii=False)


def as_written(photo: Path, folder: Path) -> str:
    """A photo's path as a build file in ``folder`` names it: relative to the folder; a photo that is a link by the link's
    own name, for whoever set it may set it anew.

    Raises
    ------
    InputError : build_value for a name that a build file cannot say.
    """
    relative = Path(os.path.relpath(photo.parent.resolve() / photo.name, folder.resolve())).as_posix()
    if reason := blemish(relative, LONGEST_PATH):
        raise InputError("build_value", f"{shown(photo)}: the file's name {reason}", "rename the file")
    return relative
