"""All that is wrong with the shape of a document, by the declaration of the value that it should be.

Reading stops at the first mistake and says where by its own names; a person who mends a file wants them all, each by its
key and in words.
"""

from __future__ import annotations

import difflib
import math
from collections.abc import Iterator
from functools import cache
from itertools import islice
from typing import Any

import msgspec.inspect as kinds

from finishmatch.build.complaints import Complaint, KeyPath
from finishmatch.text import listed, shown


def complaints_about(document: Any, declared: type, most: int) -> list[Complaint]:
    """The first ``most`` things in which a document differs from a declared value."""
    return list(islice(_wrong(document, _kind(declared), ()), most))


@cache
def _kind(declared: type) -> kinds.Type:
    return kinds.type_info(declared)


def _wrong(value: Any, kind: kinds.Type, key: KeyPath) -> Iterator[Complaint]:
    match kind:
        case kinds.Metadata():
            yield from _of_its_kind(value, kind, key)
        case kinds.UnionType():  # only ever "... | None"
            if value is not None:
                (other,) = (one for one in kind.types if not isinstance(one, kinds.NoneType))
                yield from _wrong(value, other, key)
        case kinds.StructType():
            yield from _table(value, kind, key)
        case kinds.VarTupleType() | kinds.TupleType():
            yield from _array(value, kind, key)
        case _:
            if reason := _no_scalar(value, kind):
                yield Complaint(key, "build_value", reason)


def _of_its_kind(value: Any, kind: kinds.Metadata, key: KeyPath) -> Iterator[Complaint]:
    """A value whose kind has a function that tells what its bounds cannot."""
    wrong = list(_wrong(value, kind.type, key))
    check = (kind.extra or {}).get("check")
    if not wrong and check and value is not None and (reason := check(value)):
        wrong = [Complaint(key, "build_value", reason)]
    yield from wrong


def _table(value: Any, kind: kinds.StructType, key: KeyPath) -> Iterator[Complaint]:
    if not isinstance(value, dict):
        yield Complaint(key, "build_value", "must be a table")
        return
    known = [field.encode_name for field in kind.fields]
    for name in value:
        if name not in known:
            yield Complaint((*key, name), "unknown_key", _unknown_key(name, known))
    for field in kind.fields:
        name = field.encode_name
        if name in value:
            yield from _wrong(value[name], field.type, (*key, name))
        elif field.required:
            yield Complaint((*key, name), "build_value", "is missing")


def _unknown_key(name: str, known: list[str]) -> str:
    nearest = difflib.get_close_matches(name, known, 1)
    meant = f'is "{nearest[0]}" meant?' if nearest else "known here: " + ", ".join(known)
    return f'unknown key "{shown(name)}"; {meant}'


def _array(value: Any, kind: kinds.VarTupleType | kinds.TupleType, key: KeyPath) -> Iterator[Complaint]:
    if not isinstance(value, list | tuple):
        yield Complaint(key, "build_value", _no_array(kind, key))
        return
    least, most, items = _items(value, kind)
    if len(value) < least:
        yield Complaint(key, "build_value", f"must have at least {least} items")
    if most is not None and len(value) > most:
        yield Complaint(key, "build_value", f"must have at most {most} items")
    for i, (one, item) in enumerate(zip(value, items, strict=False)):
        yield from _wrong(one, item, (*key, i))


def _items(value: Any, kind: kinds.VarTupleType | kinds.TupleType) -> tuple[int, int | None, tuple[kinds.Type, ...]]:
    """The least and the most items, and the kind of each."""
    if isinstance(kind, kinds.TupleType):
        return len(kind.item_types), len(kind.item_types), kind.item_types
    return kind.min_length or 0, kind.max_length, (kind.item_type,) * len(value)


def _no_array(kind: kinds.VarTupleType | kinds.TupleType, key: KeyPath) -> str:
    if isinstance(kind, kinds.VarTupleType) and isinstance(kind.item_type, kinds.StructType):
        return f"is a table in double brackets: [[{'.'.join(step for step in key if isinstance(step, str))}]]"
    return "must be an array in [brackets]"


def _no_scalar(value: Any, kind: kinds.Type) -> str | None:
    """Why a value is no text, truth value or number of this kind."""
    match kind:
        case kinds.StrType():
            return None if isinstance(value, str) else 'must be text in "quotes"'
        case kinds.BoolType():
            return None if isinstance(value, bool) else "must be true or false"
        case kinds.IntType():
            return _out_of_bounds(value, kind) if _is_number(value, int) else "must be a whole number"
        case kinds.LiteralType():
            return (
                None if value in kind.values else f"must be one of {listed([repr(one) for one in kind.values], 'or')}"
            )
        case kinds.FloatType():
            return _out_of_bounds(value, kind) if _is_number(value, int | float) else "must be a number"
    raise NotImplementedError(kind)  # no field of the build file has another kind


def _is_number(value: Any, kind: Any) -> bool:
    return isinstance(value, kind) and not isinstance(value, bool)


def _out_of_bounds(value: float, kind: kinds.IntType | kinds.FloatType) -> str | None:
    if isinstance(value, float) and not math.isfinite(value):
        return "must be a finite number"
    if kind.gt is not None and not value > kind.gt:
        return f"must be more than {kind.gt:g}"
    if kind.ge is not None and not value >= kind.ge:
        return f"must be at least {kind.ge:g}"
    if kind.lt is not None and not value < kind.lt:
        return f"must be less than {kind.lt:g}"
    if kind.le is not None and not value <= kind.le:
        return f"must be at most {kind.le:g}"
    return None
