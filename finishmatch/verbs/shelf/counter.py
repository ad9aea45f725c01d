"""`finishmatch shelf open`: the counter's page."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import Annotated

import typer

from finishmatch.judge.tolerance import Tolerance
from finishmatch.verbs.options import Json
from finishmatch.verbs.output import print_json
from finishmatch.verbs.qr_code import tell_code
from finishmatch.verbs.shelf.options import SHELF, Confidence, day_of
from finishmatch.verbs.values import number

_USUAL = Tolerance()
MOST_DEVICES = 50


def open_(
    shelf: Annotated[Path, typer.Argument(metavar="SHELF", help="The shelf's file; a new one is made.")] = SHELF,
    tolerance: Annotated[
        float, number(least=0.01, most=100, help="CIEDE2000 within which two look alike.")
    ] = _USUAL.together,
    confidence: Confidence = _USUAL.confidence,
    devices: Annotated[
        int,
        typer.Option(min=0, max=MOST_DEVICES, help="Let so many devices on the same network in, each by a QR code."),
    ] = 0,
    browser: Annotated[bool, typer.Option(help="Open the page in the browser.")] = True,
    as_json: Json = False,
) -> None:
    """Open the shelf as a page: look through it, find what matches a photo, check deliveries in."""
    from finishmatch.counter.serve import serve
    from finishmatch.page.serve import Entrance, OtherDevices

    def announce(entrance: Entrance) -> None:
        if as_json:
            print_json({"address": entrance.address, "shelf": str(shelf)}, ascii_only=True, indent=None)
        else:
            typer.echo(
                f"The counter of {shelf}, for this machine only, good once (Ctrl+C stops it):\n{entrance.address}"
            )
        if browser:
            import webbrowser

            webbrowser.open(entrance.file.as_uri())

    tolerances, others = Tolerance(together=tolerance, confidence=confidence), OtherDevices(devices, tell_code)
    try:
        serve(shelf, tolerances, partial(day_of, None), announce, others if devices else None)
    except KeyboardInterrupt:
        typer.echo("Stopped; the shelf holds everything.", err=True)
