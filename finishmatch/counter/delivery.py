"""A delivery is checked in: its parts beside the earlier lots of the same finish, to pass, to hold or to send back."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date as calendar_date
from datetime import timedelta
from typing import Literal

from msgspec import structs

from finishmatch.audit import Audit
from finishmatch.judge.drift import FALSE_ALARM, Drift, Measured, drift
from finishmatch.judge.facts import PartFacts
from finishmatch.report import drift as drift_words
from finishmatch.report.text import count, number
from finishmatch.results.results import Difference, Results
from finishmatch.shelf.record import Record, from_results, sighting
from finishmatch.text import listed

Decision = Literal["pass", "hold", "send back"]
DECISIONS: tuple[Decision, ...] = ("pass", "hold", "send back")


@dataclass(frozen=True, slots=True)
class Kind:
    """What was ordered, and which delivery this is."""

    maker: str | None
    finish: str | None
    batch: str


@dataclass(frozen=True, slots=True, eq=False)
class Checked:
    """``decision``: what is proposed, and ``reasons`` for it, the first one first; ``records``: the parts, fit for the shelf.

    ``drift``: of the finish with this delivery as the newest; ``earlier``: how many lots and parts it is judged by.
    """

    kind: Kind
    decision: Decision
    reasons: tuple[str, ...]
    drift: Drift
    records: tuple[Record, ...]
    earlier: tuple[int, int]
    audit: Audit

    @property
    def rests_on(self) -> str:
        """What it was judged by, in words."""
        lots, parts = self.earlier
        mine = count(len(self.records), "part")
        return f"{mine} of this delivery, {count(lots, 'earlier lot')} with {count(parts, 'part')}"


def check_in(audit: Audit, shelf_records: Sequence[Record], kind: Kind, day: str, allowed: float) -> Checked:
    """Judge the measured parts of a delivery by what the shelf holds of its finish; ``allowed``: CIEDE2000 that look alike.

    Parts of the same batch that are on the shelf already are no other lot, and are left out.
    """
    records = from_results(_of_finish(audit.results, kind.finish), day, {}, _facts(kind))
    earlier = [one for one in shelf_records if _lot(one) != kind.batch]
    found = drift(kind.maker, kind.finish, [*map(_measured, earlier), *_newest(records, earlier, day)], FALSE_ALARM)
    decision, why = proposed(found, allowed)
    doubts = tuple(_doubts(audit.results, records))
    lots = len(found.deliveries) - 1
    said = drift_words.words(found) if lots else "The shelf holds no earlier lot of this finish."
    reasons = tuple(filter(None, (why, said)))
    if doubts and decision == "pass":
        decision = "hold"
    if doubts and decision == "hold":
        reasons = (*doubts, *reasons)
    elif doubts:
        reasons = (*reasons, *doubts)
    return Checked(kind, decision, reasons, found, tuple(records), (lots, len(earlier)), audit)


def proposed(found: Drift, allowed: float) -> tuple[Decision, str]:
    """What the earlier lots say to do, and what is to be added to their words.

    A difference that nobody is to see decides: a delivery that has moved by less than is allowed is no reason to send it
    back, and where photos cannot tell how a finish varies, it is enough that the delivery is surely within what is allowed.
    """
    if found.high is None or found.verdict == "too few":
        return "hold", ""
    within = found.high <= allowed
    surely = (
        f"It is at most {number(found.high)} from the earlier lots, and what is {number(allowed)} apart looks alike"
    )
    if found.verdict == "outside":
        return ("hold", f"{surely}: ask the maker what has changed.") if within else ("send back", "")
    if found.verdict == "inside":
        return "pass", ""
    return ("pass", f"{surely}.") if within else ("hold", "")


def _of_finish(results: Results, finish: str | None) -> Results:
    return structs.replace(results, build=structs.replace(results.build, finish=finish))


def _facts(kind: Kind) -> PartFacts:
    return PartFacts("", maker=kind.maker, batch=kind.batch)


def _lot(record: Record) -> str:
    return record.batch or record.date


def _measured(record: Record) -> Measured:
    return Measured(record.colour, _lot(record), record.date)


def _newest(records: Sequence[Record], earlier: Sequence[Record], day: str) -> Iterator[Measured]:
    """The parts as the newest lot, even if the shelf holds records of a later day."""
    last = max([day, *(one.date for one in earlier)])
    after = (calendar_date.fromisoformat(last) + timedelta(days=1)).isoformat()
    return (Measured(one.colour, _lot(one), after) for one in records)


def _doubts(results: Results, records: Sequence[Record]) -> Iterator[str]:
    """Why a delivery should not pass, whatever the earlier lots say."""
    uncarded = [one.colour.name for one in records if not sighting(one, one.colour.name).chart]
    if uncarded:
        verb = "was" if len(uncarded) == 1 else "were"
        yield f"{listed(uncarded)} {verb} photographed without a chart that fits: photograph the delivery with one."
    for pair in results.differences:
        if pair.verdict == "differs":
            yield f"Parts of this delivery differ among themselves. {_said(pair)}"
            break
    for part in results.parts:
        if part.lab is None:
            yield f"{part.name} could not be measured: {part.notes[0].text if part.notes else 'photograph it again'}"


def _said(pair: Difference) -> str:
    return f"{pair.words[:1].upper()}{pair.words[1:]}."
