"""The shelf as the counter holds it: open for all requests, one at a time, with a list that is looked through in memory."""

from __future__ import annotations

import math
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from finishmatch.arrays import Array, IndexArray
from finishmatch.errors import InputError
from finishmatch.shelf.facts import Entry
from finishmatch.shelf.record import Record
from finishmatch.shelf.store import Shelf, open_shelf

Sort = str
SORTS: tuple[Sort, ...] = ("newest", "name", "colour")
# Below this chroma a colour's hue says little, and greys are laid out by lightness.
_GREY = 8.0


@dataclass(frozen=True, slots=True, eq=False)
class Listed:
    """Every record of the shelf at one time: what each says, in small letters, its colour (n, 3), and three orders."""

    entries: tuple[Entry, ...]
    said: tuple[str, ...]
    lab: Array
    numbers: IndexArray
    orders: dict[Sort, IndexArray]


@dataclass(frozen=True, slots=True)
class Found:
    """What a search found: how many records, and the numbers of those to show now."""

    total: int
    numbers: tuple[int, ...]


class Stock:
    """One open shelf, for requests that come from several threads."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._lock = threading.RLock()
        self._shelf = open_shelf(path, create=True, threads=True)
        self._listed: tuple[tuple[int, int], Listed] | None = None

    def close(self) -> None:
        with self._lock:
            self._shelf.__exit__(None, None, None)

    @contextmanager
    def shelf(self) -> Iterator[Shelf]:
        """The shelf, for this thread alone."""
        with self._lock:
            yield self._shelf

    def listed(self) -> Listed:
        """All records; read again when the shelf has changed, by whomever."""
        with self.shelf() as shelf:
            version = shelf.version()
            if self._listed is None or self._listed[0] != version:
                self._listed = version, _listed(tuple(shelf.entries()))
            return self._listed[1]

    def search(self, words: str, sort: Sort, start: int, most: int) -> Found:
        """Records that say every one of ``words``, in any letters; a record's own number comes first."""
        listed = self.listed()
        wanted = words.casefold().split()
        order = listed.orders[sort]
        if wanted:
            hits = [i for i in order if all(word in listed.said[i] for word in wanted)]
            order = np.array(sorted(hits, key=lambda i: str(listed.numbers[i]) != words.strip()), dtype=np.int64)
        return Found(len(order), tuple(listed.numbers[order[start : start + most]].tolist()))

    def record(self, number: int) -> Record:
        """Raises :class:`~finishmatch.errors.InputError`: record_missing; shelf_invalid of a damaged one."""
        with self.shelf() as shelf:
            return shelf.record(number)

    def sound(self, numbers: tuple[int, ...]) -> dict[int, Record | str]:
        """Records by number; of a damaged one, what is wrong with it."""
        found: dict[int, Record | str] = {}
        for number in numbers:
            try:
                found[number] = self.record(number)
            except InputError as error:
                if error.code != "record_missing":
                    found[number] = str(error)
        return found


def _listed(entries: tuple[Entry, ...]) -> Listed:
    lab = np.array([(one.lab_l, one.lab_a, one.lab_b) for one in entries], dtype=float).reshape(-1, 3)
    numbers = np.array([one.number for one in entries], dtype=np.int64)
    names = sorted(range(len(entries)), key=lambda i: (entries[i].part.casefold(), entries[i].number))
    orders = {
        "newest": np.arange(len(entries))[::-1],
        "name": np.array(names, dtype=np.int64),
        "colour": _by_colour(lab),
    }
    return Listed(entries, tuple(map(_said, entries)), lab, numbers, orders)


def _said(entry: Entry) -> str:
    known = (entry.part, entry.maker, entry.finish, entry.batch, entry.stock, entry.date, str(entry.number))
    return "\n".join(one for one in known if one).casefold()


def _by_colour(lab: Array) -> IndexArray:
    """Greys from dark to light, then the hues from red onwards, each from dull to vivid."""
    chroma = np.hypot(lab[:, 1], lab[:, 2])
    hue = np.floor(np.degrees(np.arctan2(lab[:, 2], lab[:, 1])) % 360 / 15)
    grey = chroma < _GREY
    return np.lexsort((np.where(grey, 0, chroma), np.where(grey, lab[:, 0], 0), np.where(grey, -1, hue)))


def sure_to(record: Record) -> float:
    """How far hue and chroma may be off: their standard deviation, both together."""
    return math.sqrt(float(np.trace(record.colour.cov[1:, 1:])))
