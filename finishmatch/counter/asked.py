"""What the counter's page asks, as values that are checked before anything else sees them."""

from __future__ import annotations

from typing import Annotated, TypeVar

import msgspec
from msgspec import Meta, Struct
from starlette.requests import Request

from finishmatch.counter.delivery import Decision
from finishmatch.counter.stock import SORTS
from finishmatch.errors import InputError
from finishmatch.page.request import MOST_JSON_BYTES, Refused, body

Number = Annotated[int, Meta(ge=1, le=2**63 - 1)]
Pixel = Annotated[float, Meta(ge=-1e6, le=1e6)]
Outline = Annotated[tuple[tuple[Pixel, Pixel], ...], Meta(min_length=3, max_length=2000)]
# What a person types may be anything; the shelf says what it cannot keep.
Typed = Annotated[str, Meta(max_length=2000)]
T = TypeVar("T")


class FactsSaid(Struct, frozen=True, forbid_unknown_fields=True):
    part: Typed
    maker: Typed | None = None
    finish: Typed | None = None
    batch: Typed | None = None
    stock: Typed | None = None


class Change(Struct, frozen=True, forbid_unknown_fields=True):
    seal: Annotated[str, Meta(max_length=64)]
    facts: FactsSaid


class Numbers(Struct, frozen=True, forbid_unknown_fields=True):
    numbers: Annotated[tuple[Number, ...], Meta(min_length=1, max_length=1000)]


class Wanted(Struct, frozen=True, forbid_unknown_fields=True):
    """A part to find matches for: its outline, or a point in it."""

    photo: Annotated[str, Meta(max_length=64)]
    outline: Outline | None = None
    x: Pixel = 0.0
    y: Pixel = 0.0


class MarkSaid(Struct, frozen=True, forbid_unknown_fields=True):
    photo: Annotated[str, Meta(max_length=64)]
    name: Typed
    outline: Outline


class DeliverySaid(Struct, frozen=True, forbid_unknown_fields=True):
    maker: Typed | None
    finish: Typed | None
    batch: Typed
    marks: Annotated[tuple[MarkSaid, ...], Meta(min_length=1, max_length=200)]


class Signature(Struct, frozen=True, forbid_unknown_fields=True):
    """``keep``: whether the parts go on the shelf."""

    delivery: DeliverySaid
    decision: Decision
    signed_by: Typed
    keep: bool


class Search(Struct, frozen=True, forbid_unknown_fields=True):
    words: Typed = ""
    sort: Annotated[str, Meta(pattern=f"^({'|'.join(SORTS)})$")] = "newest"
    start: Annotated[int, Meta(ge=0, le=10**9)] = 0


async def sent(request: Request, kind: type[T]) -> T:
    """The JSON value that a request brings.

    Raises
    ------
    Refused : where it is too large or no JSON of this kind.
    """
    if request.headers.get("content-type") != "application/json":
        raise Refused(415, "build_value", "only JSON is understood")
    data = await body(request, MOST_JSON_BYTES)
    try:
        return msgspec.json.decode(data, type=kind)
    except (msgspec.DecodeError, RecursionError, UnicodeError) as error:
        raise Refused(400, "build_value", f"that is not what the page asks: {error}") from error


def in_query(request: Request, kind: type[T]) -> T:
    """The value that an address brings after its question mark."""
    try:
        return msgspec.convert(dict(request.query_params), kind, strict=False)
    except msgspec.ValidationError as error:
        raise Refused(400, "build_value", f"that is not what the page asks: {error}") from error


def plain(text: str | None) -> str | None:
    """What was typed, without the spaces around it; None for nothing."""
    return (text or "").strip() or None


def required(text: str, what: str) -> str:
    """What was typed.

    Raises
    ------
    InputError : record_invalid for nothing.
    """
    said = plain(text)
    if said is None:
        raise InputError("record_invalid", f"the {what} must not be empty", f"say the {what}")
    return said
