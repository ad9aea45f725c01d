"""`finishmatch explain`: what a note or an error means."""

from __future__ import annotations

from typing import Annotated

import typer

from finishmatch.codes import CODES
from finishmatch.errors import CommandError
from finishmatch.verbs.options import Json
from finishmatch.verbs.output import print_json


def explain(
    code: Annotated[
        str | None, typer.Argument(help="A code from a note or an error; all are listed when left out.")
    ] = None,
    as_json: Json = False,
) -> None:
    """Say what a note or error means and how to mend it."""
    if code is not None and code not in CODES:
        raise CommandError("unknown_code", f'no code "{code}"')
    wanted = CODES if code is None else {code: CODES[code]}
    if as_json:
        print_json({key: {"kind": row.kind, "meaning": row.meaning, "mend": row.mend} for key, row in wanted.items()})
    elif code is None:
        for key, row in wanted.items():
            print(f"{key:24}{row.kind:8}{row.meaning}")
    else:
        print(CODES[code].meaning)
        if CODES[code].mend:
            print(f"To mend it: {CODES[code].mend}.")
