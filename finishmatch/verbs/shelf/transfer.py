"""The shelf to other programs and back."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from finishmatch.errors import CommandError
from finishmatch.text import shown
from finishmatch.verbs.options import Json
from finishmatch.verbs.output import say
from finishmatch.verbs.shelf.lines import added
from finishmatch.verbs.shelf.options import SHELF, Date, File, day_of
from finishmatch.verbs.values import number, number_argument


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

    writers = {".csv": shelf_records.write_csv, ".txt": shelf_records.write_cgats}
    ending = file.suffix.lower()
    if ending not in writers or (for_people and ending != ".csv"):
        raise CommandError("unknown_ending", f"{shown(file)} should end in .csv{'' if for_people else ' or .txt'}")
    write = shelf_records.write_table if for_people else writers[ending]
    with open_shelf(shelf) as opened:
        records = list(opened.records())
    disk.write_new(file, write(records))
    say(as_json, {"written": len(records), "file": str(file)}, [f"{len(records)} written to {shown(file)}"])


def import_(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="CSV or CGATS.17 text.")],
    shelf: File = SHELF,
    date: Date = None,
    sd: Annotated[
        float, number(least=0.0, most=50.0, help="Standard deviation of L, a, b where the file gives none.")
    ] = 1.0,
    as_json: Json = False,
) -> None:
    """Put the finishes of a CSV or CGATS.17 file on the shelf; what is there already is left out."""
    from finishmatch.exchange import shelf_records
    from finishmatch.shelf.store import open_shelf

    records = shelf_records.read_records(file, shelf_records.Assumed(day_of(date), sd))
    with open_shelf(shelf, create=True) as opened:
        numbers = opened.add(records)
    say(as_json, {"added": numbers, "known": len(records) - len(numbers)}, [added(numbers, len(records))])


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
