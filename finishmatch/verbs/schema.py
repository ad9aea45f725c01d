"""`finishmatch schema`: the shape of every JSON document that the program reads or writes."""

from __future__ import annotations

from typing import Annotated

import typer

from finishmatch.errors import CommandError
from finishmatch.text import listed
from finishmatch.verbs.options import Json
from finishmatch.verbs.output import print_json


def schema(
    name: Annotated[str, typer.Argument(metavar="NAME", help="results, build, measure, choose or error.")],
    as_json: Json = False,
) -> None:
    """Print the JSON Schema of a document: results.json, the build file, what a command prints with --json."""
    from finishmatch.results.documents import DOCUMENTS, json_schema

    if name not in DOCUMENTS:
        raise CommandError("command_line", f'no document "{name}"', f"say one of {listed(list(DOCUMENTS), 'or')}")
    print_json(json_schema(name))
