"""Arguments and options that several verbs share, each declared here alone."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from finishmatch.photo.limits import USUAL
from finishmatch.verbs.values import number

Json = Annotated[bool, typer.Option("--json", help="Print one JSON document on stdout, also for errors.")]
BuildFile = Annotated[Path, typer.Argument(metavar="BUILD.toml", help="The build file.")]
Megapixels = Annotated[int, number(least=1, most=10_000, help="Refuse photos of more million pixels.")]
Megabytes = Annotated[int, number(least=1, most=100_000, help="Refuse photos whose files are larger.")]

USUAL_MEGAPIXELS, USUAL_MEGABYTES = USUAL.pixels // 10**6, USUAL.file_bytes // 10**6
