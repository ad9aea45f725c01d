"""The command line: parse, one library call, print."""

from __future__ import annotations

import gc
import json
import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from finishmatch import __version__
from finishmatch.errors import CODES, CommandError, FinishmatchError, Stopped
from finishmatch.verbs import card, shelf, values
from finishmatch.verbs.batch import batch
from finishmatch.verbs.choose import choose
from finishmatch.verbs.mark import mark
from finishmatch.verbs.progress import bar

if TYPE_CHECKING:
    from finishmatch.build.build import Build, PartMark
    from finishmatch.results.results import Results

HELP = """Says from photographs which parts sold under one finish name will look alike and which will stand out.

Photograph the parts beside a reference card, say in a build file where they lie, and audit it:

\b
    finishmatch mark bench.jpg
        outline the parts in the browser; keeps a build file
    finishmatch new bench.jpg --out build.toml
        or write the build file by hand
    finishmatch audit build.toml --out result
        measure, compare, and write the report

A camera is no spectrophotometer: read the report's notes on how sure it is. Colour never outranks a part's rating."""

# typer's own exceptions descend from its parser's; this is their common base, wherever the parser lives.
_ParserError: Any = typer.BadParameter.__mro__[2]

app = typer.Typer(
    name="finishmatch",
    help=HELP,
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)

Json = Annotated[bool, typer.Option("--json", help="Print one JSON document on stdout, also for errors.")]
BuildFile = Annotated[Path, typer.Argument(metavar="BUILD.toml", help="The build file.")]
Megapixels = Annotated[int, typer.Option(min=1, help="Refuse photos of more million pixels.")]
Megabytes = Annotated[int, typer.Option(min=1, help="Refuse photos whose files are larger.")]


def main() -> None:
    """The program: exit status and one line on stderr as the contract fixes them."""
    # Its matrices are small: threads that wait for one another would double the time. Before numpy is loaded.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    # For the process that decodes: half of its time would go to being given a picture's memory by 4 KiB.
    os.environ.setdefault("GLIBC_TUNABLES", "glibc.malloc.hugetlb=1")
    # Its values hold no cycles: looking for some, while modules load and once more at the end, is a tenth of the time.
    gc.set_threshold(200_000)
    # A thread that takes a picture over asks for its turn at every megabyte, while the main one loads modules.
    sys.setswitchinterval(0.0005)
    try:
        status = app(standalone_mode=False) or 0
        if status == Stopped.exit_status:  # an interrupt, which the parser turns into a status
            raise Stopped("stopped", "stopped, nothing was written")
    except FinishmatchError as error:
        status = _fail(error.code, str(error), error.exit_status)
    except _ParserError as error:
        status = _fail("command_line", f"{error.format_message().rstrip('.')}: {CODES['command_line'].mend}", 2)
    except (KeyboardInterrupt, typer.Abort):
        status = _fail("stopped", f"stopped, nothing was written: {CODES['stopped'].mend}", Stopped.exit_status)
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        status = 0
    except Exception as error:  # our own bug: one line, no traceback
        where = f"{type(error).__name__}: {error}" if str(error) else type(error).__name__
        status = _fail("internal", f"{where}: {CODES['internal'].mend}", 70)
    gc.freeze()
    sys.exit(int(status))


def _fail(code: str, text: str, status: int) -> int:
    line = _printable(text)
    print(f"finishmatch: {line}", file=sys.stderr)
    if "--json" in sys.argv[1:]:
        _print_json({"error": {"code": code, "text": line}})
    return status


def _printable(text: str) -> str:
    """One line without control characters: names come from files, and a terminal obeys what it is sent."""
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())


def _print_json(document: Any) -> None:
    print(json.dumps(document, ensure_ascii=False, allow_nan=False, indent=1))


@app.callback(invoke_without_command=True)
def _version(version: Annotated[bool, typer.Option("--version", help="Print the version.")] = False) -> None:
    if version:
        print(__version__)
        raise typer.Exit


@app.command()
def audit(
    build: BuildFile,
    out: Annotated[Path, typer.Option(help="Folder for report.html, results.json, parts.csv, differences.csv.")],
    strict: Annotated[bool, typer.Option(help="Exit with 1 when a pair of parts differs.")] = False,
    max_megapixels: Megapixels = 100,
    max_megabytes: Megabytes = 200,
    as_json: Json = False,
) -> int:
    """Measure a build, compare all parts, write the report."""
    from finishmatch.audit import audit_file
    from finishmatch.photo.limits import limits

    with bar() as progress:
        found = audit_file(build, progress, limits(max_megapixels, max_megabytes), _load_writers)

    from finishmatch import disk
    from finishmatch.report.page import render
    from finishmatch.results import csv_tables, json_text

    results = found.results
    text = json_text.to_json(results)
    disk.write_whole(
        out,
        {
            "report.html": render(results, found.exhibits).encode(),
            "results.json": text.encode(),
            "parts.csv": csv_tables.parts_csv(results).encode(),
            "differences.csv": csv_tables.differences_csv(results).encode(),
        },
    )
    if as_json:
        print(text, end="")
    else:
        _print_advice(results)
        print(f"Report: {out / 'report.html'}")
    return int(strict and _a_pair_differs(results))


def _load_writers() -> None:
    """What :func:`audit` writes with."""
    from finishmatch.report import page
    from finishmatch.results import csv_tables, json_text  # noqa: F401

    page.load()


def _a_pair_differs(results: Results) -> bool:
    """Whether two parts differ of which none is neutral: a neutral part is never a mismatch."""
    return any(pair.verdict == "differs" and not pair.has("neutral_part") for pair in results.differences)


def _print_advice(results: Results) -> None:
    for advice in results.advice:
        print(_printable(advice.text))


@app.command()
def measure(
    photo: Annotated[Path, typer.Argument(help="A photo.")],
    card: Annotated[str, typer.Option(metavar="KIND", help="chart24, sheet, grey18, white, none, or a card file.")],
    part: Annotated[list[str], typer.Option(metavar="NAME=x,y,w,h", help="A part and its box in pixels; repeat it.")],
    corners: Annotated[
        str | None, typer.Option(metavar='"x,y x,y x,y x,y"', help="The card's corners; located when left out.")
    ] = None,
    edition: Annotated[str | None, typer.Option(help="Edition of the chart; see `finishmatch card`.")] = None,
    layout: Annotated[str | None, typer.Option(metavar="COLUMNSxROWS", help="Grid of a card file.")] = None,
    max_megapixels: Megapixels = 100,
    max_megabytes: Megabytes = 200,
    as_json: Json = False,
) -> None:
    """Measure and compare parts in one photo, no build file."""
    from finishmatch.audit import audit_build
    from finishmatch.photo.limits import limits
    from finishmatch.results import json_text

    build = _one_photo(photo, card, part, corners, edition, layout)
    results = audit_build(build, limits=limits(max_megapixels, max_megabytes)).results
    if as_json:
        whole = json_text.document(results)
        _print_json({key: whole[key] for key in ("photos", "parts", "differences")})
    else:
        _print_measured(results)


def _one_photo(
    photo: Path, kind: str, parts: list[str], corners: str | None, edition: str | None, layout: str | None
) -> Build:
    from finishmatch.build.build import Build, CardEntry, PhotoEntry
    from finishmatch.card import kinds
    from finishmatch.judge.facts import PartFacts, Tolerance

    named = kinds.named(kind)
    if not named and layout is None:
        raise CommandError("unknown_card", f'--card "{kind}" is no known card, and a card file needs --layout')
    entry = CardEntry(
        kind=named or kinds.FILE,
        corners=None if corners is None else values.four_corners(corners),
        edition=edition,
        path=None if named else Path(kind),
        layout=None if layout is None else values.layout(layout),
    )
    marks = tuple(_part_mark(text) for text in parts)
    names = [mark.name for mark in marks]
    if len(set(names)) < len(names):
        raise CommandError("bad_part", "two parts have the same name", "give each part its own name")
    entered = PhotoEntry(photo.name, photo, entry, None, None, marks)
    return Build(photo.name, None, Tolerance(), (entered,), tuple(PartFacts(name) for name in names))


def _part_mark(text: str) -> PartMark:
    from finishmatch.build.build import PartMark
    from finishmatch.photo.marks import Box

    name, _, box = text.rpartition("=")
    numbers = values.numbers(box, 4)
    if not name.strip() or numbers is None or numbers[2] <= 0 or numbers[3] <= 0:
        raise CommandError("bad_part", f'--part "{text}"')
    return PartMark(name, Box(*numbers))


def _print_measured(results: Results) -> None:
    for photo in results.photos:
        fit = photo.correction
        if fit and fit.cv_mean is not None:
            print(
                f"{_printable(photo.file)}: {fit.method}, a patch left out is missed by {fit.cv_mean:.1f} CIEDE2000 in the mean"
            )
        for note in photo.notes:
            print(f"  note {note.code}: {_printable(note.text)}")
    for part in results.parts:
        colour = "L* {:.1f}  a* {:.1f}  b* {:.1f}".format(*part.lab) if part.lab else "refused"
        print(f"{_printable(part.name)}: {colour}")
        for note in part.notes:
            print(f"  note {note.code}: {_printable(note.text)}")
    for pair in results.differences:
        level = pair.de00_level
        print(
            f"{pair.verdict}: {_printable(pair.words)} ({level.value:.1f}, likely {level.low:.1f} to {level.high:.1f})"
        )


@app.command(context_settings={"ignore_unknown_options": True})
def difference(
    a: Annotated[str, typer.Argument(metavar='"L,a,b"', help="CIELAB of one colour.")],
    b: Annotated[str, typer.Argument(metavar='"L,a,b"', help="CIELAB of the other.")],
    as_json: Json = False,
) -> None:
    """Print the CIEDE2000 of two CIELAB colours."""
    from finishmatch.colour.ciede2000 import ciede2000

    one, two = values.numbers(a, 3), values.numbers(b, 3)
    if one is None or two is None:
        raise CommandError("bad_colour", f'"{b if one else a}" is not a colour')
    value = float(ciede2000(one, two))
    if as_json:
        _print_json({"de00": round(value, 4)})
    else:
        print(f"{value:.4f}")


@app.command()
def new(
    photos: Annotated[list[Path], typer.Argument(metavar="PHOTO...", help="The photos of the build.")],
    out: Annotated[Path | None, typer.Option(help="Where to write it; stdout when left out.")] = None,
    as_json: Json = False,
) -> None:
    """Write a commented build file to start from."""
    from finishmatch import disk
    from finishmatch.build import build
    from finishmatch.photo.process.parent import DecodingProcess

    with DecodingProcess() as decoding:
        for photo in photos:
            decoding.open_photo(photo)
    text = build.template(photos, out.parent if out else Path())
    if out:
        disk.write_new(out, text)
    if as_json:
        _print_json({"build_file": text})
    else:
        print(f"Build file: {out}" if out else text, end="\n" if out else "")


@app.command()
def explain(
    code: Annotated[
        str | None, typer.Argument(help="A code from a note or an error; all are listed when left out.")
    ] = None,
    as_json: Json = False,
) -> None:
    """Say what a note or error means and how to mend it."""
    if code is not None and code not in CODES:
        raise CommandError("unknown_code", f'no code "{code}"')
    wanted = CODES if code is None else {code: CODES[code]}
    if as_json:
        _print_json({key: {"kind": row.kind, "meaning": row.meaning, "mend": row.mend} for key, row in wanted.items()})
    elif code is None:
        for key, row in wanted.items():
            print(f"{key:24}{row.kind:8}{row.meaning}")
    else:
        print(CODES[code].meaning)
        if CODES[code].mend:
            print(f"To mend it: {CODES[code].mend}.")


# The verbs of other files, after the ones above: help lists them in this order.
app.add_typer(card.app, name="card")
app.command()(choose)
app.command()(mark)
app.command()(batch)
app.add_typer(shelf.app, name="shelf")
