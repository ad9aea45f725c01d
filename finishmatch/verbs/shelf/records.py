"""Put finishes on the shelf, list them, take them off."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from finishmatch.verbs.options import Json
from finishmatch.verbs.output import say
from finishmatch.verbs.shelf.lines import added, header, line, plain
from finishmatch.verbs.shelf.options import SHELF, Date, File, Finish, Maker, Part, day_of
from finishmatch.verbs.shelf.source import results_of
from finishmatch.verbs.values import number_argument

Numbers = Annotated[
    list[int], number_argument(least=1, most=2**63 - 1, metavar="NUMBER...", help="Numbers, as `list` shows them.")
]


def add(
    source: Annotated[Path, typer.Argument(metavar="RESULTS.json|BUILD.toml", help="Results, or a build to audit.")],
    shelf: File = SHELF,
    maker: Maker = None,
    batch: Annotated[str | None, typer.Option(help="The batch; where the build file names none.")] = None,
    finish: Finish = None,
    date: Date = None,
    as_json: Json = False,
) -> None:
    """Put every measured part on the shelf; what is there already is left out."""
    from msgspec import structs

    from finishmatch.judge.facts import PartFacts
    from finishmatch.shelf.record import from_results
    from finishmatch.shelf.store import open_shelf

    day = day_of(date)
    results, facts = results_of(source)
    if finish is not None:
        results = structs.replace(results, build=structs.replace(results.build, finish=finish))
    records = from_results(results, day, facts, PartFacts("", maker=maker, batch=batch))
    with open_shelf(shelf, create=True) as opened:
        numbers = opened.add(records)
    say(as_json, {"added": numbers, "known": len(records) - len(numbers)}, [added(numbers, len(records))])


def list_records(
    shelf: File = SHELF,
    part: Part = None,
    maker: Maker = None,
    finish: Finish = None,
    as_json: Json = False,
) -> None:
    """List the finishes on the shelf; small and capital letters are alike."""
    from finishmatch.shelf.store import open_shelf

    with open_shelf(shelf) as opened:
        records = list(opened.records(part, maker, finish))
    lines = [header(), *map(line, records)] if records else ["No finish on the shelf is like that."]
    say(as_json, {"records": [plain(record) for record in records]}, lines)


def remove(
    numbers: Numbers,
    shelf: File = SHELF,
    as_json: Json = False,
) -> None:
    """Take finishes off the shelf; `put-back` undoes it."""
    from finishmatch.shelf.store import open_shelf

    wanted = list(dict.fromkeys(numbers))
    with open_shelf(shelf) as opened:
        opened.remove(wanted, day_of(None))
    say(as_json, {"removed": wanted}, [f"{len(wanted)} removed; `finishmatch shelf put-back {wanted[0]}` undoes it"])


def put_back(
    numbers: Numbers,
    shelf: File = SHELF,
    as_json: Json = False,
) -> None:
    """Put finishes back that were taken off the shelf, as they were."""
    from finishmatch.shelf.store import open_shelf

    wanted = list(dict.fromkeys(numbers))
    with open_shelf(shelf) as opened:
        opened.put_back(wanted, day_of(None))
    say(as_json, {"put_back": wanted}, [f"{len(wanted)} put back"])
