"""The differences as a matrix in set order, and as a list in words."""

from __future__ import annotations

from dataclasses import dataclass

from finishmatch.report.arrangement import Arrangement, ShownPart
from finishmatch.report.text import number
from finishmatch.results.results import Difference
from finishmatch.text import percent

SIGNS = {"alike": "≈", "differs": "≠", "unsure": "?"}

#: Above this many parts the matrix shows signs only, and the list the closest calls only.
DETAILED_PARTS = 30
LISTED_PAIRS = 150


@dataclass(frozen=True, slots=True)
class Cell:
    """One field of the matrix; ``verdict`` is "self" on the diagonal and "none" for a pair never compared."""

    verdict: str
    sign: str
    value: str


@dataclass(frozen=True, slots=True)
class Row:
    shown_part: ShownPart
    first_of_set: bool
    cells: tuple[Cell, ...]


@dataclass(frozen=True, slots=True)
class PairLine:
    """One pair in words."""

    tags: tuple[str, str]
    difference: Difference
    sign: str
    value: str
    interval: str
    tolerance: str
    probability: str


def matrix(differences: tuple[Difference, ...], arrangement: Arrangement) -> tuple[Row, ...]:
    """Rows and columns in set order, both halves filled."""
    found = {frozenset((d.a, d.b)): _cell(d) for d in differences}
    itself, never = Cell("self", "", ""), Cell("none", "–", "")
    firsts = {shown_set.shown_parts[0].tag for shown_set in arrangement.shown_sets if shown_set.shown_parts}
    rows = []
    for one in arrangement.shown_parts:
        cells = tuple(
            itself if one is other else found.get(frozenset((one.part.name, other.part.name)), never)
            for other in arrangement.shown_parts
        )
        rows.append(Row(one, one.tag in firsts, cells))
    return tuple(rows)


def _cell(d: Difference) -> Cell:
    return Cell(d.verdict, SIGNS[d.verdict], number(d.de00_level.value))


def in_words(differences: tuple[Difference, ...], arrangement: Arrangement) -> tuple[PairLine, ...]:
    """The closest calls first, for there a reader looks twice; of a large build only those."""
    tags = arrangement.tags
    limit = LISTED_PAIRS if len(arrangement.shown_parts) > DETAILED_PARTS else None
    return tuple(_line(d, tags) for d in sorted(differences, key=_clearness)[:limit])


def _clearness(d: Difference) -> tuple[float, str, str]:
    """How far the difference is from its tolerance; an undecided pair comes first."""
    if d.verdict == "unsure":
        return (-1.0, d.a, d.b)
    return (abs(d.de00_level.value - d.tolerance), d.a, d.b)


def _line(d: Difference, tags: dict[str, str]) -> PairLine:
    return PairLine(
        tags=(tags[d.a], tags[d.b]),
        difference=d,
        sign=SIGNS[d.verdict],
        value=number(d.de00_level.value),
        interval=f"{number(d.de00_level.low)} to {number(d.de00_level.high)}",
        tolerance=number(d.tolerance),
        probability=percent(d.p_within),
    )
