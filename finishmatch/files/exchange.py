"""Reference values of a card as CGATS.17 text (ISO 28178), read and written.

The format's keywords, and ``STDEV_L`` and its fellows, are from memory of the standard. Readers of such files
are tolerant by custom, and so is this one: tabs or spaces, any line ends, unknown keywords and columns.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from finishmatch.colour.space import xyz_to_lab
from finishmatch.disk import read_whole
from finishmatch.errors import InputError
from finishmatch.text import shown

Array = npt.NDArray[np.float64]
Line = tuple[int, str]

MOST_BYTES = 2_000_000
MOST_PATCHES = 5000

_LAB = ("LAB_L", "LAB_A", "LAB_B")
_XYZ = ("XYZ_X", "XYZ_Y", "XYZ_Z")
_LAB_SD = ("STDEV_L", "STDEV_A", "STDEV_B")
_IDS = ("SAMPLE_ID", "SAMPLEID", "SAMPLE_NAME")

_NUMBER = re.compile(r"[+-]?([0-9]+([.,][0-9]*)?|[.,][0-9]+)([eE][+-]?[0-9]+)?")
_FIELD = re.compile(r'"(?:[^"]|"")*"|[^\s"]+')
_COMMENT = re.compile(r'^((?:[^"#]|"[^"]*")*)#.*$')


class CardTable(NamedTuple):
    """Patches row by row from the first: n names, (n, 3) CIELAB D50, and (n, 3) standard deviations."""

    patches: tuple[str, ...]
    lab_d50: Array
    lab_sd: Array | None


@dataclass(frozen=True, slots=True)
class _Table:
    """One table of the file: the line where its data begin, its columns, and the rows with their lines."""

    line: int
    columns: list[str]
    rows: list[tuple[int, list[str]]]


class _FormatError(ValueError):
    """What is wrong and on which line, on the way to the one error that callers see."""

    def __init__(self, line: int | None, what: str) -> None:
        super().__init__(f": {what}" if line is None else f", line {line}: {what}")


def read_card_table(path: Path, layout: tuple[int, int]) -> CardTable:
    """The reference values of a card file: the first table with CIELAB, or else XYZ (0 to 100), for D50.

    ``layout``: columns and rows of the card; the file lists its patches row by row from the first patch.

    Raises
    ------
    InputError : file_missing, file_unreadable; card_file_invalid, which names the line.
    """
    text = _text(read_whole(path, MOST_BYTES))
    try:
        return _card_table(list(_tables(text)), layout)
    except _FormatError as error:
        raise InputError("card_file_invalid", f"{shown(path)}{error}") from error


def write_card_table(table: CardTable) -> str:
    """The CGATS.17 text of a card's reference values, which :func:`read_card_table` reads; four decimals."""
    columns = ["SAMPLE_ID", *_LAB]
    numbers = table.lab_d50
    if table.lab_sd is not None:
        columns += _LAB_SD
        numbers = np.hstack([numbers, table.lab_sd])
    rows = [
        "\t".join([_quoted(patch), *(f"{number:.4f}" for number in row)])
        for patch, row in zip(table.patches, numbers, strict=True)
    ]
    head = ["CGATS.17", 'WEIGHTING_FUNCTION "ILLUMINANT, D50"', 'WEIGHTING_FUNCTION "OBSERVER, 2 degree"']
    head += [f"NUMBER_OF_FIELDS {len(columns)}", "BEGIN_DATA_FORMAT", "\t".join(columns), "END_DATA_FORMAT"]
    return "\n".join([*head, f"NUMBER_OF_SETS {len(rows)}", "BEGIN_DATA", *rows, "END_DATA", ""])


def _quoted(text: str) -> str:
    return '"' + text.replace('"', '""') + '"'


def _text(data: bytes) -> str:
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:  # older instruments' software: any byte is a character
        return data.decode("latin-1")


def _lines(text: str) -> Iterator[Line]:
    """Lines with their numbers, without comments and empty ones."""
    for number, line in enumerate(re.split(r"\r\n|\r|\n", text), start=1):
        said = _COMMENT.sub(r"\1", line)
        if said.strip():
            yield number, said


def _words(line: str) -> list[str]:
    return [_unquoted(word) for word in _FIELD.findall(line)]


def _unquoted(word: str) -> str:
    word = word.strip()
    return word[1:-1].replace('""', '"') if len(word) > 1 and word[0] == word[-1] == '"' else word


def _tables(text: str) -> Iterator[_Table]:
    """The tables of a file. A table without a format of its own has that of the table before."""
    lines = _lines(text)
    columns: list[str] = []
    declared: dict[str, int] = {}
    for number, line in lines:
        key, *values = _words(line) or [""]
        if key in ("NUMBER_OF_FIELDS", "NUMBER_OF_SETS"):
            declared[key] = _count(values, number, key)
        elif key == "WEIGHTING_FUNCTION":
            _refuse_other_light(" ".join(values).upper(), number)
        elif key == "BEGIN_DATA_FORMAT":
            block = _block(lines, "END_DATA_FORMAT", number)
            columns = [word.upper() for _, row in block for word in _words(row)]
        elif key == "BEGIN_DATA":
            rows = [(at, _fields(row, at, len(columns))) for at, row in _block(lines, "END_DATA", number)]
            for name, found in (("NUMBER_OF_FIELDS", len(columns)), ("NUMBER_OF_SETS", len(rows))):
                if declared.get(name, found) != found:
                    raise _FormatError(number, f"{name} says {declared[name]}, but there are {found}")
            yield _Table(number, columns, rows)
            declared = {}


def _block(lines: Iterator[Line], end: str, start: int) -> list[Line]:
    block: list[Line] = []
    for number, line in lines:
        if line.strip() == end:
            return block
        block.append((number, line))
    raise _FormatError(start, f"what begins here has no {end}")


def _fields(line: str, number: int, expected: int) -> list[str]:
    """The fields of a row. Between tabs, a field may be empty or hold spaces without quotes."""
    fields = line.split("\t")
    fields = [_unquoted(word) for word in fields] if len(fields) == expected else _words(line)
    if len(fields) != expected:
        raise _FormatError(number, f"{len(fields)} fields, but the data format has {expected}")
    return fields


def _count(values: list[str], number: int, key: str) -> int:
    if len(values) != 1 or not re.fullmatch("[0-9]{1,6}", values[0]):
        raise _FormatError(number, f"{key} is not a number")
    return int(values[0])


def _refuse_other_light(function: str, number: int) -> None:
    """Values for another illuminant or observer are other colours, and nothing later would notice."""
    for name, right in (("ILLUMINANT", "D50"), ("OBSERVER", "2")):
        said = re.search(rf"{name}\W+([A-Z0-9]+)", function)
        if said and said[1] != right:
            raise _FormatError(number, f"{name.lower()} {shown(said[1])}; D50, 2 degree is needed")


def _card_table(tables: Sequence[_Table], layout: tuple[int, int]) -> CardTable:
    table, names = _with_colours(tables)
    n = len(table.rows)
    if n != layout[0] * layout[1] or not 0 < n <= MOST_PATCHES:
        raise _FormatError(table.line, f"{n} patches, but the layout has {layout[0]} x {layout[1]}")
    lab = _numbers(table, names)
    if names == _XYZ:
        lab = xyz_to_lab(lab / 100)
    _refuse_implausible(lab, table)
    sd = _numbers(table, _LAB_SD) if names == _LAB and set(_LAB_SD) <= set(table.columns) else None
    if sd is not None and (sd < 0).any():
        raise _FormatError(table.rows[int(np.argmax((sd < 0).any(axis=1)))][0], "a negative deviation")
    return CardTable(_ids(table), lab, sd)


def _with_colours(tables: Sequence[_Table]) -> tuple[_Table, tuple[str, ...]]:
    for names in (_LAB, _XYZ):
        for table in tables:
            if set(names) <= set(table.columns):
                return table, names
    raise _FormatError(None, "no table has LAB_L, LAB_A, LAB_B (or XYZ_X, XYZ_Y, XYZ_Z)")


def _ids(table: _Table) -> tuple[str, ...]:
    for name in _IDS:
        if name in table.columns:
            column = table.columns.index(name)
            return tuple(fields[column] for _, fields in table.rows)
    return tuple(str(i) for i in range(1, len(table.rows) + 1))


def _numbers(table: _Table, names: tuple[str, ...]) -> Array:
    columns = [table.columns.index(name) for name in names]
    return np.array([[_number(fields[i], line) for i in columns] for line, fields in table.rows])


def _number(text: str, line: int) -> float:
    number = float(text.replace(",", ".")) if _NUMBER.fullmatch(text) else math.nan
    if not abs(number) <= 1e6:
        raise _FormatError(line, f'"{shown(text)}" is not a number that can be used')
    return number


def _refuse_implausible(lab: Array, table: _Table) -> None:
    """L over 110, or below -1 (noise on black), is no reflecting patch; all dark: scaled to 1."""
    wrong = (lab[:, 0] < -1) | (lab[:, 0] > 110) | (np.abs(lab[:, 1:]) > 200).any(axis=1)
    if wrong.any():
        raise _FormatError(table.rows[int(np.argmax(wrong))][0], "no colour of a reflecting patch")
    if lab[:, 0].max() < 20:
        raise _FormatError(table.line, "no patch is lighter than L = 20; are the values scaled to 1?")
