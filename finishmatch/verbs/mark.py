"""`finishmatch mark`: the marking page."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from finishmatch.errors import CommandError
from finishmatch.verbs.options import Json
from finishmatch.verbs.output import print_json


def mark(
    files: Annotated[
        list[Path], typer.Argument(metavar="BUILD.toml|PHOTO...", help="A build file, or photos to start one.")
    ],
    out: Annotated[
        Path | None, typer.Option(help="Where to start the build file; beside the first photo when left out.")
    ] = None,
    browser: Annotated[bool, typer.Option(help="Open the page in the browser.")] = True,
    as_json: Json = False,
) -> None:
    """Outline parts in the browser and see the verdict at once."""
    from finishmatch.page.serve import serve, start_build

    build = _build_file(files, out)
    if build not in files:
        start_build(files, build)

    def announce(address: str) -> None:
        _tell(address, build, as_json)
        if browser:
            import webbrowser

            webbrowser.open(address)

    try:
        serve(build, announce)
    except KeyboardInterrupt:
        typer.echo("Stopped; the build file holds every mark.", err=True)


def _build_file(files: list[Path], out: Path | None) -> Path:
    builds = [file for file in files if file.suffix.lower() == ".toml"]
    if not builds:
        return out if out is not None else files[0].parent / "build.toml"
    if len(files) > 1 or out is not None:
        raise CommandError("command_line", "mark takes one build file, or photos only", "add photos in the page")
    return builds[0]


def _tell(address: str, build: Path, as_json: bool) -> None:
    if as_json:
        print_json({"address": address, "build_file": str(build)}, ascii_only=True, indent=None)
    else:
        typer.echo(f"Marking page for {build}, for this machine only, good once (Ctrl+C stops it):\n{address}")
