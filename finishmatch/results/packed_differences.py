"""The differences of a large build as columns: a tenth of the size of rows, and one read or write for each kind of value.

Numbers and quantities are plain columns. Of texts, words and notes each different one is said once, and the column tells
which of them each pair has.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, get_type_hints

import numpy as np
from msgspec import Struct, defstruct, to_builtins

from finishmatch.fields import Count, Fraction, Number, Quantity
from finishmatch.judge.differences import Difference, Differences, Repeated, table

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


def rows_or_columns(differences: Sequence[Difference]) -> Any:
    """The differences as they are written."""
    return tuple(differences) if len(differences) <= MOST_ROWS else columns_of(differences)


def columns_of(differences: Sequence[Difference]) -> Struct:
    """The columns of these differences."""
    return DifferenceColumns(**{name: _written(name, column) for name, column in _columns(differences).items()})


def plain_columns(differences: Sequence[Difference], decimals: int) -> dict[str, Any]:
    """The columns as plain lists and texts, rounded: half a million pairs are never a value each."""
    return {name: _plain(column, decimals) for name, column in _columns(differences).items()}


def _columns(differences: Sequence[Difference]) -> dict[str, Any]:
    """Arrays of numbers, and values that recur, in the order of a difference's fields."""
    pairs = table(differences)
    names = {side: Repeated(pairs.names, getattr(pairs, side)) for side in ("a", "b")}
    of_steps = dict(zip(("dL", "dC", "dH"), pairs.steps.T, strict=True))
    held = {**names, **of_steps, "binding": Repeated((False, True), pairs.binding.astype(np.int8))}
    return {name: held.get(name, getattr(pairs, name, None)) for name in Difference.__struct_fields__}


def _plain(column: Any, decimals: int) -> Any:
    if not isinstance(column, Repeated):
        rounded = [round(value, decimals) + 0.0 for value in column.ravel().tolist()]  # no minus zero
        return (
            rounded
            if column.ndim == 1
            else [rounded[k : k + column.shape[1]] for k in range(0, len(rounded), column.shape[1])]
        )
    shown = column.in_order()
    return {"of": to_builtins(shown.of), "at": shown.at.tolist()}


def _written(name: str, column: Any) -> Any:
    if not isinstance(column, Repeated):
        return tuple(column.tolist())
    shown = column.in_order()
    return _COLUMNS[name](shown.of, tuple(shown.at.tolist()))


def opened(columns: Any) -> Differences:
    """The differences of these columns.

    Raises
    ------
    ValueError : the columns are not equally long, or tell of values that are not there.
    """
    if (
        len({len(getattr(columns, name)) if _is_plain(name) else len(getattr(columns, name).at) for name in _COLUMNS})
        > 1
    ):
        raise ValueError("differences: the columns are not equally long")
    held = {name: _opened(name, getattr(columns, name)) for name in _COLUMNS}
    names = tuple(dict.fromkeys((*held["a"].of, *held["b"].of)))
    row = {name: i for i, name in enumerate(names)}
    a, b = (np.array([row[name] for name in held[side].of], dtype=np.int32)[held[side].at] for side in ("a", "b"))
    binding = np.array(held["binding"].of, dtype=bool)[held["binding"].at]
    own = [name for name in _COLUMNS if name not in ("a", "b", "binding", "dL", "dC", "dH")]
    steps = np.stack([held[name] for name in ("dL", "dC", "dH")], axis=-1)
    return Differences(names=names, a=a, b=b, steps=steps, binding=binding, **{name: held[name] for name in own})


def _opened(name: str, column: Any) -> Any:
    if _is_plain(name):
        rows = [(one.value, one.low, one.high) for one in column] if _KINDS[name] is Quantity else column
        return np.array(rows, dtype=float)
    at = np.array(column.at, dtype=np.int64)
    if at.max(initial=-1) >= len(column.of):
        raise ValueError(f"differences.{name}: there are only {len(column.of)} values to choose from")
    return Repeated(column.of, at.astype(np.int32))
