"""`finishmatch audit`: a build measured and judged, the report and the tables written."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from finishmatch import loading
from finishmatch.verbs.answer import answer
from finishmatch.verbs.options import USUAL_MEGABYTES, USUAL_MEGAPIXELS, BuildFile, Json, Megabytes, Megapixels
from finishmatch.verbs.progress_bar import bar

if TYPE_CHECKING:
    from finishmatch.results.results import Results


def audit(
    build: BuildFile,
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
    """Measure a build, compare all parts, write the report. Where nothing can be measured it says why (exit status 4)."""
    loading.decode_soon()
    from finishmatch.audit import audit_file
    from finishmatch.photo.limits import limits

    with bar(quiet) as progress:
        found = audit_file(build, progress, limits(max_megapixels, max_megabytes))

    from finishmatch import disk
    from finishmatch.report.page import render
    from finishmatch.report.summary import render_summary
    from finishmatch.results import csv_tables, json_text

    results = found.results
    text = json_text.to_json(results)
    disk.write_whole(
        out,
        {
            "results.json": text.encode(),  # first: it is never missing
            "report.html": render(results, found.exhibits, full).encode(),
            "summary.png": render_summary(results, found.exhibits),
            "parts.csv": csv_tables.parts_csv(results).encode(),
            "differences.csv": csv_tables.differences_csv(results).encode(),
        },
    )
    found.require_measured()
    if as_json:
        print(text, end="")
    elif not quiet:
        for line in answer(results):
            typer.echo(line)
        typer.echo(f"Report: {out / 'report.html'}")
    return int(strict and _a_pair_differs(results))


def _a_pair_differs(results: Results) -> bool:
    """Whether two parts of one family differ of which none is neutral: a neutral part is never a mismatch."""
    from finishmatch.results.results import same_family

    counted = same_family(results.families, results.differences)
    return any(pair.verdict == "differs" and not pair.has("neutral_part") for pair in counted)
