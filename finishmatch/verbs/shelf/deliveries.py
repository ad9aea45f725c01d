"""How deliveries of a finish differ, and whether the newest is like the earlier ones."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from finishmatch.text import shown
from finishmatch.verbs.options import Json
from finishmatch.verbs.output import say
from finishmatch.verbs.shelf.lines import rounded
from finishmatch.verbs.shelf.options import SHELF, File, Finish, Maker
from finishmatch.verbs.values import number

if TYPE_CHECKING:
    from finishmatch.results.results import Drift


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
    say(as_json, {"drifts": [rounded(asdict(drift)) for drift in drifts]}, [report.summary(drifts), *lines])


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
