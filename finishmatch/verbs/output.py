"""What verbs print on stdout: one JSON document, or lines for people."""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

import typer

if TYPE_CHECKING:
    import numpy.typing as npt


def print_json(document: Any, ascii_only: bool = False, indent: int | None = 1) -> None:
    """Print one JSON document. ``ascii_only``: where names may hold what is no text; ``indent`` None: on one line."""
    readable = (sys.stdout.encoding or "").lower().replace("-", "") == "utf8" and not ascii_only
    typer.echo(json.dumps(document, ensure_ascii=not readable, allow_nan=False, indent=indent))


def say(as_json: bool, document: Any, lines: Iterable[str]) -> None:
    """Print the document where JSON was asked for, else the lines."""
    if as_json:
        print_json(document)
    else:
        for line in lines:
            typer.echo(line)


def printable(text: str) -> str:
    """One line without control characters: names come from files, and a terminal obeys what it is sent."""
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())


def swatch(lab_d50: npt.ArrayLike) -> str:
    """Two cells of a colour where stdout is a terminal that shows colours, else nothing.

    https://no-color.org: with NO_COLOR set to anything, nothing is coloured.
    """
    if not sys.stdout.isatty() or os.environ.get("NO_COLOR") or os.environ.get("TERM") == "dumb":
        return ""
    from finishmatch.colour.space import lab_to_hex

    red, green, blue = bytes.fromhex(lab_to_hex(lab_d50)[1:])
    return typer.style("  ", bg=(red, green, blue)) + " "
