"""`finishmatch batch`: many photos at once."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from finishmatch.errors import NothingMeasured, Stopped
from finishmatch.text import shown
from finishmatch.verbs.options import Json
from finishmatch.verbs.output import print_json
from finishmatch.verbs.progress_bar import bar
from finishmatch.verbs.values import number

if TYPE_CHECKING:
    from finishmatch.batch import Done


def batch(
    source: Annotated[Path, typer.Argument(metavar="FOLDER|LIST", help="A folder, or a text file with a path a line.")],
    out: Annotated[
        Path, typer.Option(help="Folder for NAME.json of each photo, batch.csv, contact-sheet.html and the journal.")
    ],
    template: Annotated[
        Path | None,
        typer.Option(
            metavar="BUILD.toml",
            help="A build of one photo whose marks are laid on all, for a fixed stand; cards and parts are found when left out.",
        ),
    ] = None,
    jobs: Annotated[int, number(least=1, most=512, help="Photos measured at once on this machine.")] = 1,
    scheduler: Annotated[
        str | None, typer.Option(metavar="ADDRESS", help="A Dask cluster that you trust and that sees the same files.")
    ] = None,
    strict: Annotated[bool, typer.Option(help="Exit with 1 when something failed.")] = False,
    as_json: Json = False,
) -> int:
    """Measure many photos; run it again to go on after a stop."""
    import datetime
    import time

    from finishmatch.batch import CONTACT_SHEET, SUMMARY, plan, run

    begin = time.monotonic()
    planned = plan(source, template)
    try:
        with bar() as progress:
            done = run(planned, out, jobs, scheduler, progress)
    except KeyboardInterrupt as stop:
        raise Stopped("stopped", f"stopped; what is done is in {shown(out)}", "run it again to go on") from stop
    failed = [one for one in done if one.code is not None]
    if failed and len(failed) == len(done):
        raise NothingMeasured("batch_failed", f"{len(failed)} of {len(done)} failed; {shown(out / SUMMARY)}")
    took = datetime.timedelta(seconds=round(time.monotonic() - begin))
    _tell(done, failed, f"in {took}: {shown(out / SUMMARY)}, {shown(out / CONTACT_SHEET)}", as_json)
    return int(strict and bool(failed))


def _tell(done: Sequence[Done], failed: Sequence[Done], where: str, as_json: bool) -> None:
    if as_json:
        rows = [{"name": one.name, "code": one.code, "text": one.text} for one in failed]
        print_json({"measured": len(done) - len(failed), "failed": rows}, ascii_only=True)
        return
    for one in failed:
        typer.echo(f"failed: {shown(one.name)}: {shown(one.text, 300)}")
    typer.echo(f"{len(done) - len(failed)} measured, {len(failed)} failed {where}")
