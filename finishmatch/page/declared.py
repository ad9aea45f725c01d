"""What the program declares once and the page shows: kinds of card, tolerances, kinds of photo."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any, get_args

import msgspec.inspect

from finishmatch.card.kinds import KINDS, NAMED, USUAL, CardKind
from finishmatch.judge.facts import Relation
from finishmatch.judge.tolerance import Tolerance
from finishmatch.photo.decode.kinds import TYPE_OF_SUFFIX


def declared() -> dict[str, Any]:
    """As plain values for JSON."""
    return {
        "cards": [_card(kind) for kind in NAMED],
        "usualCard": USUAL,
        "tolerances": _tolerances(),
        "photoTypes": TYPE_OF_SUFFIX,
    }


def _card(kind: CardKind) -> dict[str, Any]:
    row = KINDS[kind]
    return {
        "kind": kind,
        "words": row.words,
        "located": row.located,
        "plain": row.plain_y is not None,
        "editions": [asdict(one) for one in row.editions],
    }


def _tolerances() -> list[dict[str, Any]]:
    fields = {field.name: field for field in msgspec.inspect.type_info(Tolerance).fields}  # type: ignore[attr-defined]
    return [
        {"key": key, "words": _words(fields[key]), "usual": fields[key].default, "most": fields[key].type.type.le}
        for key in get_args(Relation)
    ]


def _words(field: msgspec.inspect.Field) -> str:
    words: str = field.type.extra_json_schema["description"]  # type: ignore[attr-defined]
    return words[:1].upper() + words[1:]
