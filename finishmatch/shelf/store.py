"""The shelf: a shop's measured finishes in one SQLite file. What it has acknowledged is on the disk."""

from __future__ import annotations

import sqlite3
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from itertools import islice, starmap
from pathlib import Path
from types import TracebackType
from typing import Any

import numpy as np
import numpy.typing as npt

from finishmatch.arrays import Array
from finishmatch.colour.ciede2000 import ciede2000
from finishmatch.errors import InputError
from finishmatch.shelf import tables
from finishmatch.shelf.cells import Around, Ranges
from finishmatch.shelf.facts import Delivery, Entry, Facts, differences, facts_of, with_facts
from finishmatch.shelf.record import Record, check
from finishmatch.shelf.rows import Rows, dumps, record_of, rows_of
from finishmatch.shelf.schema import ERRORS, EXTRA, RECORD, connect, seal_of, told, transaction
from finishmatch.text import shown

FIRST_RADIUS, _FARTHER, _FAR = 0.25, 1.4, 2.0
_AT_ONCE = 1000  # records that are put in together
_MOST_SOURCES = 1000  # remembered while many records are added
_PLACES = "SELECT record, lab_l, lab_a, lab_b FROM place"
_SHIFT = 24
# A range is one number, its first cell above its last; the order of the join is what makes each a look-up.
_PLACES_IN = f"""SELECT record, lab_l, lab_a, lab_b FROM json_each(?) AS cells CROSS JOIN place
  ON cell BETWEEN cells.value >> {_SHIFT} AND cells.value & {(1 << _SHIFT) - 1}"""


class Shelf:
    """An open shelf; use it in a ``with`` statement. Every method raises InputError when the file fails it:
    shelf_invalid, shelf_busy, out_unwritable, file_unreadable.
    """

    def __init__(self, connection: sqlite3.Connection, path: Path) -> None:
        self._connection = connection
        self._path = path

    def __enter__(self) -> Shelf:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._connection.close()

    def __len__(self) -> int:
        with told(self._path):
            return int(self._connection.execute("SELECT count(*) FROM record").fetchone()[0])

    def add(
        self, records: Iterable[Record], crops: Mapping[str, Sequence[bytes]] | None = None, checked: bool = False
    ) -> list[int]:
        """Put records on the shelf, all or none, and return their numbers once they are on the disk.

        A record that is there already, the same part from the same photos with the same colour, is left out.
        ``crops``: pictures of a part by its name, JPEG. ``checked``: whether each passed
        :func:`~finishmatch.shelf.record.check` already. Raises also record_invalid.
        """
        with told(self._path), transaction(self._connection):
            return list(self._added(records if checked else map(_checked, records), crops or {}))

    def _added(self, records: Iterable[Record], crops: Mapping[str, Sequence[bytes]]) -> Iterator[int]:
        sources: dict[tuple[Any, ...], int] = {}
        left = iter(records)
        while some := [rows_of(record) for record in islice(left, _AT_ONCE)]:
            fresh = list(self._fresh(some, sources))
            numbers = tables.next_numbers(self._connection, len(fresh))
            tables.insert(self._connection, numbers, fresh)
            for number, (rows, _) in zip(numbers, fresh, strict=True):
                if crops:
                    tables.keep_crops(self._connection, number, crops.get(rows.facts[0], ()))
                yield number

    def _fresh(self, some: list[Rows], sources: dict[tuple[Any, ...], int]) -> Iterator[tuple[Rows, int]]:
        """Those that are not there yet, each once, with the number of its source; ``sources`` is what is known of these."""
        there = tables.parts_there(self._connection, (rows.facts[0] for rows in some))
        met = set()
        for rows in some:
            if rows.source not in sources:
                if len(sources) >= _MOST_SOURCES:
                    sources.clear()
                sources[rows.source] = tables.source_of(self._connection, rows.source)
            source = sources[rows.source]
            same = (rows.facts, rows.lab, source)
            known = same in met or (rows.facts[0] in there and tables.is_there(self._connection, rows, source))
            met.add(same)
            if not known:
                yield rows, source

    def records(self, part: str | None = None, maker: str | None = None, finish: str | None = None) -> Iterator[Record]:
        """The records of this part, maker and finish name, those of any where left out, in order of number.

        Small and capital letters are alike.
        """
        wanted = {"part": part, "maker": maker, "finish": finish}
        spelt = {column: self._spellings(column, name) for column, name in wanted.items() if name is not None}
        # A part has few records and a kind may have very many, which the planner cannot know: + hides the latter's index.
        sign = "" if part is None else "+"
        where = " AND ".join(
            f"{sign if column != 'part' else ''}{column} IN (SELECT value FROM json_each(:{column}))"
            for column in spelt
        )
        yield from self._select(where or "1", {column: dumps(names) for column, names in spelt.items()})

    def _spellings(self, column: str, name: str) -> list[str]:
        """How ``name`` is written in a column, whatever its letters' case."""
        with told(self._path):
            query = f"SELECT DISTINCT {column} FROM record WHERE same_name({column}, ?)"
            return [spelling for (spelling,) in self._connection.execute(query, (name.casefold(),))]

    def kinds(self) -> list[tuple[str | None, str | None]]:
        """Every maker and finish name that records have, in order; None is not known."""
        with told(self._path):
            return list(self._connection.execute("SELECT DISTINCT maker, finish FROM record ORDER BY maker, finish"))

    def of_kind(self, maker: str | None, finish: str | None) -> Iterator[Record]:
        """The records of exactly this maker and finish name, in order of number."""
        yield from self._select("maker IS :maker AND finish IS :finish", {"maker": maker, "finish": finish})

    def record(self, number: int) -> Record:
        """Raises also record_missing."""
        for record in self._select("record.id = :number", {"number": number}):
            return record
        raise self._missing(number)

    def _select(self, where: str, values: dict[str, Any]) -> Iterator[Record]:
        query = (
            f"SELECT {RECORD}, digest FROM record JOIN source ON source.id = record.source"
            f" LEFT JOIN seal ON seal.record = record.id WHERE {where} ORDER BY record.id"
        )
        with told(self._path):
            for *row, digest in self._connection.execute(query, values):
                extra, errors = (tuple(self._connection.execute(table, row[:1])) for table in (EXTRA, ERRORS))
                named = f"{shown(self._path)}, record {row[0]}"
                if digest != seal_of(tuple(row[1:]), extra, errors):
                    mend = (
                        f"take it off (`finishmatch shelf remove {row[0]}`) and measure it again, or bring back a copy"
                    )
                    raise InputError("shelf_invalid", f"{named}: it is not what was put there", mend)
                yield record_of(tuple(row), extra, errors, digest, named)

    def nearest(
        self, lab: tuple[float, float, float], most: int, within: float, without: Collection[int] = ()
    ) -> list[tuple[int, float]]:
        """The ``most`` records nearest to a colour, none over ``within`` CIEDE2000 away: number and difference.

        Nearest first, ties by number: what the plain formula, tried on every record, would give.
        """
        around, radius = Around(lab), min(FIRST_RADIUS, within)
        numbers, de00 = np.zeros(0, np.int64), np.zeros(0)
        while True:
            ring = around.ring(radius, self._most_ranges())
            if ring is None:
                numbers, de00 = self._differences(lab, None)
                radius = within
            else:
                more = self._differences(lab, ring)
                numbers, de00 = np.concatenate([numbers, more[0]]), np.concatenate([de00, more[1]])
            kept = ~np.isin(numbers, list(without)) & (de00 <= within)
            numbers, de00 = numbers[kept], de00[kept]
            if np.count_nonzero(de00 <= radius) >= most or radius >= within:
                break
            radius = min((_FARTHER if len(numbers) else _FAR) * radius, within)  # nothing near: look far at once
        order = np.lexsort((numbers, de00))[:most]
        return list(zip(numbers[order].tolist(), de00[order].tolist(), strict=True))

    def _differences(
        self, lab: tuple[float, float, float], cells: Ranges | None
    ) -> tuple[npt.NDArray[np.int64], Array]:
        """Number and CIEDE2000 of the records in these cells; of all, without."""
        ranges = () if cells is None else (dumps((cells[:, 0] << _SHIFT | cells[:, 1]).tolist()),)
        with told(self._path):
            rows = self._connection.execute(_PLACES if cells is None else _PLACES_IN, ranges).fetchall()
        found = np.array(rows, dtype=float).reshape(-1, 4)
        return found[:, 0].astype(np.int64), ciede2000(lab, found[:, 1:])

    def _most_ranges(self) -> int:
        """So many look-ups take about as long as reading every place: one takes the time of a dozen rows."""
        last = self._connection.execute("SELECT max(id) FROM record").fetchone()[0]
        return min(50 + (last or 0) // 12, 4000)

    def colours(self) -> tuple[npt.NDArray[np.int64], Array]:
        """The numbers (n,) and CIELAB (n, 3) of all records, in order of number."""
        with told(self._path):
            rows = self._connection.execute("SELECT record, lab_l, lab_a, lab_b FROM place ORDER BY record").fetchall()
        found = np.array(rows, dtype=float).reshape(-1, 4)
        return found[:, 0].astype(np.int64), found[:, 1:]

    def remove(self, numbers: Collection[int], day: str) -> None:
        """Take records off the shelf, all or none; they can be put back. A number is never given again.

        Raises also record_missing.
        """
        with told(self._path), transaction(self._connection):
            for number in numbers:
                if not tables.take_off(self._connection, number, day):
                    raise self._missing(number)

    def put_back(self, numbers: Collection[int], day: str) -> None:
        """Put records that were taken off back as they were, all or none. Raises also record_missing."""
        with told(self._path), transaction(self._connection):
            for number in numbers:
                if not tables.put_back(self._connection, number, day):
                    raise InputError("record_missing", f"{shown(self._path)}: no record {number} was taken off")
                self.record(number)

    def change(self, number: int, facts: Facts, seal: str, day: str) -> Record:
        """Correct what is known of a record, and return it as it is now.

        ``seal``: of the record as it was read. Raises also record_changed when it is another by now, which changes
        nothing; record_missing, record_invalid.
        """
        with told(self._path), transaction(self._connection):
            before = self.record(number)
            if before.seal != seal:
                raise InputError("record_changed", f"{shown(self._path)}, record {number}: somebody else changed it")
            after = check(with_facts(before, facts), f"record {number}")
            words = differences(facts_of(before), facts)
            if words:
                tables.rewrite(self._connection, number, rows_of(after), day, words)
        return self.record(number)

    def removed(self) -> list[tuple[int, str, str]]:
        """Number, part and day of what was taken off and can be put back, the last one first."""
        with told(self._path):
            return tables.removed(self._connection)

    def history(self, number: int) -> list[tuple[str, str]]:
        """Day and words of what became of a record, oldest first."""
        query = "SELECT day, what FROM history WHERE record = ? ORDER BY place"
        with told(self._path):
            return list(self._connection.execute(query, (number,)))

    def crops(self, number: int) -> list[bytes]:
        """The pictures of a record, JPEG."""
        query = "SELECT jpeg FROM crop WHERE record = ? ORDER BY place"
        with told(self._path):
            return [jpeg for (jpeg,) in self._connection.execute(query, (number,))]

    def sign(
        self, delivery: Delivery, records: Iterable[Record] = (), crops: Mapping[str, Sequence[bytes]] | None = None
    ) -> int:
        """Keep a delivery's sheet as it was signed, put its ``records`` on the shelf, and return its number."""
        with told(self._path), transaction(self._connection):
            for _ in self._added(records, crops or {}):
                pass
            return tables.insert_delivery(self._connection, delivery)

    def deliveries(self, number: int | None = None) -> list[Delivery]:
        """The deliveries that were signed, or the one of this number; the last one first."""
        with told(self._path):
            return tables.deliveries(self._connection, number)

    def extra_names(self) -> list[str]:
        """Every column that means nothing here and that some record has, in the order of their first records."""
        query = "SELECT name FROM extra GROUP BY name ORDER BY min(record), name"
        with told(self._path):
            return [name for (name,) in self._connection.execute(query)]

    def entries(self) -> Iterator[Entry]:
        """What a list is made from, of every record, without looking at seals."""
        with told(self._path):
            yield from starmap(Entry, self._connection.execute(tables.ENTRIES))

    def version(self) -> tuple[int, int]:
        """Another one whenever this or any other program has changed the shelf."""
        with told(self._path):
            there = int(self._connection.execute("PRAGMA data_version").fetchone()[0])
        return there, self._connection.total_changes

    def _missing(self, number: int) -> InputError:
        return InputError("record_missing", f"{shown(self._path)} has no record {number}")


def _checked(record: Record) -> Record:
    return check(record, f'part "{shown(record.colour.name)}"')


def open_shelf(path: Path, create: bool = False, threads: bool = False) -> Shelf:
    """The shelf in a file; with ``create``, a new one if there is none. A file of an older layout is brought up to date.

    ``threads``: whether several threads will use it, which then see to it that they take turns.

    Raises
    ------
    InputError : file_missing, file_unreadable, shelf_invalid (not a shelf, damaged, or holding what a shelf never
        holds), shelf_newer, shelf_busy, out_unwritable.
    """
    return Shelf(connect(path, create, threads), path)
