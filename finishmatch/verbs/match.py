"""`finishmatch match`: what matches this part, this colour, or this finish of the shelf."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from finishmatch.text import listed, shown
from finishmatch.verbs.options import Json
from finishmatch.verbs.output import say, swatch
from finishmatch.verbs.shelf.source import results_of

if TYPE_CHECKING:
    from finishmatch.results.results import Difference, PartResult, Results


def match(
    build: Annotated[Path, typer.Argument(metavar="BUILD.toml|RESULTS.json", help="A build, or its results.")],
    to: Annotated[
        str,
        typer.Option("--to", metavar='PART|"L,a,b"|NUMBER', help="A part of it, a colour, or a record of the shelf."),
    ],
    shelf: Annotated[Path | None, typer.Option("--shelf", metavar="FILE", help="The shelf of a NUMBER.")] = None,
    as_json: Json = False,
) -> None:
    """Say what matches a part: everything else that was measured, nearest first, owned and offered apart."""
    results, _ = results_of(build)
    name, pairs = _compared(results, to, shelf)
    parts = {part.name: part for part in results.parts}
    ranked = sorted(pairs, key=lambda pair: (pair.de00_level.value, _other(pair, name)))
    rows = [(parts[_other(pair, name)], pair) for pair in ranked if _other(pair, name) in parts]
    say(as_json, {"to": name, "found": [_plain(*row) for row in rows]}, _lines(name, rows))


def _compared(results: Results, to: str, shelf: Path | None) -> tuple[str, Sequence[Difference]]:
    """The name of what is looked for, and its differences from the measured parts."""
    from finishmatch.errors import InputError

    if shelf is None:
        for part in results.parts:
            if part.name.casefold() == to.casefold():
                if part.lab is None:
                    raise InputError(
                        "record_missing", f'"{shown(part.name)}" could not be measured', "photograph it again"
                    )
                return part.name, [pair for pair in results.differences if part.name in (pair.a, pair.b)]
    return _from_outside(results, to, shelf)


def _from_outside(results: Results, to: str, shelf: Path | None) -> tuple[str, Sequence[Difference]]:
    """A colour that is typed in, which is exact, or a record of the shelf, beside every measured part."""
    from finishmatch.errors import InputError
    from finishmatch.judge.against_shelf import against
    from finishmatch.judge.facts import PartFacts
    from finishmatch.shelf.record import from_results, sighting
    from finishmatch.shelf.store import open_shelf
    from finishmatch.verbs.shelf.search import colour_of, on_shelf

    if shelf is not None:
        with open_shelf(shelf) as opened:
            wanted = on_shelf(opened, to)
    else:
        found = colour_of(to)
        if found is None:
            names = listed([shown(part.name) for part in results.parts if part.lab], "or")
            raise InputError(
                "record_missing", f'"{shown(to)}" is neither a measured part nor a colour "L,a,b"', f"say {names}"
            )
        wanted = found
    name = wanted.colour.name
    one = (wanted.colour, sighting(wanted, name))
    records = from_results(results, "2000-01-01", {}, PartFacts(""))  # the day is not looked at
    others = [(record.colour, sighting(record, record.colour.name)) for record in records if record.colour.name != name]
    return name, against(one, others, results.build.tolerance)


def _other(pair: Difference, name: str) -> str:
    return pair.b if pair.a == name else pair.a


def _plain(part: PartResult, pair: Difference) -> dict[str, object]:
    from finishmatch.results.json_text import plain_rows

    (judged,) = plain_rows([pair])
    kept = ("de00_level", "p_within", "tolerance", "verdict", "cause", "words", "binding")
    return {"part": part.name, "owned": part.owned, "price": part.price, **{key: judged[key] for key in kept}}


def _lines(name: str, rows: Sequence[tuple[PartResult, Difference]]) -> Iterator[str]:
    if not rows:
        yield f"Nothing else was measured that {shown(name)} could match."
    for owned, title in ((True, "Owned"), (False, "Offered")):
        mine = [(part, pair) for part, pair in rows if part.owned == owned]
        if mine:
            yield f"{title}, nearest to {shown(name)} first:"
            yield from (_line(part, pair) for part, pair in mine)


def _line(part: PartResult, pair: Difference) -> str:
    level = pair.de00_level
    numbers = f"{level.value:5.1f} ({level.low:.1f} to {level.high:.1f})"
    price = "" if part.price is None or part.owned else f", {part.price:.2f}"
    assert part.lab is not None  # it has a difference
    return f"  {swatch(part.lab)}{pair.verdict:8}{numbers:22} {shown(part.name)}{price}: {shown(pair.words, 300)}"
