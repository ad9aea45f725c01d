"""Values as people write them on the command line."""

from __future__ import annotations

from finishmatch.errors import CommandError

Point = tuple[float, float]


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
    columns, _, rows = text.lower().partition("x")
    if not (columns.isdigit() and rows.isdigit() and int(columns) and int(rows)):
        raise CommandError("unknown_card", f'--layout "{text}"', "write columns and rows, for example 6x4")
    return int(columns), int(rows)
