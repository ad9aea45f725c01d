"""`finishmatch shelf`: a shop's store of measured finishes."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from finishmatch.errors import CommandError
from finishmatch.judge.facts import Tolerance
from finishmatch.text import shown
from finishmatch.verbs.options import Json
from finishmatch.verbs.output import say
from finishmatch.verbs.values import number, number_argument

if TYPE_CHECKING:
    from finishmatch.judge.facts import PartFacts
    from finishmatch.results.results import Difference, Drift, Results
    from finishmatch.shelf.record import Record

app = typer.Typer(help="Keep measured finishes, find one that matches, watch deliveries drift.", no_args_is_help=True)

File = Annotated[Path, typer.Option("--shelf", metavar="FILE", help="The shelf's file.")]
Maker = Annotated[str | None, typer.Option(help="Who made it.")]
Finish = Annotated[str | None, typer.Option(help="The finish name, as the label says it.")]
Date = Annotated[str | None, typer.Option(metavar="YYYY-MM-DD", help="The day it was measured; today when left out.")]
Confidence = Annotated[float, number(least=0.5, most=0.999, help="How sure a verdict must be.")]
SHELF = Path("finishes.shelf")
_USUAL = Tolerance()
MOST_RESULTS_BYTES = 200_000_000


@app.command()
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

    day = _day(date)
    results, facts = _results(source)
    if finish is not None:
        results = structs.replace(results, build=structs.replace(results.build, finish=finish))
    records = from_results(results, day, facts, PartFacts("", maker=maker, batch=batch))
    with open_shelf(shelf, create=True) as opened:
        numbers = opened.add(records)
    say(as_json, {"added": numbers, "known": len(records) - len(numbers)}, [_added(numbers, len(records))])


def _results(source: Path) -> tuple[Results, dict[str, PartFacts]]:
    """Results and the facts about their parts; a build is audited, and read back as its results.json would be."""
    from finishmatch.disk import read_whole
    from finishmatch.errors import InputError
    from finishmatch.results import json_text

    if source.suffix.lower() == ".toml":
        from finishmatch.audit import audit_build
        from finishmatch.build import build

        read = build.read(source)
        facts = {part.name: part for part in read.parts}
        return json_text.from_json(json_text.to_json(audit_build(read).require_measured().results)), facts
    try:
        return json_text.from_json(read_whole(source, MOST_RESULTS_BYTES).decode("utf-8")), {}
    except UnicodeDecodeError as error:
        raise InputError("results_invalid", f"{shown(source)} is not UTF-8 text") from error


def _added(numbers: Sequence[int], given: int) -> str:
    known = "" if given == len(numbers) else f"; {given - len(numbers)} were there already"
    which = f" (no. {numbers[0]} to {numbers[-1]})" if numbers else ""
    return f"{len(numbers)} added{which}{known}"


@app.command("list")
def list_(
    shelf: File = SHELF,
    part: Annotated[str | None, typer.Option(help="Only parts of this name.")] = None,
    maker: Maker = None,
    finish: Finish = None,
    as_json: Json = False,
) -> None:
    """List the finishes on the shelf."""
    from finishmatch.shelf.store import open_shelf

    with open_shelf(shelf) as opened:
        records = list(opened.records(part, maker, finish))
    say(as_json, {"records": [_plain(record) for record in records]}, [_line(record) for record in records])


@app.command(context_settings={"ignore_unknown_options": True})
def find(
    what: Annotated[str, typer.Argument(metavar='"L,a,b"|PART', help="A CIELAB colour, or the name of a part.")],
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
        wanted = _wanted(what, results, list(opened.records(part=what)) if results is None else [])
        L, a, b = (float(value) for value in wanted.colour.lab_d50)
        without = () if wanted.number is None else (wanted.number,)
        found = [opened.record(number) for number, _ in opened.nearest((L, a, b), most, within, without)]
    one = (wanted.colour, sighting(wanted, wanted.colour.name))
    others = [(replace(record.colour, name=_named(record)), sighting(record, _named(record))) for record in found]
    judged = against(one, others, Tolerance(together=tolerance, confidence=confidence))
    hits = sorted(
        zip(found, judged, strict=True), key=lambda hit: (-hit[1].p_within, hit[1].de00_level.value, hit[0].number)
    )
    lines = [_hit_line(difference, record) for record, difference in hits] or [f"nothing within {within:g} CIEDE2000"]
    say(as_json, {"of": wanted.colour.name, "found": [_hit(*hit) for hit in hits]}, lines)


def _wanted(what: str, source: Path | None, on_shelf: Sequence[Record]) -> Record:
    """What is looked for: a part of ``source``, a part on the shelf (the newest of that name), or a colour."""
    from finishmatch.errors import InputError
    from finishmatch.judge.facts import PartFacts
    from finishmatch.shelf.record import from_results

    if source is not None:
        fresh = from_results(_results(source)[0], "2000-01-01", {}, PartFacts(""))  # the day is not looked at
        for record in fresh:
            if record.colour.name == what:
                return record
        raise InputError("record_missing", f'{shown(source)} has no measured part "{shown(what)}"')
    if on_shelf:
        return max(on_shelf, key=lambda record: (record.date, record.number))
    colour = _colour(what)
    if colour is None:
        raise InputError("record_missing", f'"{shown(what)}" is neither a part on the shelf nor a colour "L,a,b"')
    return colour


def _colour(text: str) -> Record | None:
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


def _named(record: Record) -> str:
    """The part's name with its number: the shelf may hold a part several times."""
    return f"{record.colour.name} (no. {record.number})"


@app.command()
def drift(
    shelf: File = SHELF,
    maker: Maker = None,
    finish: Finish = None,
    out: Annotated[Path | None, typer.Option(metavar="FOLDER", help="Where to write drift.html.")] = None,
    false_alarm: Annotated[
        float, number(least=0.001, most=0.3, help="How often an unchanged delivery may be called outside.")
    ] = 0.05,
    as_json: Json = False,
) -> None:
    """Say how deliveries of a finish differ within a batch, between batches and over time."""
    from dataclasses import asdict

    from finishmatch.report import drift as report
    from finishmatch.version import __version__

    drifts = _drifts(shelf, maker, finish, false_alarm)
    if out is not None:
        from finishmatch import disk

        disk.write_whole(out, {"drift.html": report.render_drift(drifts, __version__).encode()})
    lines = [f"{shown(report.name_of(drift))}: {shown(report.words(drift), 400)}" for drift in drifts]
    lines += [] if out is None else [f"Page: {out / 'drift.html'}"]
    say(as_json, {"drifts": [_rounded(asdict(drift)) for drift in drifts]}, [report.summary(drifts), *lines])


def _drifts(shelf: Path, maker: str | None, finish: str | None, false_alarm: float) -> list[Drift]:
    from finishmatch.judge.drift import Measured
    from finishmatch.judge.drift import drift as drift_of
    from finishmatch.shelf.store import open_shelf

    found = []
    with open_shelf(shelf) as opened:
        for kind in opened.kinds():
            if maker not in (None, kind[0]) or finish not in (None, kind[1]):
                continue
            records = list(opened.of_kind(*kind))
            measured = [Measured(record.colour, record.batch or record.date, record.date) for record in records]
            found.append(drift_of(*kind, measured, false_alarm))
    return found


@app.command()
def export(
    file: Annotated[Path, typer.Argument(metavar="FILE", help=".csv with everything, or .txt as CGATS.17 text.")],
    shelf: File = SHELF,
    as_json: Json = False,
) -> None:
    """Write the shelf as CSV or CGATS.17 text; the file must not exist yet."""
    from finishmatch import disk
    from finishmatch.exchange import shelf_records
    from finishmatch.shelf.store import open_shelf

    write = shelf_records.write_csv if file.suffix.lower() == ".csv" else shelf_records.write_cgats
    with open_shelf(shelf) as opened:
        records = list(opened.records())
    disk.write_new(file, write(records))
    say(as_json, {"written": len(records), "file": str(file)}, [f"{len(records)} written to {shown(file)}"])


@app.command("import")
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

    records = shelf_records.read_records(file, shelf_records.Assumed(_day(date), sd))
    with open_shelf(shelf, create=True) as opened:
        numbers = opened.add(records)
    say(as_json, {"added": numbers, "known": len(records) - len(numbers)}, [_added(numbers, len(records))])


@app.command()
def remove(
    numbers: Annotated[
        list[int],
        number_argument(least=1, most=2**63 - 1, metavar="NUMBER...", help="Numbers, as `list` shows them."),
    ],
    shelf: File = SHELF,
    as_json: Json = False,
) -> None:
    """Take finishes off the shelf."""
    from finishmatch.shelf.store import open_shelf

    with open_shelf(shelf) as opened:
        opened.remove(list(dict.fromkeys(numbers)))
    say(as_json, {"removed": numbers}, [f"{len(set(numbers))} removed"])


@app.command()
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


def _day(date: str | None) -> str:
    import datetime

    from finishmatch.shelf.record import is_date

    if date is None:
        return datetime.date.today().isoformat()
    if not is_date(date):
        raise CommandError("bad_date", f'"{shown(date)}" is not a day')
    return date


def _plain(record: Record) -> dict[str, Any]:
    colour, origin = record.colour, record.origin
    return {
        "number": record.number,
        "part": colour.name,
        **{key: getattr(record, key) for key in ("maker", "finish", "batch", "date")},
        "lab": [round(float(value), 4) for value in colour.lab_d50],
        "level_sd": round(float(colour.level_sd), 4),
        **{key: getattr(origin, key) for key in ("lights", "card", "photos", "software")},
    }


def _line(record: Record) -> str:
    L, a, b = record.colour.lab_d50
    facts = ", ".join(shown(fact) for fact in (record.maker, record.finish, record.batch) if fact)
    return (
        f"{record.number:6}  {record.date}  {L:5.1f} {a:6.1f} {b:6.1f}  {shown(record.colour.name)}  {facts}".rstrip()
    )


def _hit(record: Record, difference: Difference) -> dict[str, Any]:
    from finishmatch.results.json_text import plain_rows

    (judged,) = plain_rows([difference])
    left_out = ("a", "b", "relation", "dL", "dC", "dH")
    return {**_plain(record), **{key: value for key, value in judged.items() if key not in left_out}}


def _hit_line(difference: Difference, record: Record) -> str:
    facts = ", ".join(shown(fact) for fact in (record.maker, record.finish, record.batch, record.date) if fact)
    level = difference.de00_level
    sure = f"{difference.p_within:4.0%} within {difference.tolerance:g}"
    return (
        f"{difference.verdict:8}{sure}  {shown(difference.words, 400)}"
        f" ({level.value:.1f}, likely {level.low:.1f} to {level.high:.1f}; {facts})"
    )


def _rounded(value: Any) -> Any:
    """Numbers to four decimals, as results.json has them."""
    if isinstance(value, dict):
        return {key: _rounded(inner) for key, inner in value.items()}
    if isinstance(value, list | tuple):
        return [_rounded(inner) for inner in value]
    return round(value, 4) if isinstance(value, float) else value
