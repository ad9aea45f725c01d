"""What a person tells about parts; judgement reads it beside the measured colours."""

from __future__ import annotations

from typing import Annotated, Literal

from msgspec import Meta, Struct

from finishmatch.fields import Name, PartNumber, Pieces, Price

Relation = Literal["touching", "together", "apart"]


class PartFacts(Struct, frozen=True, forbid_unknown_fields=True):
    """[[part]]: facts about one part."""

    name: Annotated[Name, Meta(description="as a mark in a photo has it", examples=["door handle"])]
    finish: Annotated[
        Name | None,
        Meta(description="what this part's label says; parts of one label are expected to agree", examples=["bronze"]),
    ] = None
    maker: Annotated[Name | None, Meta(description="who made it", examples=["Maker A"])] = None
    batch: Annotated[Name | None, Meta(description="the lot that it came in", examples=["2026-09"])] = None
    slot: Annotated[
        Name | None, Meta(description="parts with the same slot are candidates for it", examples=["door"])
    ] = None
    matches: Annotated[
        tuple[Name, ...],
        Meta(
            description="parts that a candidate must match; else its label, or its colour, tells",
            examples=[["door plate"]],
        ),
    ] = ()
    seller: Annotated[Name | None, Meta(description="the `name` of a [[seller]]", examples=["Corran"])] = None
    count: Annotated[
        Pieces,
        Meta(description="how many pieces of it are needed; `price` is that of one", examples=[4]),
    ] = 1
    zone: Annotated[
        Name | None,
        Meta(description="parts in different zones are never seen side by side", examples=["aft door"]),
    ] = None
    touches: Annotated[tuple[Name, ...], Meta(description="parts that it lies against", examples=[["door plate"]])] = ()
    owned: Annotated[bool, Meta(description="false: not bought yet")] = True
    price: Annotated[Price | None, Meta(description="in one currency throughout", examples=[38.5])] = None
    neutral: Annotated[bool, Meta(description="true: black, white, bare metal; never counted as a mismatch")] = False
    critical: Annotated[
        bool, Meta(description="true: carries load, brakes, pressure, mains...: cautions are shown")
    ] = False
    matt: Annotated[
        bool,
        Meta(description="true: flat and without gloss (powder coat, paint): its lightness is judged closely"),
    ] = False
    number: Annotated[
        PartNumber | None,
        Meta(description="by which the marking page shows it, on every device; given once, and kept", examples=[3]),
    ] = None


class Seller(Struct, frozen=True, forbid_unknown_fields=True):
    """[[seller]]: what a shop asks for sending, and whether it takes back."""

    name: Annotated[Name, Meta(description="as `seller` of its parts has it", examples=["Corran"])]
    shipping: Annotated[Price | None, Meta(description="what sending costs, once an order", examples=[4.9])] = None
    free_from: Annotated[Price | None, Meta(description="orders of so much are sent free", examples=[50.0])] = None
    returns: Annotated[
        bool | None, Meta(description="whether parts may be sent back for their price", examples=[True])
    ] = None
    return_cost: Annotated[Price | None, Meta(description="what sending back costs", examples=[3.5])] = None


def relation(a: PartFacts, b: PartFacts) -> Relation:
    """How two parts are seen: "touching", "together" (same zone, or none said) or "apart" (different zones).

    Examples
    --------
    >>> relation(PartFacts("hinge", zone="saloon"), PartFacts("latch", zone="galley"))
    'apart'
    >>> relation(PartFacts("handle", touches=("plate",)), PartFacts("plate"))
    'touching'
    """
    if b.name in a.touches or a.name in b.touches:
        return "touching"
    if a.zone is not None and b.zone is not None and a.zone != b.zone:
        return "apart"
    return "together"
