"""Every kind of note that the results carry, once: what it means, how to mend it, and whom it concerns."""

from __future__ import annotations

from dataclasses import dataclass, field

from finishmatch.codes import CODES
from finishmatch.report.arrangement import Arrangement
from finishmatch.report.text import count
from finishmatch.results.results import Results


@dataclass(frozen=True, slots=True)
class _Places:
    photos: list[str] = field(default_factory=list)
    parts: list[str] = field(default_factory=list)
    pairs: list[tuple[str, str]] = field(default_factory=list)


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
    for difference in results.differences:
        for code in dict.fromkeys(note.code for note in difference.notes):
            found.setdefault(code, _Places()).pairs.append((difference.a, difference.b))
    return tuple(_entry(code, found[code]) for code in CODES if code in found)


def _entry(code: str, places: _Places) -> Entry:
    row = CODES[code]
    mend = "" if row.mend == "nothing to do" else row.mend
    pairs = count(len(places.pairs), "pair") if places.pairs else ""
    return Entry(code, row.meaning, mend, tuple(places.photos), tuple(places.parts), pairs)
