"""The results value to `results.json` and back (the contract `finishmatch-results/2`).

The JSON has the fields of the values in `results.py`, in their order, so both ways follow their annotations.
"""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from dataclasses import fields, is_dataclass
from functools import cache
from types import UnionType
from typing import Any, Literal, Union, get_args, get_origin, get_type_hints

import msgspec

from finishmatch.errors import CODES, InputError, InternalError, Note
from finishmatch.fields import Quantity
from finishmatch.judge.compare import Difference
from finishmatch.results.results import SCHEMA, CardInfo, PartResult, Results, SharedLoadings
from finishmatch.text import breaks_line, shown

MOST_CHARACTERS = 200_000_000
LONGEST_TEXT = 2000
MOST_COUNTED = 10**9

_DECIMALS = 4
"""A tenth of what the best instruments repeat, and files stay small."""
_SIGNIFICANT = 6
"""For covariances and loadings: their size varies, and sums of their products must still agree."""
_BY_SIGNIFICANT_DIGITS = frozenset(
    ("own_cov", "light_own", "loadings", "weight", "scale_ln", "scale_sd", "dull_sd", "shift_de00")
)

_WORDS: dict[tuple[type, str], frozenset[str | None]] = {
    (CardInfo, "kind"): frozenset(("chart24", "sheet", "grey18", "white", "none", "file")),
    (CardInfo, "origin"): frozenset(("given", "located", "none")),
    (PartResult, "verdict"): frozenset(("measured", "refused")),
    (Difference, "relation"): frozenset(("touching", "together", "apart")),
    (Difference, "verdict"): frozenset(("alike", "differs", "unsure")),
    (Difference, "cause"): frozenset((None, *CODES)),
    (Note, "code"): frozenset(CODES),
}

_FRACTIONS = frozenset(("p_within", "probability", "used_fraction"))


@cache
def _types(row: Any) -> dict[str, Any]:
    hints = get_type_hints(row)
    names = row.__struct_fields__ if issubclass(row, msgspec.Struct) else [field.name for field in fields(row)]
    return {name: hints[name] for name in names}


def _is_struct(kind: Any) -> bool:
    return isinstance(kind, type) and issubclass(kind, msgspec.Struct)


def _is_row(kind: Any) -> bool:
    return _is_struct(kind) or (is_dataclass(kind) and isinstance(kind, type))


def document(results: Results) -> dict[str, Any]:
    """The results as plain dicts, lists, numbers and texts in the contract's order; numbers are rounded.

    Raises
    ------
    InternalError : a number is not finite.
    """
    plain = {"schema": SCHEMA, **_encode(Results, results, "")}
    for choice in plain["choices"] or ():
        choice["picks"] = dict(choice["picks"])
    return plain


def plain_rows(values: Sequence[Any]) -> list[dict[str, Any]]:
    """Parts, differences ... of results as :func:`document` has them. Errors: as there."""
    return [_encode(type(value), value, "") for value in values]


def to_json(results: Results) -> str:
    """The text of results.json, with one line for each photo, part, difference, set, choice and advice.

    Raises
    ------
    InternalError : a number is not finite.
    """
    members = [f"{_dumps(key)}: {_rows(value)}" for key, value in document(results).items()]
    return "{\n" + ",\n".join(members) + "\n}\n"


def _rows(value: Any) -> str:
    if isinstance(value, list) and value and isinstance(value[0], dict):
        return "[\n " + ",\n ".join(map(_dumps, value)) + "\n]"
    return _dumps(value)


def _dumps(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False, allow_nan=False)


def _encode(kind: Any, value: Any, name: str) -> Any:
    if value is None:
        return None
    if kind is Quantity:
        return [_rounded(getattr(value, key), name) for key in Quantity.__struct_fields__]
    if get_origin(kind) is Literal:
        return str(value)
    if _is_row(kind):
        return {key: _encode(hint, getattr(value, key), key) for key, hint in _types(kind).items()}
    if get_origin(kind) in (Union, UnionType):  # only ever "... | None"
        return _encode(get_args(kind)[0], value, name)
    if get_origin(kind) is tuple:
        items = get_args(kind)
        each = items[:1] * len(value) if items[-1] is ... else items
        return [_encode(item, inner, name) for item, inner in zip(each, value, strict=True)]
    return _rounded(value, name) if kind is float else kind(value)


def _rounded(value: float, name: str) -> float:
    number = float(value)
    if not math.isfinite(number):
        raise InternalError(f"the result {name!r} is {number}")
    if name in _BY_SIGNIFICANT_DIGITS:
        return float(f"{number:.{_SIGNIFICANT}g}")
    return round(number, _DECIMALS) + 0.0  # no minus zero


class _FormatError(ValueError):
    """What is wrong and where in the document, on the way to the one error that callers see."""


def from_json(text: str) -> Results:
    """The results that a results.json holds, checked: shape, kinds, ranges, names.

    Raises
    ------
    InputError : results_invalid.
    """
    try:
        plain = _parse(text)
        if plain.pop("schema", None) != SCHEMA:
            raise _FormatError(f"schema: is not {SCHEMA}")
        _open_picks(plain)
        results: Results = _decode(Results, plain, "")
        _refer(results)
    except RecursionError as error:
        raise InputError("results_invalid", "results: nested too deeply") from error
    except ValueError as error:
        raise InputError("results_invalid", f"results: {shown(error, 200)}") from error
    return results


def _parse(text: str) -> dict[str, Any]:
    if len(text) > MOST_CHARACTERS:
        raise _FormatError("too large")
    plain = json.loads(text, parse_constant=_no_constant, object_pairs_hook=_object)
    if not isinstance(plain, dict):
        raise _FormatError("must be an object")
    return plain


def _no_constant(word: str) -> None:
    raise _FormatError(f"{word} is not a number of JSON")


def _object(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    members = dict(pairs)
    if len(members) < len(pairs):
        raise _FormatError("an object has the same key twice")
    return members


def _open_picks(plain: dict[str, Any]) -> None:
    """Picks are an object in JSON and pairs in the value."""
    choices = plain.get("choices")
    for i, choice in enumerate(choices if isinstance(choices, list) else ()):
        if not isinstance(choice, dict) or not isinstance(choice.get("picks"), dict):
            raise _FormatError(f"choices[{i + 1}].picks: must be an object")
        choice["picks"] = [list(pick) for pick in choice["picks"].items()]


def _decode(kind: Any, value: Any, where: str) -> Any:
    if kind is Quantity:
        return Quantity(*_decode_tuple((float, float, float), value, where))
    if get_origin(kind) is Literal:
        return _decode(str, value, where)
    if _is_row(kind):
        return _decode_row(kind, value, where)
    if get_origin(kind) in (Union, UnionType):
        return None if value is None else _decode(get_args(kind)[0], value, where)
    if get_origin(kind) is tuple:
        return _decode_tuple(get_args(kind), value, where)
    if kind is float:
        return _decode_number(value, where)
    if type(value) is not kind:
        raise _FormatError(f"{where}: must be {'text' if kind is str else 'a whole number'}")
    if kind is str and (len(value) > LONGEST_TEXT or any(map(breaks_line, value))):
        raise _FormatError(f"{where}: text is too long or has control characters")
    if kind is int and not 0 <= value <= MOST_COUNTED:
        raise _FormatError(f"{where}: must be from 0 to {MOST_COUNTED}")
    return value


def _decode_row(kind: type, value: Any, where: str) -> Any:
    types = _types(kind)
    if not isinstance(value, dict) or value.keys() != types.keys():
        raise _FormatError(f"{where or 'the whole'}: must be an object of {', '.join(types)}")
    inside = f"{where}." if where else ""
    members = {name: _decode(hint, value[name], f"{inside}{name}") for name, hint in types.items()}
    for name, member in members.items():
        if member not in _WORDS.get((kind, name), (member,)):
            raise _FormatError(f"{where}.{name}: unknown word {member!r}")
        if name in _FRACTIONS and not 0 <= member <= 1:
            raise _FormatError(f"{where}.{name}: must be from 0 to 1")
    return kind(**members)


def _decode_tuple(items: tuple[Any, ...], value: Any, where: str) -> tuple[Any, ...]:
    if not isinstance(value, list):
        raise _FormatError(f"{where}: must be an array")
    each = items[:1] * len(value) if items[-1] is ... else items
    if len(each) != len(value):
        raise _FormatError(f"{where}: must have {len(each)} items")
    pairs = zip(each, value, strict=True)
    return tuple(_decode(item, inner, f"{where}[{i}]") for i, (item, inner) in enumerate(pairs, start=1))


def _decode_number(value: Any, where: str) -> float:
    if type(value) not in (int, float) or not abs(value) <= 1e12:
        raise _FormatError(f"{where}: must be a finite number")
    return float(value)


def _refer(results: Results) -> None:
    """Names must refer to parts that are there, and covariances must be ones."""
    widths: dict[str, int] = {}
    light_widths: dict[str, int] = {}
    measured: set[str] = set()
    known: set[str] = set()
    for part in results.parts:
        if part.name in known:
            raise _FormatError(f'two parts are named "{part.name}"')
        known.add(part.name)
        if (part.verdict == "measured") == (None in (part.lab, part.level_sd, part.own_cov)):
            raise _FormatError(f'part "{part.name}": a measured part has numbers, a refused one has none')
        if part.own_cov is not None:
            measured.add(part.name)
            _covariance(part.own_cov, part.name)
        for shared in part.shared:
            _loadings(shared, widths)
        for light in part.light:
            _loadings(light, light_widths)
        if len({shared.correction for shared in part.shared}) < len(part.shared):
            raise _FormatError(f'part "{part.name}": a correction is listed twice')
    _names(results, measured, known)


def _covariance(matrix: tuple[tuple[float, ...], ...], name: str) -> None:
    if [len(row) for row in matrix] != [3, 3, 3] or any(matrix[i][i] < 0 for i in range(3)):
        raise _FormatError(f'part "{name}": own_cov is not a 3 x 3 covariance')
    most = 1e-4 * max(matrix[i][i] for i in range(3))
    if any(abs(matrix[i][j] - matrix[j][i]) > most for i, j in ((0, 1), (0, 2), (1, 2))):
        raise _FormatError(f'part "{name}": own_cov is not symmetric')


def _loadings(shared: SharedLoadings, widths: dict[str, int]) -> None:
    """Parts that share a correction must have loadings on the same number of errors."""
    rows = [len(row) for row in shared.loadings]
    width = widths.setdefault(shared.correction, rows[0] if rows else 0)
    if rows != [width] * 3:
        raise _FormatError(f'loadings on "{shared.correction}" are not all of one shape, 3 x k')


def _names(results: Results, measured: set[str], known: set[str]) -> None:
    pairs = [frozenset((one.a, one.b)) for one in results.differences]
    if len(set(pairs)) < len(pairs) or any(len(pair) < 2 or not pair <= measured for pair in pairs):
        raise _FormatError("differences: each must be of two measured parts, and each pair once")
    members = [name for one in results.sets for name in one.parts]
    if len(set(members)) < len(members) or not measured.issuperset(members):
        raise _FormatError("sets: each measured part may be in one set only")
    chosen = {part for choice in results.choices or () for _, part in choice.picks}
    advised = {part for advice in results.advice for part in advice.parts}
    if not known >= chosen | advised:
        raise _FormatError("choices or advice name a part that is not there")
