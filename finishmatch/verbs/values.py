"""Values as people write them on the command line."""

from __future__ import annotations

import re
from math import isfinite
from typing import Any

import typer

from finishmatch.errors import CommandError

Point = tuple[float, float]


def number(*names: str, least: float, most: float, help: str, **more: Any) -> Any:
    """An option whose value is a finite number within bounds; ``names``, ``more``: as the command-line library has them.

    Every number on the command line is one of these or of :func:`number_argument`: the library's own bounds let through
    what compares with nothing.
    """
    return typer.Option(*names, min=least, max=most, help=help, callback=_finite, **more)


def number_argument(*, least: float, most: float, help: str, **more: Any) -> Any:
    """The same for an argument."""
    return typer.Argument(min=least, max=most, help=help, callback=_finite, **more)


def _finite(value: Any) -> Any:
    for one in value if isinstance(value, list) else [value]:
        if one is not None and not isfinite(one):
            raise typer.BadParameter(f"{one} is not a number that can be counted with")
    return value


def numbers(text: str, count: int) -> tuple[float, ...] | None:
    """Exactly ``count`` finite numbers between commas, else None."""
    try:
        values = tuple(float(word) for word in text.split(","))
    except ValueError:
        return None
    return values if len(values) == count and all(abs(value) < 1e9 for value in values) else None


def four_corners(text: str) -> tuple[Point, Point, Point, Point]:
    """Four points "x,y x,y x,y x,y".

    Raises
    ------
    CommandError : bad_corners.
    """
    points = [numbers(word, 2) for word in text.split()]
    corners = [(point[0], point[1]) for point in points if point is not None]
    if len(points) != 4 or len(corners) != 4:
        raise CommandError("bad_corners", f'--corners "{text}"')
    first, second, third, fourth = corners
    return first, second, third, fourth


def layout(text: str) -> tuple[int, int]:
    """Columns and rows "6x4".

    Raises
    ------
    CommandError : unknown_card.
    """
    found = re.fullmatch("([1-9][0-9]{0,3})[xX]([1-9][0-9]{0,3})", text)
    if found is None:
        raise CommandError("unknown_card", f'--layout "{text}"', "write columns and rows, for example 6x4")
    return int(found[1]), int(found[2])
