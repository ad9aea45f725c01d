"""The differences of a large build as columns: a tenth of the size of rows, and one read or write for each kind of value.

Numbers and quantities are plain columns. Of texts, words and notes each different one is said once, and the column tells
which of them each pair has.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Sequence
from typing import Any, Generic, TypeVar, get_type_hints

from msgspec import Struct, defstruct

from finishmatch.fields import Count, Fraction, Number, Quantity
from finishmatch.judge.compare import Difference

T = TypeVar("T")


class Repeated(Struct, Generic[T], frozen=True, forbid_unknown_fields=True):
    """A column of values that recur: pair k has ``of[at[k]]``."""

    of: tuple[T, ...]
    at: tuple[Count, ...]


def _column_of(kind: Any) -> Any:
    return tuple[kind, ...] if kind in (Number, Fraction, Quantity) else Repeated[kind]


_KINDS = get_type_hints(Difference, include_extras=True)

DifferenceColumns = defstruct(
    "DifferenceColumns",
    [(name, _column_of(_KINDS[name])) for name in Difference.__struct_fields__],
    frozen=True,
    forbid_unknown_fields=True,
    module=__name__,
    namespace={
        "__doc__": "A column for each field of a difference, all equally long. In `words` {a} and {b} stand for the names of "
        "the pair, and a doubled brace for a brace."
    },
)


def columns_of(differences: Sequence[Difference]) -> Struct:
    """The columns of these differences."""
    columns: dict[str, Any] = {name: [getattr(d, name) for d in differences] for name in Difference.__struct_fields__}
    columns["words"] = [_without_names(d) for d in differences]
    for name, column in columns.items():
        columns[name] = tuple(column) if _is_plain(name) else _repeated(column)
    return DifferenceColumns(**columns)


def rows_of(columns: Any) -> tuple[Difference, ...]:
    """The differences of these columns.

    Raises
    ------
    ValueError : the columns are not equally long, or tell of values that are not there.
    """
    opened = {name: _opened(name, getattr(columns, name)) for name in Difference.__struct_fields__}
    opened["words"] = map(_with_names, opened["words"], opened["a"], opened["b"])
    return tuple(Difference(*row) for row in zip(*opened.values(), strict=True))


def _is_plain(name: str) -> bool:
    return _KINDS[name] in (Number, Fraction, Quantity)


def _repeated(column: Iterable[Any]) -> Repeated[Any]:
    first: dict[Any, int] = {}
    at = tuple(first.setdefault(value, len(first)) for value in column)
    return Repeated(tuple(first), at)


def _opened(name: str, column: Any) -> Iterable[Any]:
    if _is_plain(name):
        return tuple(column)
    if any(k >= len(column.of) for k in column.at):
        raise ValueError(f"differences.{name}: there are only {len(column.of)} values to choose from")
    return tuple(column.of[k] for k in column.at)


_BRACES = re.compile(r"[{}]")
_MARKS = re.compile(r"\{a\}|\{b\}|\{\{|\}\}")


def _without_names(difference: Difference) -> str:
    """The words with marks in the place of both names, so that few different ones are left."""
    names = {difference.a: "{a}", difference.b: "{b}"}
    longest_first = sorted(names, key=lambda name: (-len(name), name))
    either: Callable[[re.Match[str]], str] = lambda found: names.get(found[0]) or 2 * found[0]  # noqa: E731
    return re.sub("|".join([*map(re.escape, longest_first), _BRACES.pattern]), either, difference.words)


def _with_names(words: str, a: str, b: str) -> str:
    said = {"{a}": a, "{b}": b, "{{": "{", "}}": "}"}
    return _MARKS.sub(lambda found: said[found[0]], words)
