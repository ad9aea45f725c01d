"""The shelf to other programs and back."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from finishmatch.errors import CommandError, Stopped
from finishmatch.progress import Progress
from finishmatch.text import shown
from finishmatch.verbs.options import Json
from finishmatch.verbs.output import say
from finishmatch.verbs.progress_bar import bar
from finishmatch.verbs.shelf.lines import added
from finishmatch.verbs.shelf.options import SHELF, Date, File, day_of
from finishmatch.verbs.values import number, number_argument

if TYPE_CHECKING:
    from finishmatch.shelf.record import Record

_TOLD, _PART = 500, 10_000


def export(
    file: Annotated[Path, typer.Argument(metavar="FILE", help=".csv, or .txt as CGATS.17 text.")],
    shelf: File = SHELF,
    for_people: Annotated[
        bool, typer.Option("--for-people", help="CSV of colours, deviations and facts alone, to read in a spreadsheet.")
    ] = False,
    as_json: Json = False,
) -> None:
    """Write the shelf as CSV with everything, or as CGATS.17 text; the file must not exist yet."""
    from finishmatch import disk
    from finishmatch.exchange import shelf_records
    from finishmatch.shelf.store import open_shelf

    ending = file.suffix.lower()
    if ending not in (".csv", ".txt") or (for_people and ending != ".csv"):
        raise CommandError("unknown_ending", f"{shown(file)} should end in .csv{'' if for_people else ' or .txt'}")
    with open_shelf(shelf) as opened, bar(quiet=as_json) as progress:
        records = _counted(opened.records(), progress, len(opened))
        if for_people:
            disk.write_new(file, shelf_records.write_table(records))
        elif ending == ".txt":
            disk.write_new(file, shelf_records.write_cgats(records))
        else:
            disk.write_new(file, shelf_records.csv_pieces(records, opened.extra_names()))
        count = len(opened)
    say(as_json, {"written": count, "file": str(file)}, [f"{count} written to {shown(file)}"])


def _counted(records: Iterable[Record], progress: Progress | None, total: int = 0) -> Iterator[Record]:
    """The records, told of as they go by."""
    for done, record in enumerate(records, start=1):
        if progress is not None and done % _TOLD == 0:
            progress("records", done, total)
        yield record


def import_(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="CSV or CGATS.17 text.")],
    shelf: File = SHELF,
    date: Date = None,
    sd: Annotated[
        float, number(least=0.0, most=50.0, help="Standard deviation of L, a, b where the file gives none.")
    ] = 1.0,
    in_parts: Annotated[
        bool, typer.Option(help="Keep what was read before a stop or a wrong line; run it again to go on.")
    ] = False,
    as_json: Json = False,
) -> None:
    """Put the finishes of a CSV or CGATS.17 file on the shelf, all or none; what is there already is left out."""
    from finishmatch.exchange import shelf_records
    from finishmatch.shelf.store import open_shelf

    read = shelf_records.stream_records(file, shelf_records.Assumed(day_of(date), sd))
    numbers: list[int] = []
    with open_shelf(shelf, create=True) as opened, bar(quiet=as_json) as progress:
        counted = _Count(_counted(read, progress))
        try:
            if in_parts:
                while some := list(islice(counted, _PART)):
                    numbers += opened.add(some, checked=True)
            else:
                numbers = opened.add(counted, checked=True)
        except KeyboardInterrupt as stop:
            kept = f"{len(numbers)} were added" if in_parts else "nothing was added"
            raise Stopped("stopped", f"stopped; {kept}", "run it again to go on" if in_parts else None) from stop
    say(as_json, {"added": numbers, "known": counted.count - len(numbers)}, [added(numbers, counted.count)])


class _Count:
    """Records that are counted as they are taken."""

    def __init__(self, records: Iterator[Record]) -> None:
        self._records, self.count = records, 0

    def __iter__(self) -> Iterator[Record]:
        return self

    def __next__(self) -> Record:
        record = next(self._records)
        self.count += 1
        return record


def pairs(
    within: Annotated[float, number_argument(least=0.0, most=200, help="CIEDE2000 as photographed.")],
    file: Annotated[Path, typer.Option("--out", metavar="FILE.csv", help="Where to write them.")],
    shelf: File = SHELF,
    as_json: Json = False,
) -> None:
    """Write every two finishes on the shelf that are near each other, as a CSV of their numbers."""
    from finishmatch import disk
    from finishmatch.colour.near_pairs import near_pairs
    from finishmatch.results import csv_tables
    from finishmatch.shelf.store import open_shelf

    with open_shelf(shelf) as opened:
        numbers, lab = opened.colours()
    found = near_pairs(lab, within)
    columns = (numbers[found.first].tolist(), numbers[found.second].tolist(), found.de00.round(4).tolist())
    rows = ({"a": a, "b": b, "de00": de00} for a, b, de00 in zip(*columns, strict=True))
    disk.write_new(file, csv_tables.csv_text(("a", "b", "de00"), rows))
    say(as_json, {"pairs": len(found.first), "file": str(file)}, [f"{len(found.first)} pairs written to {shown(file)}"])
