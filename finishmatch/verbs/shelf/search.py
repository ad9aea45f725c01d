"""Find the finishes nearest to a colour or a part."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from finishmatch.judge.tolerance import Tolerance
from finishmatch.text import shown
from finishmatch.verbs.options import Json
from finishmatch.verbs.output import say
from finishmatch.verbs.shelf.lines import hit_line, hit_of, named
from finishmatch.verbs.shelf.options import SHELF, Confidence, File
from finishmatch.verbs.shelf.source import results_of
from finishmatch.verbs.values import number

if TYPE_CHECKING:
    from finishmatch.shelf.record import Record
    from finishmatch.shelf.store import Shelf

MOST_NAMED = 8
_USUAL = Tolerance()


def find(
    what: Annotated[
        str,
        typer.Argument(
            metavar='"L,a,b"|PART|NUMBER', help="A CIELAB colour, the name of a part, or the number of a record."
        ),
    ],
    shelf: File = SHELF,
    results: Annotated[
        Path | None,
        typer.Option("--in", metavar="RESULTS.json|BUILD.toml", help="Where PART is; the shelf if left out."),
    ] = None,
    tolerance: Annotated[
        float, number(least=0.01, most=100, help="CIEDE2000 within which two look alike.")
    ] = _USUAL.together,
    confidence: Confidence = _USUAL.confidence,
    most: Annotated[int, number(least=1, most=1000, help="At most so many, the nearest.")] = 20,
    within: Annotated[float, number(least=0.01, most=200, help="None farther, CIEDE2000 as photographed.")] = 10.0,
    as_json: Json = False,
) -> None:
    """Find the finishes nearest to a colour or part, and say of each how likely it looks alike."""
    from dataclasses import replace

    from finishmatch.judge.against_shelf import against
    from finishmatch.shelf.record import sighting
    from finishmatch.shelf.store import open_shelf

    with open_shelf(shelf) as opened:
        wanted = on_shelf(opened, what) if results is None else _in_results(what, results)
        L, a, b = (float(value) for value in wanted.colour.lab_d50)
        without = () if wanted.number is None else (wanted.number,)
        found = [opened.record(number) for number, _ in opened.nearest((L, a, b), most, within, without)]
    one = (wanted.colour, sighting(wanted, wanted.colour.name))
    others = [(replace(record.colour, name=named(record)), sighting(record, named(record))) for record in found]
    judged = against(one, others, Tolerance(together=tolerance, confidence=confidence))
    hits = sorted(
        zip(found, judged, strict=True), key=lambda hit: (-hit[1].p_within, hit[1].de00_level.value, hit[0].number)
    )
    lines = [hit_line(difference, record) for record, difference in hits] or [f"nothing within {within:g} CIEDE2000"]
    say(as_json, {"of": wanted.colour.name, "found": [hit_of(*hit) for hit in hits]}, lines)


def _in_results(what: str, source: Path) -> Record:
    from finishmatch.errors import InputError
    from finishmatch.judge.facts import PartFacts
    from finishmatch.shelf.record import from_results

    fresh = from_results(results_of(source)[0], "2000-01-01", {}, PartFacts(""))  # the day is not looked at
    for record in fresh:
        if record.colour.name.casefold() == what.casefold():
            return record
    raise InputError("record_missing", f'{shown(source)} has no measured part "{shown(what)}"')


def on_shelf(shelf: Shelf, what: str) -> Record:
    """A part on the shelf by its name, a record by its number, or a colour."""
    from finishmatch.errors import InputError

    if found := list(shelf.records(part=what)):
        return _only_one(found, what)
    if what.isascii() and what.isdigit() and len(what) < 19:
        return shelf.record(int(what))
    colour = colour_of(what)
    if colour is None:
        raise InputError(
            "record_missing", f'"{shown(what)}" is neither a part or number on the shelf nor a colour "L,a,b"'
        )
    return colour


def _only_one(found: Sequence[Record], what: str) -> Record:
    """The newest of one part that was measured several times; of several parts of one name, none is chosen."""
    from finishmatch.errors import InputError

    if len({(record.maker, record.finish, record.batch) for record in found}) > 1:
        told = "; ".join(
            " ".join(filter(None, (f"no. {record.number}", record.maker, record.finish, record.batch)))
            for record in found[:MOST_NAMED]
        )
        more = f" and {len(found) - MOST_NAMED} more" if len(found) > MOST_NAMED else ""
        raise InputError("name_ambiguous", f'"{shown(what)}" is {len(found)} records: {shown(told, 400)}{more}')
    return max(found, key=lambda record: (record.date, record.number or 0))


def colour_of(text: str) -> Record | None:
    """A colour that is typed in is exact."""
    import numpy as np

    from finishmatch.colour.measured_colour import MeasuredColour
    from finishmatch.shelf.record import Origin, Record, check

    try:
        values = [float(word) for word in text.split(",")]
    except ValueError:
        return None
    if len(values) != 3:
        return None
    colour = MeasuredColour("the colour", np.array(values), np.zeros((3, 3)), {}, 0.0)
    return check(Record(colour, "2000-01-01", Origin()), f'"{shown(text)}"')
