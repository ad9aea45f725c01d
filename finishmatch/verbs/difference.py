"""`finishmatch difference`: the CIEDE2000 of two colours."""

from __future__ import annotations

import re
from typing import Annotated

import typer

from finishmatch.errors import CommandError
from finishmatch.verbs.options import Json
from finishmatch.verbs.output import print_json
from finishmatch.verbs.values import numbers


def difference(
    a: Annotated[str, typer.Argument(metavar='"L,a,b"|"#rrggbb"', help="One colour: CIELAB D50, or sRGB.")],
    b: Annotated[str, typer.Argument(metavar='"L,a,b"|"#rrggbb"', help="The other.")],
    as_json: Json = False,
) -> None:
    """Print the CIEDE2000 of two colours: CIELAB D50, or sRGB (IEC 61966-2-1), whose white is adapted to D50."""
    from finishmatch.colour.ciede2000 import ciede2000

    one, two = _lab(a), _lab(b)
    if one is None or two is None:
        raise CommandError("bad_colour", f'"{b if one else a}" is not a colour')
    value = float(ciede2000(one, two))
    if as_json:
        print_json({"de00": round(value, 4)})
    else:
        print(f"{value:.4f}")


def _lab(text: str) -> tuple[float, ...] | None:
    if not re.fullmatch("#[0-9a-fA-F]{6}", text):
        return numbers(text, 3)
    import numpy as np

    from finishmatch.colour.space import SRGB_TO_XYZ_D50, srgb_decode, xyz_to_lab

    encoded = np.frombuffer(bytes.fromhex(text[1:]), dtype=np.uint8) / 255
    return tuple(xyz_to_lab(SRGB_TO_XYZ_D50 @ srgb_decode(encoded)).tolist())
