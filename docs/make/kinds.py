"""What a declared kind of value is, in a person's words."""

from __future__ import annotations

from typing import Any

import msgspec.inspect as kinds


def in_words(kind: kinds.Type) -> str:
    """A declared kind in words.

    Examples
    --------
    >>> in_words(kinds.type_info(tuple[int, bool]))
    '[whole number, true or false]'
    >>> in_words(kinds.type_info(tuple[str, ...] | None))
    '[text, ...] or null'
    """
    match kind:
        case kinds.Metadata():
            return in_words(kind.type)
        case kinds.UnionType():
            return " or ".join(dict.fromkeys(in_words(one) for one in kind.types))
        case kinds.LiteralType():
            return " or ".join(f'"{value}"' for value in kind.values) if len(kind.values) < 12 else "text: a code"
        case kinds.StructType():
            return _array([field.name for field in kind.fields]) if kind.array_like else "table"
        case kinds.VarTupleType():
            least = f", at least {kind.min_length}" if kind.min_length else ""
            return f"[{in_words(kind.item_type)}, ...]{least}"
        case kinds.TupleType():
            return _array([in_words(one) for one in kind.item_types])
        case kinds.IntType() | kinds.FloatType():
            return _number(kind)
    return _PLAIN[type(kind)]


_PLAIN: dict[type, str] = {
    kinds.StrType: "text",
    kinds.BoolType: "true or false",
    kinds.NoneType: "null",
    kinds.DictType: "table",
    kinds.DataclassType: "table",
}


def _array(items: list[str]) -> str:
    """The items of an array, alike ones told by their number."""
    alike = len(set(items)) == 1 and len(items) > 2
    return f"[{len(items)} x {items[0]}]" if alike else f"[{', '.join(items)}]"


def _number(kind: kinds.IntType | kinds.FloatType) -> str:
    what = "whole number" if isinstance(kind, kinds.IntType) else "number"
    bounds: list[tuple[Any, str]] = [(kind.gt, "over"), (kind.ge, "from"), (kind.lt, "under"), (kind.le, "to")]
    said = [f"{word} {bound:g}" for bound, word in bounds if bound is not None and abs(bound) < 1e5]
    return " ".join([what, *said])
