"""Arguments and options that several verbs share, each declared here alone."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from finishmatch.photo.limits import USUAL

Json = Annotated[bool, typer.Option("--json", help="Print one JSON document on stdout, also for errors.")]
BuildFile = Annotated[Path, typer.Argument(metavar="BUILD.toml", help="The build file.")]
Megapixels = Annotated[int, typer.Option(min=1, help="Refuse photos of more million pixels.")]
Megabytes = Annotated[int, typer.Option(min=1, help="Refuse photos whose files are larger.")]

USUAL_MEGAPIXELS, USUAL_MEGABYTES = USUAL.pixels // 10**6, USUAL.file_bytes // 10**6
