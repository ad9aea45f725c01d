"""The grammar of CGATS.17 text (ISO 28178): tables of named columns, whatever they hold.

The format's keywords are from memory of the standard. Readers of such files are tolerant by custom, and so is this
one: tabs or spaces, any line ends, decimal commas, comments, unknown keywords and columns.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from finishmatch.arrays import Array
from finishmatch.text import shown

Line = tuple[int, str]

_NUMBER = re.compile(r"[+-]?([0-9]+([.,][0-9]*)?|[.,][0-9]+)([eE][+-]?[0-9]+)?")
_FIELD = re.compile(r'"(?:[^"]|"")*"|[^\s"]+')
_COMMENT = re.compile(r'^((?:[^"#]|"[^"]*")*)#.*$')

LAB = ("LAB_L", "LAB_A", "LAB_B")
XYZ = ("XYZ_X", "XYZ_Y", "XYZ_Z")
LAB_SD = ("STDEV_L", "STDEV_A", "STDEV_B")
IDS = ("SAMPLE_ID", "SAMPLEID", "SAMPLE_NAME")
STANDARD = frozenset((*LAB, *XYZ, *LAB_SD, *IDS))


@dataclass(frozen=True, slots=True)
class Table:
    """One table of the file: the line where its data begin, its columns, and the rows with their lines."""

    line: int
    columns: list[str]
    rows: list[tuple[int, list[str]]]


class FormatError(ValueError):
    """What is wrong and on which line, on the way to the one error that callers see."""

    def __init__(self, line: int | None, what: str) -> None:
        super().__init__(f": {what}" if line is None else f", line {line}: {what}")


def quoted(text: str) -> str:
    """A text as one field."""
    return '"' + text.replace('"', '""') + '"'


def written(columns: Sequence[str], rows: Iterable[str]) -> str:
    """The text of one table of CIELAB D50; ``rows`` are fields between tabs. Columns of our own are declared."""
    lines = list(rows)
    head = ["CGATS.17", 'WEIGHTING_FUNCTION "ILLUMINANT, D50"', 'WEIGHTING_FUNCTION "OBSERVER, 2 degree"']
    head += [f"KEYWORD {quoted(column)}" for column in columns if column not in STANDARD]
    head += [f"NUMBER_OF_FIELDS {len(columns)}", "BEGIN_DATA_FORMAT", "\t".join(columns), "END_DATA_FORMAT"]
    return "\n".join([*head, f"NUMBER_OF_SETS {len(lines)}", "BEGIN_DATA", *lines, "END_DATA", ""])


def text_of(data: bytes) -> str:
    """The text of a file whose encoding nobody says."""
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


def tables(text: str) -> Iterator[Table]:
    """The tables of a file, one after another; a table without a format of its own has that of the table before.

    Raises
    ------
    FormatError : where the text breaks the grammar, or is for another illuminant or observer than D50 and 2 degree.
    """
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
                    raise FormatError(number, f"{name} says {declared[name]}, but there are {found}")
            yield Table(number, columns, rows)
            declared = {}


def _block(lines: Iterator[Line], end: str, start: int) -> list[Line]:
    block: list[Line] = []
    for number, line in lines:
        if line.strip() == end:
            return block
        block.append((number, line))
    raise FormatError(start, f"what begins here has no {end}")


def _fields(line: str, number: int, expected: int) -> list[str]:
    """The fields of a row. Between tabs, a field may be empty or hold spaces without quotes."""
    fields = line.split("\t")
    fields = [_unquoted(word) for word in fields] if len(fields) == expected else _words(line)
    if len(fields) != expected:
        raise FormatError(number, f"{len(fields)} fields, but the data format has {expected}")
    return fields


def _count(values: list[str], number: int, key: str) -> int:
    if len(values) != 1 or not re.fullmatch("[0-9]{1,9}", values[0]):
        raise FormatError(number, f"{key} is not a number")
    return int(values[0])


def _refuse_other_light(function: str, number: int) -> None:
    """Values for another illuminant or observer are other colours, and nothing later would notice."""
    for name, right in (("ILLUMINANT", "D50"), ("OBSERVER", "2")):
        said = re.search(rf"{name}\W+([A-Z0-9]+)", function)
        if said and said[1] != right:
            raise FormatError(number, f"{name.lower()} {shown(said[1])}; D50, 2 degree is needed")


def numbers_of(table: Table, names: tuple[str, ...]) -> Array:
    """The columns of these names, (rows, names)."""
    columns = [table.columns.index(name) for name in names]
    return np.array([[number_of(fields[i], line) for i in columns] for line, fields in table.rows])


def number_of(text: str, line: int) -> float:
    """A finite number; the comma is a decimal one."""
    number = float(text.replace(",", ".")) if _NUMBER.fullmatch(text) else math.nan
    if not abs(number) <= 1e6:
        raise FormatError(line, f'"{shown(text)}" is not a number that can be used')
    return number
