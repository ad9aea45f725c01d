"""The differences as a matrix in set order, and in words the few that matter; what is noted of them stands once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from finishmatch.codes import CODES
from finishmatch.report.arrangement import Arrangement, ShownPart
from finishmatch.report.text import number
from finishmatch.results.decision import in_hand
from finishmatch.results.results import Difference, Results, same_family
from finishmatch.text import percent

SIGNS = {"alike": "≈", "differs": "≠", "unsure": "?"}

DETAILED_PARTS = 30
"""Above this many parts the matrix shows signs only."""
FIRST_PAIRS, LISTED_PAIRS = 12, 150


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


def matrices(results: Results, arrangement: Arrangement) -> list[tuple[str, tuple[Row, ...]]]:
    """A matrix of each family, under its name; of all parts where there are not several."""
    shown = arrangement.shown_parts
    if len(results.families) < 2:
        return [("", _matrix(results.differences, shown, arrangement))]
    groups = [(family.name, [part for part in shown if part.part.name in family.parts]) for family in results.families]
    return [(name, _matrix(results.differences, parts, arrangement)) for name, parts in groups if len(parts) > 1]


def _matrix(differences: Sequence[Difference], shown: Sequence[ShownPart], arrangement: Arrangement) -> tuple[Row, ...]:
    """Rows and columns in set order, both halves filled."""
    found = {frozenset((d.a, d.b)): _cell(d) for d in differences}
    itself, never = Cell("self", "", ""), Cell("none", "–", "")
    firsts = {shown_set.shown_parts[0].tag for shown_set in arrangement.shown_sets if shown_set.shown_parts}
    rows = []
    for one in shown:
        cells = tuple(
            itself if one is other else found.get(frozenset((one.part.name, other.part.name)), never) for other in shown
        )
        rows.append(Row(one, one.tag in firsts, cells))
    return tuple(rows)


def _cell(d: Difference) -> Cell:
    return Cell(d.verdict, SIGNS[d.verdict], number(d.de00_level.value))


def in_words(results: Results, arrangement: Arrangement) -> PairLines:
    """First the pairs that differ inside a finish or are unsure there, among the parts in hand; then the closest calls."""
    mine = set(in_hand(results))
    counted = {id(d) for d in same_family(results.families, results.differences) if d.a in mine and d.b in mine}
    ordered = sorted(results.differences, key=_clearness)
    matter = [d for d in ordered if id(d) in counted and d.verdict != "alike"][:FIRST_PAIRS]
    told = {id(d) for d in matter}
    others = [d for d in ordered if id(d) not in told][:LISTED_PAIRS]
    codes = list(dict.fromkeys(note.code for d in (*matter, *others) for note in d.notes))
    numbers = {code: n for n, code in enumerate(codes, start=1)}
    return PairLines(
        _lines(matter, arrangement, numbers),
        _lines(others, arrangement, numbers),
        tuple(CODES[code].meaning for code in codes),
    )


def _clearness(d: Difference) -> tuple[float, str, str]:
    """How far the difference is from its tolerance; an undecided pair comes first."""
    if d.verdict == "unsure":
        return (-1.0, d.a, d.b)
    return (abs(d.de00_level.value - d.tolerance), d.a, d.b)


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
