"""The results value to `results.json` and back; its shape is that of the values in `results.py`."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import msgspec
import numpy as np
from msgspec import structs

from finishmatch.disk import read_whole
from finishmatch.errors import InputError, InternalError
from finishmatch.judge.differences import Difference, Differences, table
from finishmatch.results import schema_1
from finishmatch.results.consistent import require_consistent
from finishmatch.results.packed_differences import MOST_ROWS, DifferenceColumns, opened, plain_columns
from finishmatch.results.results import SCHEMA, Results
from finishmatch.text import shown

MOST_CHARACTERS = 500_000_000
MOST_BYTES = 500_000_000

_DECIMALS = 4
"""A tenth of what the best instruments repeat, and files stay small."""
_SIGNIFICANT = 6
"""For covariances and loadings: their size varies, and sums of their products must still agree."""
_BY_SIGNIFICANT_DIGITS = frozenset(
    ("own_cov", "light_own", "loadings", "weight", "scale_ln", "scale_sd", "dull_sd", "shift_de00")
)


class ResultsFile(Results, frozen=True, tag=SCHEMA):
    """What results.json holds: the differences of a large build are columns."""

    differences: tuple[Difference, ...] | DifferenceColumns  # type: ignore[valid-type]


def document(results: Results) -> dict[str, Any]:
    """The results as plain dicts, lists, numbers and texts, in the order of their fields; numbers are rounded.

    Raises
    ------
    InternalError : a number is not finite.
    """
    pairs = results.differences
    if len(pairs) <= MOST_ROWS:
        return plain(structs.replace(results, differences=tuple(pairs)))
    _require_finite(table(pairs))
    return {**plain(structs.replace(results, differences=())), "differences": plain_columns(pairs, _DECIMALS)}


def _require_finite(pairs: Differences) -> None:
    for name in ("de00", "de00_level", "level_ratio", "p_within", "tolerance", "steps"):
        if not np.isfinite(getattr(pairs, name)).all():
            raise InternalError(f"the result {name!r} of a pair is not finite")


def plain_rows(values: Sequence[Any]) -> list[dict[str, Any]]:
    """Parts, differences ... of results as :func:`document` has them. Errors: as there."""
    return [plain(value) for value in values]


def to_json(results: Results) -> str:
    """The text of results.json, with one line for each photo, part, difference, set, choice and advice.

    Raises
    ------
    InternalError : a number is not finite.
    """
    members = [f"{_text(key)}: {_lines(value)}" for key, value in document(results).items()]
    return "{\n" + ",\n".join(members) + "\n}\n"


def _lines(value: Any) -> str:
    if isinstance(value, list) and value and isinstance(value[0], dict):
        return "[\n " + ",\n ".join(map(_text, value)) + "\n]"
    return _text(value)


def _text(value: Any) -> str:
    return msgspec.json.encode(value).decode()


def plain(value: Any) -> dict[str, Any]:
    """A declared value as plain ones, its numbers rounded. Errors: as of :func:`document`."""
    made: dict[str, Any] = rounded(msgspec.to_builtins(value, enc_hook=_number), "")
    return made


def _number(value: Any) -> Any:
    """A number of numpy as one of Python."""
    return value.item()


def rounded(value: Any, name: str) -> Any:
    """The same with every number rounded; ``name``: of the nearest key."""
    if isinstance(value, dict):
        return {key: rounded(inner, key) for key, inner in value.items()}
    if isinstance(value, list | tuple):
        return [rounded(inner, name) for inner in value]
    if not isinstance(value, float):
        return value
    if not math.isfinite(value):
        raise InternalError(f"the result {name!r} is {value}")
    if name in _BY_SIGNIFICANT_DIGITS:
        return float(f"{value:.{_SIGNIFICANT}g}")
    return round(value, _DECIMALS) + 0.0  # no minus zero


def read(path: Path) -> Results:
    """The results of a file. Errors: file_missing, file_unreadable, and those of :func:`from_json`."""
    try:
        return from_json(read_whole(path, MOST_BYTES).decode("utf-8"))
    except UnicodeDecodeError as error:
        raise InputError("results_invalid", f"{shown(path)} is not UTF-8 text") from error


def from_json(text: str) -> Results:
    """The results that a results.json holds, of this schema or the first, checked: shape, kinds, ranges, names.

    Raises
    ------
    InputError : results_invalid.
    """
    try:
        if len(text) > MOST_CHARACTERS:
            raise ValueError("too large")
        found = msgspec.json.decode(text, type=ResultsFile | schema_1.Results1)
        results = schema_1.upgraded(found) if isinstance(found, schema_1.Results1) else _opened(found)
        require_consistent(results)
    except RecursionError as error:
        raise InputError("results_invalid", "results: nested too deeply") from error
    except ValueError as error:
        raise InputError("results_invalid", f"results: {shown(error, 200)}") from error
    return results


def _opened(file: ResultsFile) -> Results:
    """The value that a file holds."""
    members = {name: getattr(file, name) for name in Results.__struct_fields__}
    pairs = file.differences
    return Results(**{**members, "differences": table(pairs) if isinstance(pairs, tuple) else opened(pairs)})
