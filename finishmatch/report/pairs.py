"""The differences as a matrix in set order, and in words the few that matter; what is noted of them stands once."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from finishmatch.arrays import RowArray
from finishmatch.codes import CODES
from finishmatch.report.arrangement import Arrangement, ShownPart, address
from finishmatch.report.text import number
from finishmatch.results.decision import in_hand
from finishmatch.results.results import Difference, Differences, Results, one_family, table
from finishmatch.text import percent

SIGNS = {"alike": "≈", "differs": "≠", "unsure": "?"}

DETAILED_PARTS = 30
"""Above this many parts the matrix shows signs only."""
PICTURED_PARTS = 120
"""Above this many it is a picture: of a thousand parts the signs alone would be 30 MB."""
FIRST_PAIRS, LISTED_PAIRS = 12, 150
# The picture's shades: no pair, alike, unsure, differs.
_ALIKE, _UNSURE, _DIFFERS = 1, 2, 3
_SHADES = bytes(level for shade in (255, 214, 150, 48) for level in (shade,) * 3)


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
class Matrix:
    """``name``: the family's, "" of all parts. ``rows``, or where there are very many a ``picture``, ``side`` pixels high."""

    name: str
    rows: tuple[Row, ...]
    picture: str
    side: int


@dataclass(frozen=True, slots=True)
class PairLine:
    """One pair in words; ``notes``: numbers of its footnotes."""

    tags: tuple[str, str]
    difference: Difference
    sign: str
    value: str
    interval: str
    tolerance: str
    probability: str
    notes: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class PairLines:
    """``first``: those that matter; ``others``: the closest calls of the rest; ``footnotes``: what their numbers say."""

    first: tuple[PairLine, ...]
    others: tuple[PairLine, ...]
    footnotes: tuple[str, ...]


def matrices(results: Results, arrangement: Arrangement) -> list[Matrix]:
    """A matrix of each family; of all parts where there are not several."""
    pairs, shown = table(results.differences), arrangement.shown_parts
    if len(results.families) < 2:
        return [_matrix("", pairs, shown, arrangement)]
    groups = [(family.name, [part for part in shown if part.part.name in family.parts]) for family in results.families]
    return [_matrix(name, pairs, parts, arrangement) for name, parts in groups if len(parts) > 1]


def _matrix(name: str, pairs: Differences, shown: Sequence[ShownPart], arrangement: Arrangement) -> Matrix:
    """Rows and columns in set order, both halves filled; of very many parts a picture of them."""
    if len(shown) > PICTURED_PARTS:
        return Matrix(name, (), _picture(pairs, shown), len(shown))
    inside = pairs.among([part.part.name for part in shown])
    found = {frozenset((d.a, d.b)): _cell(d) for d in inside}
    itself, never = Cell("self", "", ""), Cell("none", "–", "")
    firsts = {shown_set.shown_parts[0].tag for shown_set in arrangement.shown_sets if shown_set.shown_parts}
    rows = []
    for one in shown:
        cells = tuple(
            itself if one is other else found.get(frozenset((one.part.name, other.part.name)), never) for other in shown
        )
        rows.append(Row(one, one.tag in firsts, cells))
    return Matrix(name, tuple(rows), "", len(shown))


def _picture(pairs: Differences, shown: Sequence[ShownPart]) -> str:
    """One pixel a pair, darker the less alike, as the address of a PNG file."""
    from PIL import Image

    names = [part.part.name for part in shown]
    shade = np.select([pairs.is_("verdict", "alike"), pairs.is_("verdict", "unsure")], [_ALIKE, _UNSURE], _DIFFERS)
    grid = pairs.grid(shade.astype(np.uint8), names)
    np.fill_diagonal(grid, _ALIKE)
    stream = io.BytesIO()
    image = Image.fromarray(grid)
    image.putpalette(_SHADES)
    image.save(stream, "PNG", bits=2, optimize=True)
    return address(stream.getvalue())


def _cell(d: Difference) -> Cell:
    return Cell(d.verdict, SIGNS[d.verdict], number(d.de00_level.value))


def in_words(results: Results, arrangement: Arrangement) -> PairLines:
    """First the pairs that differ inside a finish or are unsure there, among the parts in hand; then the closest calls."""
    pairs = table(results.differences)
    mine = pairs.rows_of(in_hand(results))
    inside = np.isin(pairs.a, mine) & np.isin(pairs.b, mine) & one_family(results.families, pairs)
    order = _closest_first(pairs)
    matters = order[(inside & ~pairs.is_("verdict", "alike"))[order]][:FIRST_PAIRS]
    matter = pairs.rows(matters)
    others = pairs.rows(order[~np.isin(order, matters)][:LISTED_PAIRS])
    codes = list(dict.fromkeys(note.code for d in (*matter, *others) for note in d.notes))
    numbers = {code: n for n, code in enumerate(codes, start=1)}
    return PairLines(
        _lines(matter, arrangement, numbers),
        _lines(others, arrangement, numbers),
        tuple(CODES[code].meaning for code in codes),
    )


def _closest_first(pairs: Differences) -> RowArray:
    """By how far the difference is from its tolerance, then by name; an undecided pair comes first."""
    clear = np.abs(pairs.de00_level[:, 0] - pairs.tolerance)
    place = np.argsort(np.argsort(np.array(pairs.names, dtype=object)))
    keys = (place[pairs.b], place[pairs.a], np.where(pairs.is_("verdict", "unsure"), -1.0, clear))
    return np.asarray(np.lexsort(keys))


def _lines(
    differences: Sequence[Difference], arrangement: Arrangement, numbers: dict[str, int]
) -> tuple[PairLine, ...]:
    return tuple(
        PairLine(
            tags=(arrangement.tags[d.a], arrangement.tags[d.b]),
            difference=d,
            sign=SIGNS[d.verdict],
            value=number(d.de00_level.value),
            interval=f"{number(d.de00_level.low)} to {number(d.de00_level.high)}",
            tolerance=number(d.tolerance),
            probability=percent(d.p_within),
            notes=tuple(dict.fromkeys(numbers[note.code] for note in d.notes)),
        )
        for d in differences
    )
