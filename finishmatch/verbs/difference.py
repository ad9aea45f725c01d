"""`finishmatch difference`: the CIEDE2000 of two colours."""

from __future__ import annotations

from typing import Annotated

import typer

from finishmatch.errors import CommandError
from finishmatch.verbs.options import Json
from finishmatch.verbs.output import print_json
from finishmatch.verbs.values import numbers


def difference(
    a: Annotated[str, typer.Argument(metavar='"L,a,b"', help="CIELAB of one colour.")],
    b: Annotated[str, typer.Argument(metavar='"L,a,b"', help="CIELAB of the other.")],
    as_json: Json = False,
) -> None:
    """Print the CIEDE2000 of two CIELAB colours."""
    from finishmatch.colour.ciede2000 import ciede2000

    one, two = numbers(a, 3), numbers(b, 3)
    if one is None or two is None:
        raise CommandError("bad_colour", f'"{b if one else a}" is not a colour')
    value = float(ciede2000(one, two))
    if as_json:
        print_json({"de00": round(value, 4)})
    else:
        print(f"{value:.4f}")
