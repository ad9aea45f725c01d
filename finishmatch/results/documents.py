"""Every JSON document that the program reads or writes, declared, and its JSON Schema."""

from __future__ import annotations

from typing import Any

import msgspec
from msgspec import Struct

from finishmatch.advise.choose import Blocked, Choosing, NeutralOption
from finishmatch.build.tables import BuildFile
from finishmatch.codes import CodeName
from finishmatch.fields import Text
from finishmatch.results.json_text import ResultsFile
from finishmatch.results.packed_differences import DifferenceColumns, rows_or_columns
from finishmatch.results.results import Advice, Choice, Difference, PartResult, PhotoResult, Results


class Measurement(Struct, frozen=True, forbid_unknown_fields=True):
    """What `finishmatch measure --json` prints: a part of the results."""

    photos: tuple[PhotoResult, ...]
    parts: tuple[PartResult, ...]
    differences: tuple[Difference, ...] | DifferenceColumns  # type: ignore[valid-type]


class Choices(Struct, frozen=True, forbid_unknown_fields=True):
    """What `finishmatch choose --json` prints: the choices, null where there is nothing to choose, and what explains them.

    ``worst_pairs``: of each choice, null where no pair counts.
    """

    choices: tuple[Choice, ...] | None
    worst_pairs: tuple[tuple[Text, Text] | None, ...]
    blocked: tuple[Blocked, ...]
    neutral: tuple[NeutralOption, ...]
    better_photos: tuple[Text, ...]
    left_out: tuple[Text, ...]
    advice: tuple[Advice, ...]


class Told(Struct, frozen=True, forbid_unknown_fields=True):
    """An error: its code, and one line that says what, where, and how to mend it."""

    code: CodeName
    text: Text


class Failure(Struct, frozen=True, forbid_unknown_fields=True):
    """What every command prints with `--json` when it fails."""

    error: Told


DOCUMENTS: dict[str, type[Struct]] = {
    "results": ResultsFile,
    "build": BuildFile,
    "measure": Measurement,
    "choose": Choices,
    "error": Failure,
}


def measurement(results: Results) -> Measurement:
    """What results say of photos, parts and differences."""
    return Measurement(results.photos, results.parts, rows_or_columns(results.differences))


def choices(choosing: Choosing, advice: tuple[Advice, ...]) -> Choices:
    """The choices with what explains them."""
    return Choices(
        choosing.choices,
        choosing.worst_pairs,
        choosing.blocked,
        choosing.neutral,
        choosing.better_photos,
        choosing.left_out,
        advice,
    )


def json_schema(name: str) -> dict[str, Any]:
    """The JSON Schema (2020-12) of a document: a key of :data:`DOCUMENTS`."""
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **msgspec.json.schema(DOCUMENTS[name])}
