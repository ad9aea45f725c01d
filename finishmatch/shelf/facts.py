"""What people say of a record, and what of it a list shows."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, fields, replace

from finishmatch.colour.measured_colour import MeasuredColour, SampleOf
from finishmatch.shelf.record import STOCK, Record


@dataclass(frozen=True, slots=True)
class Facts:
    """What may be corrected without measuring again. ``stock``: the shop's own number."""

    part: str
    maker: str | None = None
    finish: str | None = None
    batch: str | None = None
    stock: str | None = None


@dataclass(frozen=True, slots=True)
class Entry:
    """One record in a list."""

    number: int
    part: str
    maker: str | None
    finish: str | None
    batch: str | None
    date: str
    stock: str | None
    lab_l: float
    lab_a: float
    lab_b: float


@dataclass(frozen=True, slots=True)
class Delivery:
    """A delivery that was checked in. ``sheet``: the page that was signed, as HTML."""

    day: str
    signed_by: str
    decision: str
    maker: str | None
    finish: str | None
    batch: str
    sheet: str
    number: int | None = None


def facts_of(record: Record) -> Facts:
    return Facts(record.colour.name, record.maker, record.finish, record.batch, record.stock)


def with_facts(record: Record, facts: Facts) -> Record:
    """The record with these facts in the place of its own."""
    kept = tuple((name, value) for name, value in record.extra if name != STOCK)
    return replace(
        record,
        colour=_renamed(record.colour, facts.part),
        maker=facts.maker,
        finish=facts.finish,
        batch=facts.batch,
        extra=kept if facts.stock is None else tuple(sorted((*kept, (STOCK, facts.stock)))),
    )


def _renamed(colour: MeasuredColour, name: str) -> MeasuredColour:
    """The colour under another name; the noise of its own samples goes with it."""
    shared = {
        SampleOf(name, one.photo) if isinstance(one, SampleOf) and one.part == colour.name else one: loadings
        for one, loadings in colour.shared.items()
    }
    return replace(colour, name=name, shared=shared)


def differences(before: Facts, after: Facts) -> str:
    """What a change of facts did, in words; empty if it did nothing."""
    return "; ".join(_differences(before, after))


def _differences(before: Facts, after: Facts) -> Iterator[str]:
    for field in fields(Facts):
        old, new = getattr(before, field.name), getattr(after, field.name)
        if old != new:
            yield f"{field.name}: {_said(old)} became {_said(new)}"


def _said(value: str | None) -> str:
    return "nothing" if value is None else f'"{value}"'
