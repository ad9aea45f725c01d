"""`finishmatch shelf open`: the counter's page."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import Annotated

import typer

from finishmatch.judge.tolerance import Tolerance
from finishmatch.verbs.options import Json
from finishmatch.verbs.output import print_json
from finishmatch.verbs.shelf.options import SHELF, Confidence, day_of
from finishmatch.verbs.values import number

_USUAL = Tolerance()


def open_(
    shelf: Annotated[Path, typer.Argument(metavar="SHELF", help="The shelf's file; a new one is made.")] = SHELF,
    tolerance: Annotated[
        float, number(least=0.01, most=100, help="CIEDE2000 within which two look alike.")
    ] = _USUAL.together,
    confidence: Confidence = _USUAL.confidence,
    browser: Annotated[bool, typer.Option(help="Open the page in the browser.")] = True,
    as_json: Json = False,
) -> None:
    """Open the shelf as a page: look through it, find what matches a photo, check deliveries in."""
    from finishmatch.counter.serve import serve

    def announce(address: str) -> None:
        if as_json:
            print_json({"address": address, "shelf": str(shelf)}, ascii_only=True, indent=None)
        else:
            typer.echo(f"The counter of {shelf}, for this machine only, good once (Ctrl+C stops it):\n{address}")
        if browser:
            import webbrowser

            webbrowser.open(address)

    try:
        serve(shelf, Tolerance(together=tolerance, confidence=confidence), partial(day_of, None), announce)
    except KeyboardInterrupt:
        typer.echo("Stopped; the shelf holds everything.", err=True)
