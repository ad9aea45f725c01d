"""The shelf: a shop's measured finishes in one SQLite file. What it has acknowledged is on the disk."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Collection, Iterable, Iterator
from pathlib import Path
from types import TracebackType
from typing import Any, get_args

import numpy as np
import numpy.typing as npt

from finishmatch.arrays import Array
from finishmatch.colour.ciede2000 import ciede2000
from finishmatch.colour.measured_colour import CommonError, CommonErrorKind, ErrorSource, MeasuredColour, SampleOf
from finishmatch.errors import InputError
from finishmatch.results.old_ids import source_of
from finishmatch.shelf.cells import cell_of, cells_around
from finishmatch.shelf.record import Origin, Record, check
from finishmatch.shelf.schema import ERRORS, EXTRA, RECORD, connect, seal_of, told, transaction
from finishmatch.text import shown

FIRST_RADIUS = 0.25
_LENT = "lent"  # the kind of error that is a sample's noise

_OWN = ((0, 0), (0, 1), (0, 2), (1, 1), (1, 2), (2, 2))
_SOURCE = "photos = ? AND lights = ? AND card = ? AND cv_mean IS ? AND software = ? AND notes = ? AND corrections = ?"


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

    def add(self, records: Iterable[Record]) -> list[int]:
        """Put records on the shelf, all or none, and return their numbers once they are on the disk.

        A record that is there already, the same part from the same photos with the same colour, is left out.
        Raises also record_invalid.
        """
        numbers = []
        sources: dict[tuple[Any, ...], int] = {}
        with told(self._path), transaction(self._connection):
            for record in records:
                check(record, f'part "{shown(record.colour.name)}"')
                row = _source_row(record)
                if row not in sources:
                    sources[row] = self._source(row)
                number = self._add(record, sources[row], row)
                if number is not None:
                    numbers.append(number)
        return numbers

    def _source(self, row: tuple[Any, ...]) -> int:
        found = self._connection.execute(f"SELECT id FROM source WHERE {_SOURCE}", row).fetchone()
        if found is not None:
            return int(found[0])
        return int(
            self._connection.execute("INSERT INTO source VALUES (NULL, ?, ?, ?, ?, ?, ?, ?)", row).lastrowid or 0
        )

    def _add(self, record: Record, source: int, source_row: tuple[Any, ...]) -> int | None:
        colour = record.colour
        lab = tuple(float(value) for value in colour.lab_d50)
        facts = (colour.name, record.maker, record.finish, record.batch, record.date)
        same = "part = ? AND maker IS ? AND finish IS ? AND batch IS ? AND date = ?"
        same += " AND lab_l = ? AND lab_a = ? AND lab_b = ? AND source = ?"
        if self._connection.execute(
            f"SELECT 1 FROM record INDEXED BY record_part WHERE {same}", (*facts, *lab, source)
        ).fetchone():
            return None
        packed, own_cov = _packed(colour)
        shared = b"".join(packed[key] for key in _corrections(colour))
        own = np.array([own_cov[i, j] for i, j in _OWN], dtype="<f4").tobytes()
        number = self._connection.execute(
            "INSERT INTO record VALUES (NULL, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
            (*facts, *lab, float(colour.level_sd), own, shared, source),
        ).lastrowid
        self._connection.execute("INSERT INTO place VALUES (?, ?, ?, ?, ?)", (cell_of(*lab), number, *lab))
        extra = tuple(sorted(record.extra))
        self._connection.executemany("INSERT INTO extra VALUES (?, ?, ?)", [(number, *row) for row in extra])
        errors = sorted(_error_row(source, packed[source]) for source in packed if not isinstance(source, str))
        self._connection.executemany("INSERT INTO error VALUES (?, ?, ?, ?, ?)", [(number, *row) for row in errors])
        values = (*facts, *lab, float(colour.level_sd), own, shared, *source_row)
        self._connection.execute("INSERT INTO seal VALUES (?, ?)", (number, seal_of(values, extra, tuple(errors))))
        return number

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
        yield from self._select(where or "1", {column: _dumps(names) for column, names in spelt.items()})

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
        raise InputError("record_missing", f"{shown(self._path)} has no record {number}")

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
                yield _record(tuple(row), extra, errors, named)

    def nearest(
        self, lab: tuple[float, float, float], most: int, within: float, without: Collection[int] = ()
    ) -> list[tuple[int, float]]:
        """The ``most`` records nearest to a colour, none over ``within`` CIEDE2000 away: number and difference.

        Nearest first, ties by number: what the plain formula, tried on every record, would give.
        """
        radius = min(FIRST_RADIUS, within)
        while True:
            numbers, de00 = self._inside(lab, radius)
            kept = ~np.isin(numbers, list(without))
            numbers, de00 = numbers[kept], de00[kept]
            if len(numbers) >= most or radius >= within:
                break
            radius = min(2 * radius, within)
        order = np.lexsort((numbers, de00))[:most]
        return list(zip(numbers[order].tolist(), de00[order].tolist(), strict=True))

    def _inside(self, lab: tuple[float, float, float], radius: float) -> tuple[npt.NDArray[np.int64], Array]:
        query = "SELECT record, lab_l, lab_a, lab_b FROM place WHERE cell BETWEEN ? AND ?"
        rows: list[tuple[float, ...]] = []
        with told(self._path):
            for cells in cells_around(lab, radius, self._most_ranges()):
                rows += self._connection.execute(query, cells)
        found = np.array(rows, dtype=float).reshape(-1, 4)
        de00 = ciede2000(lab, found[:, 1:])
        within = de00 <= radius
        return found[within, 0].astype(np.int64), de00[within]

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

    def remove(self, numbers: Collection[int]) -> None:
        """Take records off the shelf, all or none. A number is never given again. Raises also record_missing."""
        with told(self._path), transaction(self._connection):
            for number in numbers:
                row = self._connection.execute("DELETE FROM record WHERE id = ? RETURNING source", (number,)).fetchone()
                if row is None:
                    raise InputError("record_missing", f"{shown(self._path)} has no record {number}")
                unused = "id = ? AND NOT EXISTS (SELECT 1 FROM record WHERE source = source.id)"
                self._connection.execute(f"DELETE FROM source WHERE {unused}", row)


def open_shelf(path: Path, create: bool = False) -> Shelf:
    """The shelf in a file; with ``create``, a new one if there is none. A file of an older layout is brought up to date.

    Raises
    ------
    InputError : file_missing, file_unreadable, shelf_invalid (not a shelf, damaged, or holding what a shelf never
        holds), shelf_newer, shelf_busy, out_unwritable.
    """
    return Shelf(connect(path, create), path)


def _packed(colour: MeasuredColour) -> tuple[dict[ErrorSource, bytes], Array]:
    """The loadings in 16 bit, and the own covariance with what that rounding loses: less is shared, nothing is surer."""
    packed, own_cov = {}, colour.own_cov
    for source, loadings in colour.shared.items():
        rounded = loadings.astype("<f2")
        lost = loadings - rounded
        packed[source], own_cov = rounded.tobytes(), own_cov + lost @ lost.T
    return packed, own_cov


def _corrections(colour: MeasuredColour) -> list[str]:
    """The ids of the corrections whose errors a colour shares, in the order that their loadings are packed in."""
    return sorted(source for source in colour.shared if isinstance(source, str))


def _error_row(source: CommonError | SampleOf, packed: bytes) -> tuple[str, str, str, bytes]:
    if isinstance(source, SampleOf):
        return _LENT, source.part, source.photo, packed
    return source.kind, source.id, "", packed


def _source_row(record: Record) -> tuple[Any, ...]:
    origin = record.origin
    widths = [[key, record.colour.shared[key].shape[1]] for key in _corrections(record.colour)]
    texts = (_dumps(origin.photos), _dumps(origin.lights), origin.card)
    cv_mean = None if origin.cv_mean is None else float(origin.cv_mean)
    return (*texts, cv_mean, origin.software, _dumps(origin.notes), _dumps(widths))


def _dumps(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False, separators=(",", ":"))


def _record(
    row: tuple[Any, ...], extra: tuple[tuple[str, str], ...], errors: tuple[tuple[Any, ...], ...], where: str
) -> Record:
    """The record of a row, checked as if it came from anywhere: the file may."""
    number, part, maker, finish, batch, date, L, a, b, level_sd, own, shared = row[:12]
    photos, lights, card, cv_mean, software, notes, corrections = row[12:]
    try:
        loadings = _loadings(shared, json.loads(corrections)) | dict(map(_error, errors))
        colour = MeasuredColour(part, np.array([L, a, b]), _covariance(own), loadings, level_sd)
        texts = (_texts(photos), _texts(lights), card, cv_mean, software, _texts(notes))
        found = Record(colour, date, Origin(*texts), maker, finish, batch, extra, number)
        return check(found, where)
    except (ValueError, TypeError, RecursionError) as error:
        raise InputError("shelf_invalid", f"{where}: {shown(error)}") from error
    except InputError as error:
        raise InputError("shelf_invalid", error.text) from error


def _texts(text: str) -> tuple[str, ...]:
    values = json.loads(text)
    if not isinstance(values, list) or not all(isinstance(value, str) for value in values):
        raise ValueError("a list of texts is none")
    return tuple(values)


def _covariance(packed: bytes) -> Array:
    matrix = np.zeros((3, 3))
    for (i, j), value in zip(_OWN, np.frombuffer(packed, dtype="<f4"), strict=True):
        matrix[i, j] = matrix[j, i] = value
    return matrix


def _error(row: tuple[Any, ...]) -> tuple[ErrorSource, Array]:
    kind, ident, photo, packed = row
    if kind != _LENT and kind not in get_args(CommonErrorKind):
        raise ValueError(f"an error of the unknown kind {kind!r}")
    source = SampleOf(ident, photo) if kind == _LENT else CommonError(kind, ident)
    return source, np.frombuffer(packed, dtype="<f2").astype(float).reshape(3, -1)


def _loadings(packed: bytes, widths: list[list[Any]]) -> dict[ErrorSource, Array]:
    """What is packed in the record itself: loadings on corrections, and in old shelves on any error."""
    values = np.frombuffer(packed, dtype="<f2").astype(float)
    found: dict[ErrorSource, Array] = {}
    at = 0
    for key, width in widths:
        found[source_of(str(key))] = values[at : at + 3 * width].reshape(3, width)
        at += 3 * width
    if at != len(values):
        raise ValueError("the loadings do not fit their corrections")
    return found
