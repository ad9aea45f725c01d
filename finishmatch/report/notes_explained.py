"""Every kind of note that the results carry, once: what it means, how to mend it, and whom it concerns."""

from __future__ import annotations

from dataclasses import dataclass, field

from finishmatch.codes import CODES
from finishmatch.report.arrangement import Arrangement
from finishmatch.report.text import count
from finishmatch.results.results import Results, table


@dataclass(frozen=True, slots=True)
class _Places:
    photos: list[str] = field(default_factory=list)
    parts: list[str] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class Entry:
    """``mend`` is empty when there is nothing to do."""

    code: str
    meaning: str
    mend: str
    photos: tuple[str, ...]
    parts: tuple[str, ...]
    pairs: str


def glossary(results: Results, arrangement: Arrangement) -> tuple[Entry, ...]:
    """In the order of the table of codes."""
    found: dict[str, _Places] = {}
    for photo in results.photos:
        for code in dict.fromkeys(note.code for note in photo.notes):
            found.setdefault(code, _Places()).photos.append(photo.file)
    tags = arrangement.tags
    for part in results.parts:
        for code in dict.fromkeys(note.code for note in part.notes):
            found.setdefault(code, _Places()).parts.append(tags[part.name])
    pairs = table(results.differences)
    number = {code: int(pairs.has(code).sum()) for code in {note.code for of in pairs.notes.of for note in of}}
    noted = {code for code in CODES if code in found or number.get(code)}
    return tuple(_entry(code, found.get(code, _Places()), number.get(code, 0)) for code in CODES if code in noted)


def _entry(code: str, places: _Places, number: int) -> Entry:
    row = CODES[code]
    mend = "" if row.mend == "nothing to do" else row.mend
    pairs = count(number, "pair") if number else ""
    return Entry(code, row.meaning, mend, tuple(places.photos), tuple(places.parts), pairs)
