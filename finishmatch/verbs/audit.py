"""`finishmatch audit`: a build measured and judged, the report and the tables written."""

from __future__ import annotations

import shlex
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from finishmatch import loading
from finishmatch.card.kinds import NO_CARD
from finishmatch.errors import CommandError
from finishmatch.progress import begun
from finishmatch.text import listed
from finishmatch.verbs.answer import answer
from finishmatch.verbs.options import USUAL_MEGABYTES, USUAL_MEGAPIXELS, Json, Megabytes, Megapixels
from finishmatch.verbs.output import printable
from finishmatch.verbs.progress_bar import bar

if TYPE_CHECKING:
    from finishmatch.audit import Audit
    from finishmatch.photo.limits import Limits
    from finishmatch.progress import Progress
    from finishmatch.results.results import Results


def audit(
    given: Annotated[list[Path], typer.Argument(metavar="BUILD.toml|PHOTO...", help="A build file, or photos alone.")],
    out: Annotated[
        Path, typer.Option(help="Folder for report.html, summary.png, results.json, parts.csv, differences.csv.")
    ],
    full: Annotated[
        bool, typer.Option("--full", help="A report with everything unfolded, and an appendix in print.")
    ] = False,
    quiet: Annotated[bool, typer.Option("--quiet", help="Print nothing but errors.")] = False,
    strict: Annotated[bool, typer.Option(help="Exit with 1 when a pair of parts differs.")] = False,
    max_megapixels: Megapixels = USUAL_MEGAPIXELS,
    max_megabytes: Megabytes = USUAL_MEGABYTES,
    as_json: Json = False,
) -> int:
    """Measure a build, compare all parts, write the report. Where nothing can be measured it says why (exit status 4).

    Of photos alone, cards and parts are found, and the answer says what only a person can tell.
    """
    loading.decode_soon()
    from finishmatch import disk
    from finishmatch.photo.limits import limits

    with bar(quiet) as progress:
        found, missing = _audited(given, progress, limits(max_megapixels, max_megabytes))
        files = _files(found, full, progress)
    disk.write_whole(out, files)
    results = found.results
    found.require_measured()
    if as_json:
        print(files["results.json"].decode(), end="")
    elif not quiet:
        for line in answer(results):
            typer.echo(line)
        for line in missing:
            typer.echo(line)
        typer.echo(f"Report: {out / 'report.html'}")
    return int(strict and _a_pair_differs(results))


def _files(found: Audit, full: bool, progress: Progress | None) -> dict[str, bytes]:
    """The files of an audit; what other programs read comes first, so that it is never missing."""
    from finishmatch.report.page import render
    from finishmatch.report.summary import render_summary
    from finishmatch.results import csv_tables, json_text

    begun(progress, "writing the tables")
    tables = {
        "results.json": json_text.to_json(found.results).encode(),
        "parts.csv": csv_tables.parts_csv(found.results).encode(),
        "differences.csv": csv_tables.differences_csv(found.results).encode(),
    }
    begun(progress, "drawing the report")
    return tables | {
        "report.html": render(found.results, found.exhibits, full).encode(),
        "summary.png": render_summary(found.results, found.exhibits),
    }


def _audited(given: list[Path], progress: Progress | None, limits: Limits) -> tuple[Audit, tuple[str, ...]]:
    """The audit, and what is missing where there is no build file."""
    from finishmatch.build.build import is_photo

    photos = [is_photo(path) for path in given]
    if photos == [False]:
        from finishmatch.audit import audit_file

        return audit_file(given[0], progress, limits), ()
    if not all(photos):
        other = given[photos.index(False)]
        text = f"{printable(str(other))} is no photo, and a build file is audited by itself"
        raise CommandError("command_line", text, "give one build file, or photos alone")
    from finishmatch.unmarked import audit_photos

    found = audit_photos(given, progress, limits)
    return found, tuple(_missing(found.results, given))


def _missing(results: Results, photos: list[Path]) -> Iterator[str]:
    """What only a person can tell."""
    bare = [photo.file for photo in results.photos if photo.correction is None or photo.card.kind == NO_CARD]
    if bare:
        yield f"Missing: a card in {listed([printable(file) for file in bare])}; colours of different photos cannot be compared closely."
    yield "Missing: a look at the outlines, the parts' names, what their labels say, what is owned and what it costs."
    yield f"Next: finishmatch mark {' '.join(printable(shlex.quote(str(photo))) for photo in photos)}"


def _a_pair_differs(results: Results) -> bool:
    """Whether two parts of one family differ of which none is neutral: a neutral part is never a mismatch."""
    from finishmatch.results.results import same_family

    counted = same_family(results.families, results.differences)
    return any(pair.verdict == "differs" and not pair.has("neutral_part") for pair in counted)
