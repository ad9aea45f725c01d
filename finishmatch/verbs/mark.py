"""`finishmatch mark`: the marking page."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from finishmatch.disk import require_file
from finishmatch.errors import CommandError
from finishmatch.verbs.options import Json
from finishmatch.verbs.output import print_json
from finishmatch.verbs.qr_code import tell_code


def mark(
    files: Annotated[
        list[Path] | None,
        typer.Argument(
            metavar="[FOLDER|BUILD.toml|PHOTO...]",
            help="A build file, photos to start one, or a folder to begin in; the present folder when left out.",
        ),
    ] = None,
    out: Annotated[
        Path | None, typer.Option(help="Where to start the build file; beside the first photo when left out.")
    ] = None,
    browser: Annotated[bool, typer.Option(help="Open the page in the browser.")] = True,
    phone: Annotated[
        bool, typer.Option("--phone", help="Let one phone on the same network in, by a QR code; see SECURITY.md.")
    ] = False,
    as_json: Json = False,
) -> None:
    """Outline parts in the browser and see the verdict at once."""
    from finishmatch.page.serve import Entrance, OtherDevices, serve, start_build

    build = _build_file(files or [Path()], out)
    if files and build not in files and not files[0].is_dir():
        start_build(files, build)

    def announce(entrance: Entrance) -> None:
        _tell(entrance.address, build, as_json)
        if browser:
            import webbrowser

            webbrowser.open(entrance.file.as_uri())

    try:
        serve(build, announce, OtherDevices(1, tell_code) if phone else None)
    except KeyboardInterrupt:
        typer.echo("Stopped; the build file holds every mark.", err=True)


def _build_file(files: list[Path], out: Path | None) -> Path:
    from finishmatch.page.folder import fresh_build

    builds = [file for file in files if file.suffix.lower() == ".toml" and not file.is_dir()]
    folders = [file for file in files if file.is_dir()]
    if folders or builds:
        if len(files) > 1 or (out is not None and builds):
            raise CommandError("command_line", "mark takes one folder, one build file, or photos only", "see --help")
        if builds:
            require_file(builds[0])
            return builds[0]
        return out if out is not None else fresh_build(folders[0])
    return out if out is not None else files[0].parent / "build.toml"


def _tell(address: str, build: Path, as_json: bool) -> None:
    if as_json:
        print_json({"address": address, "build_file": str(build)}, ascii_only=True, indent=None)
    else:
        typer.echo(f"Marking page for {build}, for this machine only, good once (Ctrl+C stops it):\n{address}")
