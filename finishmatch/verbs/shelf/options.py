"""Options that several verbs of the shelf share."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from finishmatch.errors import CommandError
from finishmatch.text import shown
from finishmatch.verbs.values import number

File = Annotated[Path, typer.Option("--shelf", metavar="FILE", help="The shelf's file.")]
Part = Annotated[str | None, typer.Option(help="Only parts of this name.")]
Maker = Annotated[str | None, typer.Option(help="Who made it.")]
Finish = Annotated[str | None, typer.Option(help="The finish name, as the label says it.")]
Date = Annotated[str | None, typer.Option(metavar="YYYY-MM-DD", help="The day it was measured; today when left out.")]
Confidence = Annotated[float, number(least=0.5, most=0.999, help="How sure a verdict must be.")]
SHELF = Path("finishes.shelf")


def day_of(date: str | None) -> str:
    """The day that was asked for, else today.

    Raises
    ------
    CommandError : bad_date.
    """
    import datetime

    from finishmatch.shelf.record import is_date

    if date is None:
        return datetime.date.today().isoformat()
    if not is_date(date):
        raise CommandError("bad_date", f'"{shown(date)}" is not a day')
    return date
