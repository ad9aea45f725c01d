"""Records of the shelf as text: CSV, which carries everything, and CGATS.17 (ISO 28178), which other programs read.

Both are read as such files come: tabs, commas or semicolons, decimal commas, any line ends, comments, columns in any
order under several names; columns that mean nothing here are kept and written out again.
"""

from __future__ import annotations

import csv
import json
import re
from codecs import getincrementaldecoder
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import islice
from pathlib import Path
from typing import Any

import msgspec
import numpy as np
from msgspec import Struct

from finishmatch.arrays import Array
from finishmatch.colour.measured_colour import CommonError, CommonErrorKind, ErrorSource, MeasuredColour, SampleOf
from finishmatch.colour.space import lab_to_hex
from finishmatch.disk import read_whole, reason, require_file
from finishmatch.errors import InputError
from finishmatch.exchange import cgats
from finishmatch.exchange.cgats import FormatError, number_of
from finishmatch.results.csv_tables import csv_text
from finishmatch.results.old_ids import source_of
from finishmatch.shelf.record import Origin, Record, check
from finishmatch.text import shown

Row = tuple[int, dict[str, str]]
"""A line's number, and its fields that are not empty by column."""

MOST_BYTES = 4_000_000_000
LEAST_LEVEL_SD = 0.05
"""The level of a part whose file says nothing of it; what shape and light do to it at the least."""

_OWN = {"LL": (0, 0), "La": (0, 1), "Lb": (0, 2), "aa": (1, 1), "ab": (1, 2), "bb": (2, 2)}
_OWN_COLUMNS = tuple(f"own_cov_{pair}" for pair in _OWN)
_SOURCES = ("shared", "common", "lent")
_FACTS = ("part", "maker", "finish", "batch", "date")
_MEASURED = ("light", "card", "cv_mean", "photos", "software", "notes")
_COLUMNS = (*_FACTS, "L", "a", "b", "level_sd", *_OWN_COLUMNS, *_SOURCES, *_MEASURED)
_CGATS_FACTS = ("MAKER", "FINISH", "BATCH", "DATE", "CARD", "SOFTWARE")
_NUMBERS: tuple[str, ...] = ("L", "a", "b", "level_sd", "cv_mean")
_SD = ("sd_L", "sd_a", "sd_b")

# Other names of our columns, in small letters; those of CGATS.17 and of parts.csv among them.
_NAMES = {name.lower(): name for name in (*_COLUMNS, *_SD)} | {
    **dict(zip(("lab_l", "lab_a", "lab_b"), "Lab", strict=True)),
    **dict(zip(("l*", "a*", "b*"), "Lab", strict=True)),
    **dict(zip(("stdev_l", "stdev_a", "stdev_b"), _SD, strict=True)),
    **{"name": "part", "sample_name": "part", "lights": "light"},
}
_MEANT = frozenset(_NAMES.values())
_IGNORED = frozenset(("number", "sample_id", "sampleid", "verdict", "used_fraction"))
_ORIGIN = ("light", "card", "photos", "software", "notes")
_BETWEEN = "; "
_AT_ONCE, _PIECE = 1000, 1 << 20
_BEGIN_DATA = re.compile(rb"(?:^|[\r\n])[ \t]*BEGIN_DATA[ \t]*(?:[\r\n]|$)")
_MARK, _LONGEST_MARK = b"BEGIN_DATA", 64
_APOSTROPHE = ("'", "=", "+", "-", "@", "\t", "\r")


@dataclass(frozen=True, slots=True)
class Assumed:
    """What a file that does not say is taken to mean: ``date``, and ``sd``, the standard deviation of L, a and b."""

    date: str
    sd: float


def write_csv(records: Iterable[Record]) -> str:
    """Every record with all its numbers. A text that a spreadsheet would take for a formula gets an apostrophe."""
    found = list(records)
    return "".join(csv_pieces(found, dict.fromkeys(name for record in found for name, _ in record.extra)))


def csv_pieces(records: Iterable[Record], extra: Iterable[str]) -> Iterator[str]:
    """The same in pieces, for more records than memory holds; ``extra``: the names of all further columns."""
    columns = (*_COLUMNS, *map(_apart, extra))
    yield csv_text(columns, ())
    left = iter(records)
    while some := list(islice(left, _AT_ONCE)):
        rows = ({_apart(name): value for name, value in _row(record).items()} for record in some)
        yield csv_text(columns, rows, head=False)


def write_table(records: Iterable[Record]) -> str:
    """CSV for people: colours, standard deviations with the shared errors in them, and facts. What is shared is lost."""
    columns = ("number", *_FACTS, *"Lab", *_SD, "sRGB", "light", "card", "photo_count", "notes")
    return csv_text(columns, map(_table_row, records))


def _table_row(record: Record) -> dict[str, str | float | None]:
    colour, origin = record.colour, record.origin
    facts = (colour.name, record.maker, record.finish, record.batch, record.date)
    return {
        "number": record.number,
        **dict(zip(_FACTS, facts, strict=True)),
        **dict(zip("Lab", (round(float(value), 2) for value in colour.lab_d50), strict=True)),
        **dict(zip(_SD, (round(float(sd), 2) for sd in np.sqrt(np.diag(colour.cov))), strict=True)),
        "sRGB": lab_to_hex(colour.lab_d50),
        "light": _BETWEEN.join(origin.lights) or None,
        "card": origin.card,
        "photo_count": len(origin.photos),
        "notes": " ".join(origin.notes) or None,
    }


def write_cgats(records: Iterable[Record]) -> str:
    """Names, CIELAB and standard deviations, shared errors included: what other programs understand.

    What parts share is lost, so that finishes read back are compared as if from different photos.
    """
    found = list(records)
    extra = dict.fromkeys(_keyword(name) for record in found for name, _ in record.extra)
    columns = ["SAMPLE_ID", "SAMPLE_NAME", *cgats.LAB, *cgats.LAB_SD, "LEVEL_SD", *_CGATS_FACTS]
    columns += [name for name in extra if name not in columns]
    return cgats.written(columns, ("\t".join(_cgats_fields(n, record, columns)) for n, record in enumerate(found, 1)))


def _cgats_fields(n: int, record: Record, columns: Sequence[str]) -> Iterator[str]:
    colour = record.colour
    numbers = [*colour.lab_d50, *np.sqrt(np.diag(colour.cov)), colour.level_sd]
    facts = (record.maker, record.finish, record.batch, record.date, record.origin.card, record.origin.software)
    said = {_keyword(name): value for name, value in record.extra}
    yield str(n)
    yield cgats.quoted(colour.name)
    yield from (f"{number:.4f}" for number in numbers)
    yield from (cgats.quoted(fact or "") for fact in facts)
    yield from (cgats.quoted(said.get(name, "")) for name in columns[9 + len(_CGATS_FACTS) :])


def _keyword(name: str) -> str:
    return re.sub(r"\W+", "_", name).upper()


def _row(record: Record) -> dict[str, str | float | None]:
    colour, origin = record.colour, record.origin
    row: dict[str, str | float | None] = {
        **dict(zip(_FACTS, (colour.name, record.maker, record.finish, record.batch, record.date), strict=True)),
        **dict(zip("Lab", map(_short, colour.lab_d50), strict=True)),
        "level_sd": _short(colour.level_sd),
        **{f"own_cov_{pair}": _short(colour.own_cov[at]) for pair, at in _OWN.items()},
        **_source_columns(colour),
        "light": _BETWEEN.join(origin.lights) or None,
        "card": origin.card,
        "cv_mean": None if origin.cv_mean is None else _short(origin.cv_mean),
        "photos": " ".join(origin.photos) or None,
        "software": origin.software,
        "notes": " ".join(origin.notes) or None,
        **dict(record.extra),
    }
    return {name: _apart(value) if isinstance(value, str) else value for name, value in row.items()}


def _source_columns(colour: MeasuredColour) -> dict[str, str]:
    """What other records may share, by its kind, as JSON."""
    shared, common, lent = {}, [], []
    for source, loadings in colour.shared.items():
        rows = [[_short(value) for value in row] for row in loadings]
        if isinstance(source, SampleOf):
            lent.append({"part": source.part, "photo": source.photo, "loadings": rows})
        elif isinstance(source, CommonError):
            common.append({"kind": source.kind, "id": source.id, "loadings": rows})
        else:
            shared[source] = rows
    dumped = (json.dumps(value, ensure_ascii=False) for value in (shared, common, lent))
    return dict(zip(_SOURCES, dumped, strict=True))


def _short(value: float) -> float:
    """Nine digits give a 32 bit number back."""
    return float(f"{value:.9g}")


def _apart(text: str) -> str:
    """A text that begins with an apostrophe of its own gets a second, so that reading takes the right one away."""
    return f"'{text}" if text.startswith("'") else text


def read_records(path: Path, assumed: Assumed) -> list[Record]:
    """The records of a CSV or CGATS.17 file; see :func:`stream_records`."""
    return list(stream_records(path, assumed))


def stream_records(path: Path, assumed: Assumed) -> Iterator[Record]:
    """The records of a CSV or CGATS.17 file, one after another; of a CSV file, memory holds one line at a time.

    Without ``own_cov_*``, standard deviations are taken as independent; without those too, ``assumed.sd``.

    Raises
    ------
    InputError : file_missing, file_unreadable, exchange_invalid, record_invalid; each names the line.
    """
    try:
        encoding, tables = _looked_at(path)
        rows = _cgats_rows(cgats.text_of(read_whole(path, MOST_BYTES))) if tables else _csv_rows(_lines(path, encoding))
        name = shown(path)
        for line, row in rows:
            yield check(_record(row, line, assumed), f"{name}, line {line}")
    except FormatError as error:
        raise InputError("exchange_invalid", f"{shown(path)}{error}") from error
    except OSError as error:
        raise InputError("file_unreadable", f"{shown(path)} cannot be read ({reason(error)})") from error


def _looked_at(path: Path) -> tuple[str, bool]:
    """The encoding of a file, which nobody says, and whether it holds CGATS tables."""
    if require_file(path) > MOST_BYTES:
        what = f"{shown(path)} is larger than {MOST_BYTES / 1e6:g} MB"
        raise InputError("file_unreadable", what, "check that it is the file you mean")
    decoder = getincrementaldecoder("utf-8-sig")()
    encoding, tables, before = "utf-8-sig", False, b""
    with path.open("rb") as file:
        while piece := file.read(_PIECE):
            tables = tables or (_MARK in before + piece and _BEGIN_DATA.search(before + piece) is not None)
            before = piece[-_LONGEST_MARK:]
            try:
                decoder.decode(piece, final=len(piece) < _PIECE)
            except UnicodeDecodeError:  # older instruments' software: any byte is a character
                encoding = "latin-1"
    return encoding, tables


def _lines(path: Path, encoding: str) -> Iterator[str]:
    with path.open(encoding=encoding, newline=None) as file:
        for line in file:
            yield line.removesuffix("\n")


def _cgats_rows(text: str) -> Iterator[Row]:
    for table in cgats.tables(text):
        if set(cgats.LAB) <= set(table.columns):
            names = _known(table.columns, table.line)
            yield from ((line, _said(names, fields)) for line, fields in table.rows)
            return
    raise FormatError(None, "no table has LAB_L, LAB_A, LAB_B")


def _csv_rows(lines: Iterable[str]) -> Iterator[Row]:
    names: list[str] = []
    separator = ""
    for line, said in enumerate(lines, start=1):
        if not said.strip() or said.startswith("#"):
            continue
        separator = separator or max("\t;,", key=said.count)
        fields = _fields(said, separator, line)
        if not names:
            names = _known(fields, line)
            continue
        if len(fields) > len(names):
            raise FormatError(line, f"{len(fields)} fields, but there are {len(names)} columns")
        yield line, _said(names, fields)
    if not names:
        raise FormatError(None, "no line of column names")


def _fields(line: str, separator: str, number: int) -> list[str]:
    try:
        (fields,) = csv.reader([line], delimiter=separator, strict=True)
    except csv.Error as error:
        raise FormatError(number, shown(error)) from error
    return [_plain(field) if field[:1] == "'" else field for field in map(str.strip, fields)]


def _plain(text: str) -> str:
    return text[1:] if text.startswith("'") and text[1:].startswith(_APOSTROPHE) else text


def _known(columns: Sequence[str], line: int) -> list[str]:
    names = [_NAMES.get(column.lower(), column) for column in columns]
    if missing := [name for name in "Lab" if name not in names]:
        raise FormatError(line, f"no column {', '.join(missing)}")
    if len(set(names) - {""}) < len([name for name in names if name]):
        raise FormatError(line, "two columns have the same name")
    return names


def _said(names: Sequence[str], fields: Sequence[str]) -> dict[str, str]:
    return {name: field for name, field in zip(names, fields, strict=False) if name and field}


def _record(row: dict[str, str], line: int, assumed: Assumed) -> Record:
    missing = [name for name in "Lab" if name not in row]
    if missing:
        raise FormatError(line, f"no value for {', '.join(missing)}")
    numbers: dict[str, float] = {name: number_of(row[name], line) for name in _NUMBERS if name in row}
    return Record(
        colour=MeasuredColour(
            name=row.get("part") or row.get("SAMPLE_ID") or f"line {line}",
            lab_d50=np.array([numbers[name] for name in "Lab"]),
            own_cov=_own_cov(row, line, assumed.sd),
            shared=_sources(row, line),
            level_sd=numbers.get("level_sd", LEAST_LEVEL_SD),
        ),
        date=row.get("date", assumed.date),
        origin=_origin(*map(row.get, _ORIGIN), numbers.get("cv_mean")),
        maker=row.get("maker"),
        finish=row.get("finish"),
        batch=row.get("batch"),
        extra=tuple(sorted((k, v) for k, v in row.items() if k not in _MEANT and k.lower() not in _IGNORED)),
    )


def _own_cov(row: dict[str, str], line: int, sd: float) -> Array:
    matrix = np.zeros((3, 3))
    if row.keys() >= set(_OWN_COLUMNS):
        for pair, (i, j) in _OWN.items():
            matrix[i, j] = matrix[j, i] = number_of(row[f"own_cov_{pair}"], line)
    elif row.keys() >= set(_SD):
        np.fill_diagonal(matrix, [number_of(row[name], line) ** 2 for name in _SD])
    else:
        np.fill_diagonal(matrix, sd**2)
    return matrix


class _Common(Struct, frozen=True, forbid_unknown_fields=True):
    kind: CommonErrorKind
    id: str
    loadings: list[list[float]]


class _Lent(Struct, frozen=True, forbid_unknown_fields=True):
    part: str
    photo: str
    loadings: list[list[float]]


def _sources(row: dict[str, str], line: int) -> dict[ErrorSource, Array]:
    """The columns of what is shared with other records; files of before had all of it in the first."""
    found: dict[ErrorSource, Any] = {}
    for name, kind in (("shared", dict[str, list[list[float]]]), ("common", list[_Common]), ("lent", list[_Lent])):
        try:
            said: Any = msgspec.json.decode(row[name], type=kind) if name in row else ()
        except (ValueError, RecursionError) as error:
            raise FormatError(line, f"`{name}` is not JSON of 3 x k loadings") from error
        if name == "shared":
            found |= {source_of(one): said[one] for one in said}
        elif name == "common":
            found |= {CommonError(one.kind, one.id): one.loadings for one in said}
        else:
            found |= {SampleOf(one.part, one.photo): one.loadings for one in said}
    return {one: _loadings(of, line) for one, of in found.items()}


def _loadings(rows: list[list[float]], line: int) -> Array:
    if len(rows) != 3 or len({len(row) for row in rows}) > 1:
        raise FormatError(line, "loadings are not 3 x k")
    return np.array(rows)


@lru_cache(maxsize=1000)  # parts of one photo have the same, mostly one after another
def _origin(
    light: str | None,
    card: str | None,
    photos: str | None,
    software: str | None,
    notes: str | None,
    cv_mean: float | None,
) -> Origin:
    return Origin(
        photos=tuple(photo for photo in (photos or "").split() if len(photo) == 64),
        lights=tuple(light.split(_BETWEEN)) if light else (),
        card=card or "none",
        cv_mean=cv_mean,
        software=software or "unknown",
        notes=tuple(sorted((notes or "").split())),
    )
