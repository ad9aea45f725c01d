"""The results as CSV (RFC 4180, UTF-8) for spreadsheets and other programs; rounded as results.json is."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterable
from typing import Any

from finishmatch.fields import Quantity
from finishmatch.results.json_text import plain_rows, rounded
from finishmatch.results.results import Difference, Results

# What makes a spreadsheet take a text for a formula
# (OWASP, "CSV Injection", https://owasp.org/www-community/attacks/CSV_Injection).
_FORMULA = ("=", "+", "-", "@", "\t", "\r")
_OWN_COV = {"LL": (0, 0), "La": (0, 1), "Lb": (0, 2), "aa": (1, 1), "ab": (1, 2), "bb": (2, 2)}
_QUANTITIES = ("de00", "de00_level", "level_ratio")
_SIMPLE = [name for name in Difference.__struct_fields__ if name not in (*_QUANTITIES, "notes")]
_PART_COLUMNS = (
    *("name", "verdict", "L", "a", "b", "level_sd"),
    *(f"own_cov_{pair}" for pair in _OWN_COV),
    *(
        "shared",
        "common",
        "lent",
        "light",
        "rendered",
        "photos",
        "used_fraction",
        "reason",
        "notes",
        "finish",
        "slot",
        "owned",
        "price",
        "critical",
    ),
)


def parts_csv(results: Results) -> str:
    """One line a part, refused ones without numbers.

    ``own_cov_*`` is the upper triangle of the part's own covariance, in L, a, b; ``shared`` and ``light`` are JSON objects,
    correction -> (3, k) loadings; ``common`` and ``lent`` are as in results.json. Together they rebuild the joint
    covariance of all parts; ``rendered``, as there, says what each photo's rendering may do to all its colours.
    """
    return csv_text(_PART_COLUMNS, map(_part, plain_rows(results.parts)))


def differences_csv(results: Results) -> str:
    """One line a pair of measured parts, with the columns of results.json, a quantity's limits beside it; of its notes,
    the codes.
    """
    columns = [column for name in Difference.__struct_fields__ for column in _limits_of(name)]
    return csv_text(columns, map(_difference, results.differences))


def _limits_of(name: str) -> tuple[str, ...]:
    return (name, f"{name}_low", f"{name}_high") if name in _QUANTITIES else (name,)


def _difference(pair: Difference) -> dict[str, Any]:
    row = {name: rounded(getattr(pair, name), name) for name in _SIMPLE}
    for name in _QUANTITIES:
        one: Quantity = getattr(pair, name)
        values = (rounded(value, name) for value in (one.value, one.low, one.high))
        row |= dict(zip(_limits_of(name), values, strict=True))
    return {**row, "notes": " ".join(note.code for note in pair.notes)}


def _part(part: dict[str, Any]) -> dict[str, Any]:
    row = {name: part[name] for name in _PART_COLUMNS if name in part}
    row |= dict(zip("Lab", part["lab"] or (None,) * 3, strict=True))
    cov = part["own_cov"]
    row |= {f"own_cov_{pair}": cov and cov[i][j] for pair, (i, j) in _OWN_COV.items()}
    shared = {one["correction"]: one["loadings"] for one in part["shared"]}
    light = {one["correction"]: one["loadings"] for one in part["light"]}
    sources = {"shared": shared, "light": light, **{name: part[name] for name in ("common", "lent", "rendered")}}
    row |= {name: json.dumps(value, ensure_ascii=False) for name, value in sources.items()}
    return {**row, "photos": "; ".join(part["photos"]), "notes": _codes(part)}


def _codes(row: dict[str, Any]) -> str:
    return " ".join(note["code"] for note in row["notes"])


def csv_text(columns: Iterable[str], rows: Iterable[dict[str, Any]], head: bool = True) -> str:
    """A table whose texts no spreadsheet takes for formulas; column names included, unless it goes on without a ``head``."""
    text = io.StringIO()
    names = list(columns)
    writer = csv.writer(text, lineterminator="\r\n")
    if head:
        writer.writerow(map(_harmless, names))
    writer.writerows([_harmless(row.get(name)) for name in names] for row in rows)
    return text.getvalue()


def _harmless(value: Any) -> Any:
    return f"'{value}" if isinstance(value, str) and value.startswith(_FORMULA) else value
