"""The shape of the build file: its tables, keys and the kind of each value.

Only the reader imports this module, when it reads. Kinds are told to pydantic's core, which checks them: pydantic's own
models would come to the same, after a tenth of a second of loading.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import MISSING, dataclass, fields
from functools import cache
from pathlib import PureWindowsPath
from typing import Any

from pydantic_core import CoreSchema, ErrorDetails, SchemaValidator, ValidationError, core_schema

from finishmatch.build.complaints import Complaint, KeyPath
from finishmatch.judge.facts import PartFacts, Tolerance
from finishmatch.text import LONGEST_PATH, blemish, shown

MOST_PATCHES = 2000

Point = tuple[float, ...]
BoxValues = tuple[float, float, float, float]
_USUAL = Tolerance()


@dataclass(frozen=True, slots=True)
class BuildTable:
    """[build]"""

    name: str
    finish: str | None = None


@dataclass(frozen=True, slots=True)
class CardTable:
    """card = { ... }"""

    kind: str
    corners: tuple[Point, ...] | None = None
    box: BoxValues | None = None
    second_box: BoxValues | None = None
    edition: str | None = None
    layout: tuple[int, int] | None = None


@dataclass(frozen=True, slots=True)
class MarkTable:
    """[[photo.part]]"""

    name: str
    outline: tuple[Point, ...] | None = None
    box: BoxValues | None = None
    mask: str | None = None
    meant: bool = False


@dataclass(frozen=True, slots=True)
class PhotoTable:
    """[[photo]]"""

    file: str
    card: CardTable | None = None
    light: str | None = None
    flat: str | None = None
    part: tuple[MarkTable, ...] = ()


@dataclass(frozen=True, slots=True)
class BuildFile:
    """The whole file."""

    build: BuildTable
    tolerance: Tolerance = _USUAL
    photo: tuple[PhotoTable, ...] = ()
    part: tuple[PartFacts, ...] = ()


TABLES: dict[tuple[str, ...], type] = {
    (): BuildFile,
    ("build",): BuildTable,
    ("tolerance",): Tolerance,
    ("photo",): PhotoTable,
    ("photo", "card"): CardTable,
    ("photo", "part"): MarkTable,
    ("part",): PartFacts,
}


@cache
def _validator() -> SchemaValidator:
    """Numbers may be whole or not, but a text or a truth value is no number; unknown keys are errors."""
    name, path = _text(_name), _text(_relative)
    yes_or_no = core_schema.bool_schema(strict=True)
    pixels, extent = _number(ge=-1e6, le=1e6), _number(gt=0, le=1e6)
    point = _array(pixels, 2, 2)
    box = core_schema.tuple_schema([pixels, pixels, extent, extent], strict=True)
    difference = _number(gt=0, le=100)
    count = core_schema.int_schema(ge=1, le=MOST_PATCHES, strict=True)
    card = _table(
        CardTable,
        kind=path,
        corners=_array(point, 4, 4),
        box=box,
        second_box=box,
        edition=name,
        layout=core_schema.tuple_schema([count, count], strict=True),
    )
    mark = _table(MarkTable, name=name, outline=_array(point, 3), box=box, mask=path, meant=yes_or_no)
    facts = _table(
        PartFacts,
        name=name,
        maker=name,
        batch=name,
        slot=name,
        zone=name,
        touches=_array(name),
        owned=yes_or_no,
        price=_number(ge=0, le=1e9),
        neutral=yes_or_no,
        critical=yes_or_no,
        matt=yes_or_no,
    )
    tolerance = _table(
        Tolerance,
        touching=difference,
        together=difference,
        apart=difference,
        confidence=_number(gt=0.5, lt=1),
        limit_pair=core_schema.tuple_schema([name, name], strict=True),
    )
    photo = _table(PhotoTable, file=path, card=card, light=name, flat=path, part=_array(mark))
    build = _table(BuildTable, name=name, finish=name)
    return SchemaValidator(_table(BuildFile, build=build, tolerance=tolerance, photo=_array(photo), part=_array(facts)))


def _table(row: type, **kinds: CoreSchema) -> CoreSchema:
    """A table with a kind for each field of ``row``; what has a default may be left out."""
    keys = []
    for field in fields(row):
        kind = kinds[field.name]
        if field.default is None:
            kind = core_schema.nullable_schema(kind)
        if field.default is not MISSING:
            kind = core_schema.with_default_schema(kind, default=field.default)
        keys.append(core_schema.dataclass_field(field.name, kind))
    arguments = core_schema.dataclass_args_schema(row.__name__, keys, extra_behavior="forbid")
    return core_schema.dataclass_schema(row, arguments, [*kinds], slots=True)


def _array(kind: CoreSchema, least: int | None = None, most: int | None = None) -> CoreSchema:
    return core_schema.tuple_schema([kind], variadic_item_index=0, min_length=least, max_length=most, strict=True)


def _number(**bounds: Any) -> CoreSchema:
    return core_schema.float_schema(strict=True, allow_inf_nan=False, **bounds)


def _text(check: Callable[[str], str]) -> CoreSchema:
    return core_schema.no_info_after_validator_function(check, core_schema.str_schema(strict=True))


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


_WORDS = {
    "missing": "is missing",
    "string_type": 'must be text in "quotes"',
    "float_type": "must be a number",
    "int_type": "must be a whole number",
    "bool_type": "must be true or false",
    "finite_number": "must be a finite number",
    "tuple_type": "must be an array in [brackets]",
    "dataclass_type": "must be a table",
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
        file: BuildFile = _validator().validate_python(document)
        return file
    except ValidationError as error:
        complaints = [_complaint(one) for one in error.errors(include_url=False, include_input=False)]
    # An array whose items are wrong is also called too short.
    around = {one.key[:-1] for one in complaints if isinstance(one.key[-1], int)}
    return [one for one in complaints if one.key not in around]


def _complaint(error: ErrorDetails) -> Complaint:
    key: KeyPath = error["loc"]
    if error["type"] == "unexpected_keyword_argument":
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
    known = [field.name for field in fields(table)]
    nearest = difflib.get_close_matches(str(key[-1]), known, 1)
    meant = f'is "{nearest[0]}" meant?' if nearest else "known here: " + ", ".join(known)
    return f'unknown key "{shown(key[-1])}"; {meant}'
