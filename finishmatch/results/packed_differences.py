"""The differences of a large build as columns: a tenth of the size of rows, and one read or write for each kind of value.

Numbers and quantities are plain columns. Of texts, words and notes each different one is said once, and the column tells
which of them each pair has.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Sequence
from typing import Any, get_type_hints

from msgspec import Struct, defstruct

from finishmatch.fields import Count, Fraction, Number, Quantity
from finishmatch.judge.compare import Difference

MOST_ROWS = 5000
"""Up to so many differences are written as rows, more as columns."""

_KINDS = get_type_hints(Difference, include_extras=True)


def _is_plain(name: str) -> bool:
    return _KINDS[name] in (Number, Fraction, Quantity)


def _column(name: str) -> Any:
    """The kind of a column."""
    kind = _KINDS[name]
    return tuple[kind, ...] if _is_plain(name) else _repeated_column(name, kind)  # type: ignore[valid-type]


def _repeated_column(name: str, kind: Any) -> Any:
    return defstruct(
        f"Column_{name}",
        [("of", tuple[kind, ...]), ("at", tuple[Count, ...])],
        frozen=True,
        forbid_unknown_fields=True,
        module=__name__,
        namespace={"__doc__": "A column of values that recur: pair k has of[at[k]]."},
    )


_COLUMNS = {name: _column(name) for name in Difference.__struct_fields__}

DifferenceColumns = defstruct(
    "DifferenceColumns",
    list(_COLUMNS.items()),
    frozen=True,
    forbid_unknown_fields=True,
    module=__name__,
    namespace={
        "__doc__": "A column for each field of a difference, all equally long. In `words` {a} and {b} stand for the names of "
        "the pair, and a doubled brace for a brace."
    },
)


def rows_or_columns(differences: tuple[Difference, ...]) -> Any:
    """The differences as they are written."""
    return differences if len(differences) <= MOST_ROWS else columns_of(differences)


def columns_of(differences: Sequence[Difference]) -> Struct:
    """The columns of these differences."""
    columns: dict[str, Any] = {name: [getattr(d, name) for d in differences] for name in Difference.__struct_fields__}
    columns["words"] = [_without_names(d) for d in differences]
    for name, column in columns.items():
        columns[name] = tuple(column) if _is_plain(name) else _COLUMNS[name](*_repeated(column))
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


def _repeated(column: Iterable[Any]) -> tuple[tuple[Any, ...], tuple[int, ...]]:
    """Each different value once, and which of them each place has."""
    first: dict[Any, int] = {}
    at = tuple(first.setdefault(value, len(first)) for value in column)
    return tuple(first), at


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
