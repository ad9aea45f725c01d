"""The shape of the build file: its tables, keys and the kind of each value.

Only the reader imports this module, when it reads: pydantic is slow to load.
"""

from __future__ import annotations

from pathlib import PureWindowsPath
from typing import Annotated, Any

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, ValidationError
from pydantic_core import ErrorDetails

from finishmatch.files.lines import Complaint, KeyPath
from finishmatch.text import LONGEST_PATH, blemish, shown

MOST_PATCHES = 2000


def _name(text: str) -> str:
    if reason := blemish(text):
        raise ValueError(reason)
    return text


def _relative(text: str) -> str:
    if reason := blemish(text, LONGEST_PATH):
        raise ValueError(reason)
    if text.startswith(("/", "\\")) or PureWindowsPath(text).drive:
        raise ValueError("must be a path relative to the build file")
    return text


Name = Annotated[str, AfterValidator(_name)]
RelativePath = Annotated[str, AfterValidator(_relative)]
Pixels = Annotated[float, Field(ge=-1e6, le=1e6)]
Extent = Annotated[float, Field(gt=0, le=1e6)]
Point = Annotated[tuple[Pixels, ...], Field(min_length=2, max_length=2)]
BoxValues = tuple[Pixels, Pixels, Extent, Extent]
Difference = Annotated[float, Field(gt=0, le=100)]
Count = Annotated[int, Field(ge=1, le=MOST_PATCHES)]


class Table(BaseModel):
    """Numbers may be whole or not, but a text or a truth value is no number; unknown keys are errors."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, allow_inf_nan=False)


class BuildTable(Table):
    name: Name
    finish: Name | None = None


class ToleranceTable(Table):
    touching: Difference = 1.5
    together: Difference = 2.5
    apart: Difference = 4.0
    confidence: Annotated[float, Field(gt=0.5, lt=1)] = 0.90
    limit_pair: tuple[Name, Name] | None = None


class CardTable(Table):
    kind: RelativePath
    corners: Annotated[tuple[Point, ...], Field(min_length=4, max_length=4)] | None = None
    box: BoxValues | None = None
    second_box: BoxValues | None = None
    edition: Name | None = None
    layout: tuple[Count, Count] | None = None


class MarkTable(Table):
    name: Name
    outline: Annotated[tuple[Point, ...], Field(min_length=3)] | None = None
    box: BoxValues | None = None
    mask: RelativePath | None = None


class PhotoTable(Table):
    file: RelativePath
    card: CardTable | None = None
    light: Name | None = None
    flat: RelativePath | None = None
    part: tuple[MarkTable, ...] = ()


class PartTable(Table):
    name: Name
    maker: Name | None = None
    batch: Name | None = None
    slot: Name | None = None
    zone: Name | None = None
    touches: tuple[Name, ...] = ()
    owned: bool = True
    price: Annotated[float, Field(ge=0, le=1e9)] | None = None
    neutral: bool = False
    critical: bool = False
    matt: bool = False


class BuildFile(Table):
    build: BuildTable
    tolerance: ToleranceTable = ToleranceTable()
    photo: tuple[PhotoTable, ...] = ()
    part: tuple[PartTable, ...] = ()


TABLES: dict[tuple[str, ...], type[Table]] = {
    (): BuildFile,
    ("build",): BuildTable,
    ("tolerance",): ToleranceTable,
    ("photo",): PhotoTable,
    ("photo", "card"): CardTable,
    ("photo", "part"): MarkTable,
    ("part",): PartTable,
}

_WORDS = {
    "missing": "is missing",
    "string_type": 'must be text in "quotes"',
    "float_type": "must be a number",
    "int_type": "must be a whole number",
    "bool_type": "must be true or false",
    "finite_number": "must be a finite number",
    "tuple_type": "must be an array in [brackets]",
    "model_type": "must be a table",
    "greater_than": "must be more than {gt:g}",
    "greater_than_equal": "must be at least {ge:g}",
    "less_than": "must be less than {lt:g}",
    "less_than_equal": "must be at most {le:g}",
    "too_short": "must have at least {min_length} items",
    "too_long": "must have at most {max_length} items",
    "value_error": "{error}",
}


def check(document: dict[str, Any]) -> BuildFile | list[Complaint]:
    """The parsed document (arrays as tuples) as typed tables, or everything that is wrong with its shape."""
    try:
        return BuildFile.model_validate(document)
    except ValidationError as error:
        complaints = [_complaint(one) for one in error.errors(include_url=False, include_input=False)]
    # An array whose items are wrong is also called too short.
    around = {one.key[:-1] for one in complaints if isinstance(one.key[-1], int)}
    return [one for one in complaints if one.key not in around]


def _complaint(error: ErrorDetails) -> Complaint:
    key: KeyPath = error["loc"]
    if error["type"] == "extra_forbidden":
        return Complaint(key, "unknown_key", _unknown_key(key))
    if error["type"] == "tuple_type" and _names(key) in TABLES:
        return Complaint(key, "build_value", f"is a table in double brackets: [[{'.'.join(_names(key))}]]")
    words = _WORDS.get(error["type"])
    text = error["msg"] if words is None else words.format(**error.get("ctx", {}))
    return Complaint(key, "build_value", text)


def _names(key: KeyPath) -> tuple[str, ...]:
    return tuple(step for step in key if isinstance(step, str))


def _unknown_key(key: KeyPath) -> str:
    import difflib

    table = TABLES[_names(key[:-1])]
    known = list(table.model_fields)
    nearest = difflib.get_close_matches(str(key[-1]), known, 1)
    meant = f'is "{nearest[0]}" meant?' if nearest else "known here: " + ", ".join(known)
    return f'unknown key "{shown(key[-1])}"; {meant}'
