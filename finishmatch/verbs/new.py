"""`finishmatch new`: a build file to start from."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from finishmatch.verbs.options import Json
from finishmatch.verbs.output import print_json


def new(
    photos: Annotated[list[Path], typer.Argument(metavar="PHOTO...", help="The photos of the build.")],
    out: Annotated[Path | None, typer.Option(help="Where to write it; stdout when left out.")] = None,
    as_json: Json = False,
) -> None:
    """Write a commented build file to start from."""
    from finishmatch import disk
    from finishmatch.build.start import template
    from finishmatch.photo.process.parent import DecodingProcess

    with DecodingProcess() as decoding:
        for photo in photos:
            decoding.open_photo(photo)
    text = template(photos, out.parent if out else Path())
    if out:
        disk.write_new(out, text)
    if as_json:
        print_json({"build_file": text})
    else:
        print(
            f"Build file: {out}\nNext: say in it where card and parts lie, or `finishmatch mark {out}`"
            if out
            else text.rstrip()
        )
