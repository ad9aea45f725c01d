"""A QR code drawn with the characters of a terminal."""

from __future__ import annotations

import typer

_QUIET = 4  # light modules around it, as the standard (ISO/IEC 18004) asks
_WHITE_ON_BLACK, _PLAIN = "\x1b[97;40m", "\x1b[0m"
_BLOCKS = {(True, True): "█", (True, False): "▀", (False, True): "▄", (False, False): " "}


def tell_code(address: str) -> None:
    """Show the one-time address by which the next device comes in."""
    said = (
        f"Open to this network at {address.split('/')[2]}, for one device a code: not encrypted, closed after "
        "15 minutes without use. Good once:"
    )
    typer.echo(f"\n{qr_code(address)}\n{said}\n{address}", err=True)


def qr_code(text: str) -> str:
    """The code, two rows of modules a line, light on dark whatever the terminal's own colours are."""
    import segno

    light = [[not dark for dark in row] for row in segno.make_qr(text).matrix_iter(border=_QUIET)]
    if len(light) % 2:
        light.append([True] * len(light[0]))
    pairs = zip(light[::2], light[1::2], strict=True)
    return "\n".join(
        _WHITE_ON_BLACK + "".join(_BLOCKS[pair] for pair in zip(upper, lower, strict=True)) + _PLAIN
        for upper, lower in pairs
    )
